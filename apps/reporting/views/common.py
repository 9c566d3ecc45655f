"""What the views of this room share: reading a post, carrying a form out, finding a report, handing a file out."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.http import content_disposition_header

from apps.calc.errors import CalcError
from apps.core.errors import Refusal
from apps.reporting import queries
from apps.reporting.forms import refuse
from apps.reporting.models import Report

PER_PAGE = 50
NOT_SAVED = 422


def carried_out(form, act: Callable[[], object]) -> bool:
    """Whether a form was valid and its act done; a refusal becomes a sentence in the form."""
    if not form.is_valid():
        return False
    try:
        act()
    except (Refusal, CalcError) as refusal:
        refuse(form, refusal)
        return False
    return True


def the_report(request: HttpRequest, number: str) -> Report:
    return get_object_or_404(queries.reports(request.user), number=number)


def download(content: bytes, content_type: str, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type=content_type)
    response["Content-Disposition"] = content_disposition_header(True, name)
    return response
