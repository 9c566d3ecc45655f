"""What programs ask and send."""

import re
import uuid
from typing import Any
from urllib.parse import urlencode

from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt

from apps.accounts.gates import open_to_all
from apps.api import bodies, document, queries, services
from apps.api.operations import BASE, JSON, KEY_HEADER, LARGEST, UUID, WORKBOOK
from apps.api.views.door import Problem, answer, not_found, operation
from apps.core import clock
from apps.reporting.queries import csv_bytes, pdf_bytes, xlsx_bytes


@operation("me")
def me(request: HttpRequest) -> HttpResponse:
    return answer(queries.me(request.token))


@operation("list_jobs")
def list_jobs(request: HttpRequest, *, after: str | None, limit: int, **asked: Any) -> HttpResponse:
    page = _page(queries.jobs(request.user, **asked), after, limit)
    return _paged(request, page, queries.job_lines(request.user, page.rows))


@operation("get_job")
def get_job(request: HttpRequest, number: str) -> HttpResponse:
    return _there(queries.job_told(request.user, number))


@operation("list_reports")
def list_reports(request: HttpRequest, *, after: str | None, limit: int, **asked: Any) -> HttpResponse:
    page = _page(queries.issued_reports(request.user, **asked), after, limit)
    return _paged(request, page, queries.report_lines(page.rows))


@operation("get_report")
def get_report(request: HttpRequest, number: str) -> HttpResponse:
    return answer(queries.report_told(_report(request, number)))


@operation("get_report_facts")
def get_report_facts(request: HttpRequest, number: str) -> HttpResponse:
    return HttpResponse(_report(request, number).report.facts, content_type=JSON)


@operation("get_report_pdf")
def get_report_pdf(request: HttpRequest, number: str) -> HttpResponse:
    content = pdf_bytes(_report(request, number).report)
    if content is None:
        raise not_found("The file is being made.")
    return HttpResponse(content, content_type="application/pdf")


@operation("get_report_csv")
def get_report_csv(request: HttpRequest, number: str) -> HttpResponse:
    return HttpResponse(csv_bytes(_report(request, number)), content_type="text/csv; charset=utf-8")


@operation("get_report_xlsx")
def get_report_xlsx(request: HttpRequest, number: str) -> HttpResponse:
    return HttpResponse(xlsx_bytes(_report(request, number)), content_type=WORKBOOK)


@operation("get_specimen")
def get_specimen(request: HttpRequest, label: str) -> HttpResponse:
    if queries.code_of_label(label) is None:
        raise not_found("This is no label's code: its check character is wrong or missing.")
    return _there(queries.specimen_told(request.user, label))


@operation("send_readings")
def send_readings(request: HttpRequest) -> HttpResponse:
    key = request.headers.get(KEY_HEADER, "")
    if not re.fullmatch(UUID[1:-1], key, re.ASCII):
        sentence = "Each send carries a UUID of its own, so that it can be repeated without doing anything twice."
        raise Problem(422, "key", sentence, field=KEY_HEADER)
    sheet = bodies.read_sheet(bodies.read_json(_body(request)))
    rows, repeated = services.send_readings(
        measured=sheet.readings,
        at=sheet.at or clock.now(),
        by=request.user,
        key=uuid.UUID(key),
        token=request.token.name,
        confirmed=sheet.confirmed,
        remark=sheet.remark,
        late_reason=sheet.late_reason,
        early_reason=sheet.early_reason,
    )
    return answer({"repeated": repeated, "readings": queries.readings_told(rows)}, status=200 if repeated else 201)


@csrf_exempt
@open_to_all
def openapi(request: HttpRequest) -> HttpResponse:
    """The document itself; it tells nothing of anybody's work."""
    if request.method not in ("GET", "HEAD"):
        allow = {"Allow": "GET, HEAD"}
        return Problem(405, "method", "This address answers to GET, HEAD.", headers=allow).answer
    return answer(document.document(f"{request.scheme}://{request.get_host()}"))


@csrf_exempt
@open_to_all
def nothing(request: HttpRequest, rest: str) -> HttpResponse:
    """Any other address here: programs are answered in JSON."""
    return not_found(f"There is nothing at this address. {BASE}/openapi.json tells what there is.").answer


def _body(request: HttpRequest) -> bytes:
    if request.content_type != JSON:
        raise Problem(415, "media_type", f"The body is sent as {JSON}.", field="Content-Type")
    body = request.body
    if len(body) > LARGEST:
        raise RequestDataTooBig
    return body


def _page(rows: Any, after: str | None, limit: int) -> queries.Page:
    try:
        return queries.page_of(rows, after=after, limit=limit)
    except queries.UnknownMark as error:
        raise Problem(422, "parameter", "There is nothing of this number to go on after.", field="after") from error


def _paged(request: HttpRequest, page: queries.Page, items: list[dict[str, Any]]) -> HttpResponse:
    more = None
    if page.after is not None:
        more = f"{request.path}?{urlencode({**request.GET.dict(), 'after': page.after})}"
    return answer({"items": items, "next": more})


def _there(told: dict[str, Any] | None) -> HttpResponse:
    if told is None:
        raise not_found()
    return answer(told)


def _report(request: HttpRequest, number: str) -> queries.Issued:
    found = queries.issued_report(request.user, number)
    if found is None:
        raise not_found()
    return found
