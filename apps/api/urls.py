from django.urls import path, register_converter
from django.urls.converters import PathConverter

from apps.api.views import guide, programs


class AnythingConverter(PathConverter):
    """Line ends too, which the plain one passes over."""

    regex = "(?s:.+)"


register_converter(AnythingConverter, "api_anything")

app_name = "api"

urlpatterns = [
    path("api/", guide.guide, name="guide"),
    # api/1/
    path("api/1/openapi.json", programs.openapi, name="openapi"),
    path("api/1/me", programs.me, name="me"),
    path("api/1/jobs", programs.list_jobs, name="jobs"),
    path("api/1/jobs/<slug:number>", programs.get_job, name="job"),
    path("api/1/reports", programs.list_reports, name="reports"),
    path("api/1/reports/<slug:number>", programs.get_report, name="report"),
    path("api/1/reports/<slug:number>/json", programs.get_report_facts, name="report_facts"),
    path("api/1/reports/<slug:number>/pdf", programs.get_report_pdf, name="report_pdf"),
    path("api/1/reports/<slug:number>/csv", programs.get_report_csv, name="report_csv"),
    path("api/1/reports/<slug:number>/xlsx", programs.get_report_xlsx, name="report_xlsx"),
    path("api/1/specimens/<slug:label>", programs.get_specimen, name="specimen"),
    path("api/1/readings", programs.send_readings, name="readings"),
    path("api/<api_anything:rest>", programs.nothing, name="nothing"),
]
