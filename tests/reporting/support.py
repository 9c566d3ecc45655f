"""Work that has come as far as the manager's desk, and beyond it."""

from datetime import datetime
from decimal import Decimal

from apps.intake.models import Job, Request, Sample
from apps.measuring import services as measuring
from apps.reporting import services as reporting
from apps.reporting.models import Report
from tests.cast import NOON, a_received_job, after_cycle, with_originals, with_readings

LIMITS = {
    "length_lower": Decimal("-3"),
    "length_upper": Decimal("1"),
    "width_lower": Decimal("-3"),
    "width_upper": Decimal("1"),
    "limits_source": "purchase specification Q-7, invented",
}
# Lengths shrink by 2.0, 2.4 and 2.8 % on each specimen, widths by 0.4, 0.8 and 1.2 %.
SHRUNK = ["245", "244", "243", "249", "248", "247"]


def finished(cast, request: Request, values=SHRUNK, *, count: int = 3, at: datetime = NOON) -> Request:
    """Cut, marked, read, washed and read again as often as it asks: ready for the manager."""
    reason = "" if count >= request.method.specimens else "not enough cloth"
    measuring.cut_and_mark(request_id=request.pk, count=count, fewer_reason=reason, by=cast.bea, at=at)
    with_originals(cast, request, at=at)
    for cycle in range(1, request.cycles + 1):
        after_cycle(cast, request, at=at)
        if cycle in request.measured_cycles:
            with_readings(cast, request, cycle, values * count if isinstance(values, list) else values, at=at)
    return request


def requests_of(job: Job) -> list[Request]:
    return list(Request.objects.filter(sample__job=job).order_by("sample_id", "ordinal"))


def a_finished_job(cast, *, samples: int = 1, count: int = 3, at: datetime = NOON, **order) -> Job:
    job = a_received_job(cast, samples=samples, at=at, **order)
    Sample.objects.filter(job=job, kind="fabric").update(width_mm=1500, length_mm=2000)
    for request in requests_of(job):
        finished(cast, request, count=count, at=at)
    return job


def approve(cast, *requests: Request, at: datetime = NOON, **more) -> Report:
    wanted = [request.pk for request in requests]
    return reporting.approve(**{"request_ids": wanted, "password_ok": True, "by": cast.mara, "at": at, **more})


def an_issued_report(cast, *, samples: int = 1, at: datetime = NOON, with_file: bool = True, **order) -> Report:
    """A job of these samples, all reported in one; its PDF is made unless said otherwise."""
    job = a_finished_job(cast, samples=samples, at=at, **order)
    report = approve(cast, *requests_of(job), at=at)
    if with_file:
        reporting.build_pending(limit=10, now=at)
    return report
