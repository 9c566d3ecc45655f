from django.urls import path

from apps.measuring.views import extras, rack, sheets

app_name = "measuring"

urlpatterns = [
    path("bench/", sheets.bench, name="bench"),
    path("bench/rack/", rack.rack, name="rack"),
    path("bench/rack/put/", rack.put, name="put_on_rack"),
    path("bench/rack/weigh/", rack.weigh, name="weigh"),
    path("bench/rack/rule/", rack.rule, name="rack_rule"),
    # samples/<code>/
    path("samples/<slug:code>/cut/<int:ordinal>/", sheets.cut, name="cut"),
    path("samples/<slug:code>/readings/", sheets.readings, name="readings"),
    path("samples/<slug:code>/readings/enter/", sheets.enter, name="enter"),
    path("samples/<slug:code>/readings/lost/", sheets.lose_mark, name="lose_mark"),
    path("samples/<slug:code>/extras/", extras.extras, name="extras"),
    path("samples/<slug:code>/results/", sheets.results, name="results"),
    # readings/
    path("readings/<int:reading_id>/correct/", sheets.correct, name="correct"),
]
