from django.urls import path

from apps.laundering.views import corrections, cycles, dryings, loads, logbook, offline, printing, queue
from apps.laundering.views.carried import carried

app_name = "laundering"

urlpatterns = [
    # laundry/
    path("laundry/", queue.queue, name="queue"),
    path("laundry/logbook/", logbook.logbook, name="logbook"),
    path("laundry/logbook.csv", logbook.csv, name="logbook_csv"),
    path("laundry/worker.js", offline.worker, name="worker"),
    # laundry/kept/
    path("laundry/kept/", offline.kept, name="kept"),
    path("laundry/kept/<int:kept_id>/judge/", offline.judge, name="judge_kept"),
    # laundry/loads/
    path("laundry/loads/", queue.make_up, name="make_up"),
    path("laundry/loads/<int:number>/", loads.load, name="load"),
    path("laundry/loads/<int:number>/label/", printing.label, name="label"),
    path("laundry/loads/<int:number>/label.pdf", printing.label_pdf, name="label_pdf"),
    path("laundry/loads/<int:number>/add/", loads.add, name="add"),
    path("laundry/loads/<int:number>/ballast/", loads.ballast, name="ballast"),
    path("laundry/loads/<int:number>/water/", loads.water, name="water"),
    path("laundry/loads/<int:number>/start/", carried(loads.start), name="start"),
    path("laundry/loads/<int:number>/end/", carried(loads.end), name="end"),
    path("laundry/loads/<int:number>/void/", loads.void, name="void"),
    path("laundry/loads/<int:number>/take-out/", loads.take_out, name="take_out"),
    path("laundry/loads/<int:number>/dry/<int:procedure_id>/", carried(dryings.start), name="start_drying"),
    path("laundry/loads/<int:number>/tick/", carried(cycles.tick_load), name="tick_load"),
    path("laundry/loads/<int:number>/judge-void/", loads.judge_void, name="judge_void"),
    path("laundry/loads/<int:number>/correct/", corrections.load, name="correct"),
    # laundry/dryings/
    path("laundry/dryings/<int:drying_id>/end/", carried(dryings.end), name="end_drying"),
    path("laundry/dryings/<int:drying_id>/void/", dryings.void, name="void_drying"),
    path("laundry/dryings/<int:drying_id>/correct/", corrections.drying, name="correct_drying"),
    # laundry/specimens/
    path("laundry/specimens/<int:specimen_id>/tick/", carried(cycles.tick), name="tick"),
]
