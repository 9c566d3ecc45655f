"""An issued report: its page and its files, all from its facts."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import cache_control
from django.views.decorators.http import condition, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.intake.queries import content_of
from apps.intake.services import JPEG
from apps.reporting import queries
from apps.reporting.views.common import download, the_report

WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_safe
@role_required(*Role)
def report(request: HttpRequest, number: str) -> HttpResponse:
    issued = queries.Issued(the_report(request, number))
    roles = request.user.roles
    context = {
        "issued": issued,
        "facts": issued.facts,
        "is_customer": Role.CUSTOMER in roles,
        "is_manager": Role.MANAGER in roles,
    }
    if Role.CUSTOMER not in roles:
        context |= {"history": issued.history, "amendment": issued.amendment}
    return render(request, "reporting/report.html", context)


def pdf_mark(request: HttpRequest, number: str) -> str | None:
    """The ETag of a file is its SHA-256."""
    found = queries.reports(request.user).filter(number=number).values_list("pdf", flat=True).first()
    return f'"{found}"' if found else None


@require_safe
@role_required(*Role)
@cache_control(private=True, no_cache=True)
@condition(etag_func=pdf_mark)
def pdf(request: HttpRequest, number: str) -> HttpResponse:
    """The file as it was made, byte for byte; not there until it is."""
    content = queries.pdf_bytes(the_report(request, number))
    if content is None:
        raise Http404("The file is being made.")
    return download(content, "application/pdf", f"{number}.pdf")


@require_safe
@role_required(*Role)
@cache_control(private=True, no_cache=True)
def csv(request: HttpRequest, number: str) -> HttpResponse:
    """Results and readings for a spreadsheet, from the same facts."""
    issued = queries.Issued(the_report(request, number))
    return download(queries.csv_bytes(issued), "text/csv; charset=utf-8", f"{number}.csv")


def photo_mark(request: HttpRequest, number: str, sha256: str) -> str | None:
    """A photo is seen by who sees a report that shows it."""
    report = queries.reports(request.user).filter(number=number).first()
    return f'"{sha256}"' if report and sha256 in queries.shown_in(queries.Issued(report).facts) else None


@require_safe
@role_required(*Role)
@cache_control(private=True, no_cache=True)
@condition(etag_func=photo_mark)
def photo(request: HttpRequest, number: str, sha256: str) -> HttpResponse:
    content = content_of(sha256) if photo_mark(request, number, sha256) else None
    if content is None:
        raise Http404
    return HttpResponse(content, content_type=JPEG, headers={"Content-Disposition": "inline"})


@require_safe
@role_required(*Role)
@cache_control(private=True, no_cache=True)
def xlsx(request: HttpRequest, number: str) -> HttpResponse:
    """The same as a workbook."""
    issued = queries.Issued(the_report(request, number))
    return download(queries.xlsx_bytes(issued), WORKBOOK, f"{number}.xlsx")


@require_safe
@role_required(*Role)
@cache_control(private=True, no_cache=True)
def json(request: HttpRequest, number: str) -> HttpResponse:
    """The facts themselves, as they are inside the PDF too."""
    report = the_report(request, number)
    return download(report.facts.encode(), "application/json", f"{number}.json")
