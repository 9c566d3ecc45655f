from django.urls import path

from apps.control.views import checks, studies, touched, work

app_name = "control"
urlpatterns = [
    path("control/", checks.overview, name="overview"),
    path("control/work/", work.work, name="work"),
    path("control/work.csv", work.work_table, {"kind": "csv"}, name="work_csv"),
    path("control/work.xlsx", work.work_table, {"kind": "xlsx"}, name="work_xlsx"),
    path("control/fabrics/new/", checks.new_fabric, name="new_fabric"),
    path("control/checks/new/", checks.plan, name="plan"),
    path("control/checks/<int:check_id>/", checks.check, name="check"),
    path("control/checks/<int:check_id>/run/", checks.run, name="run"),
    path("control/checks/<int:check_id>/baseline/<slug:direction>/", checks.baseline, name="baseline"),
    path("control/checks/<int:check_id>/end/", checks.end, name="end"),
    path("control/checks/<int:check_id>.csv", checks.table, {"kind": "csv"}, name="csv"),
    path("control/checks/<int:check_id>.xlsx", checks.table, {"kind": "xlsx"}, name="xlsx"),
    path("control/points/<int:point_id>/void/", checks.void, name="void"),
    # repeated readings
    path("control/studies/", studies.studies, name="studies"),
    path("control/studies/new/", studies.plan, name="new_study"),
    path("control/studies.csv", studies.all_studies, {"kind": "csv"}, name="studies_csv"),
    path("control/studies.xlsx", studies.all_studies, {"kind": "xlsx"}, name="studies_xlsx"),
    path("control/studies/<int:study_id>/", studies.study, name="study"),
    path("control/studies/<int:study_id>/read/", studies.read, name="read"),
    path("control/studies/<int:study_id>/adopt/", studies.adopt, name="adopt"),
    path("control/studies/<int:study_id>.csv", studies.readings, {"kind": "csv"}, name="study_csv"),
    path("control/studies/<int:study_id>.xlsx", studies.readings, {"kind": "xlsx"}, name="study_xlsx"),
    path("control/studies/readings/<int:entry_id>/void/", studies.void, name="void_entry"),
    path("control/touched/<int:equipment_id>/", touched.page, name="touched"),
    path("control/touched/<int:equipment_id>.csv", touched.table, {"kind": "csv"}, name="touched_csv"),
    path("control/touched/<int:equipment_id>.xlsx", touched.table, {"kind": "xlsx"}, name="touched_xlsx"),
]
