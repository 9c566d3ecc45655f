"""A request whose report is issued: the rows of the report written directly, then the lock."""

from itertools import count

from apps.intake.models import Request
from apps.reporting.models import Amendment, Report, ReportRequest
from tests.cast import NOON

_serials = count(1)


def a_report(cast, *requests: Request, **more) -> Report:
    serial = more.pop("serial", None) or next(_serials)
    job = requests[0].sample.job
    report = Report.objects.create(
        job=job,
        serial=serial,
        number=f"{job.number}-R{serial}.{more.get('revision', 0)}",
        facts="{}",
        facts_sha256="0" * 64,
        facts_version=1,
        chain_seq=1,
        chain_head="0" * 64,
        verification_code="invented",
        approved_by=cast.mara,
        approved_at=NOON,
        meaning="approved",
        **more,
    )
    for request in requests:
        ReportRequest.objects.create(report=report, request=request)
    return report


def issued(cast, *requests: Request) -> Report:
    """The report is there and its requests are locked."""
    report = a_report(cast, *requests)
    Request.objects.filter(pk__in=[request.pk for request in requests]).update(lock="locked")
    for request in requests:
        request.refresh_from_db()
    return report


def opened(cast, report: Report, opened_for: str) -> Amendment:
    """An amendment is open: the requests that the report covers may be changed in that alone."""
    amendment = Amendment.objects.create(report=report, reason="invented", opened_for=opened_for, by=cast.mara, at=NOON)
    Request.objects.filter(covered_by__report=report).update(lock="amending", opened_for=opened_for)
    return amendment
