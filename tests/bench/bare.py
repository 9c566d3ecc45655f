"""The floor: the same site, and one bare page beside it that asks the database once and prints as many rows."""

from django.http import HttpRequest, HttpResponse
from django.template import Context, Engine
from django.urls import path

from apps.intake.models import Job
from labsite.urls import urlpatterns as of_the_house

PAGE = Engine().from_string(
    "<!doctype html><title>Bare</title><table>{% for row in rows %}"
    "<tr><td>{{ row.0 }}</td><td>{{ row.1 }}</td><td>{{ row.2 }}</td><td>{{ row.3 }}</td></tr>{% endfor %}</table>"
)
COLUMNS = ("number", "purchase_order", "received_at", "due_on")


def bare(request: HttpRequest, rows: int) -> HttpResponse:
    found = Job.objects.order_by("-pk").values_list(*COLUMNS)[:rows]
    return HttpResponse(PAGE.render(Context({"rows": found})))


urlpatterns = [path("bare/<int:rows>/", bare), *of_the_house]
