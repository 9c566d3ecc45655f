"""Small steps that the measuring tests share."""

from datetime import timedelta

from django.db import transaction

from apps.intake.models import Request
from apps.measuring.models import BenchmarkPair
from apps.reporting.models import Report, ReportRequest
from tests.cast import NOON

HOUR = timedelta(hours=1)


def pair(request: Request, name: str) -> BenchmarkPair:
    """`A1 length 2` of a request."""
    code, direction, number = name.split()
    return BenchmarkPair.objects.get(
        specimen__request=request, specimen__code__endswith=f"-{code}", direction=direction, number=number
    )


@transaction.atomic
def issue(request: Request, *, by) -> None:
    """A report covers the request, which is locked from here on."""
    job = request.sample.job
    report = Report.objects.create(
        job=job,
        serial=request.pk,
        number=f"{job.number}-R{request.pk}",
        facts="{}",
        facts_sha256="0" * 64,
        facts_version=1,
        chain_seq=1,
        chain_head="0" * 64,
        verification_code="X",
        approved_by=by,
        approved_at=NOON,
        meaning="approved",
    )
    ReportRequest.objects.create(report=report, request=request)
    Request.objects.filter(pk=request.pk).update(lock=Request.Lock.LOCKED)
