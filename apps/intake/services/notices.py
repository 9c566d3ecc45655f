"""Letters to the customer about a job: it came in, it takes longer. No result is in them."""

from datetime import date, datetime

from django.db import connection, transaction
from django.db.models import Exists, OuterRef, Value
from django.db.models.functions import Concat
from django.utils import timezone

from apps.accounts.services import write_to_customer
from apps.core.links import whole
from apps.intake.models import Job, Request
from apps.trail import services as trail
from apps.trail.models import TrailEntry


def tell_received(job: Job, letters: list[str], *, at: datetime) -> None:
    """The parcel is in the lab's hands, under this number."""
    order = f", your order {job.purchase_order}" if job.purchase_order else ""
    samples = f"{len(letters)} samples ({letters[0]} to {letters[-1]})" if len(letters) > 1 else "one sample"
    due = f"The report is due on {_day(job.due_on)}." if job.due_on else "No due date is agreed."
    body = f"Your parcel came in{order}: job {job.number}, {samples}. {due}\n\nWhere it stands:\n{_page(job)}"
    write_to_customer(customer=job.customer, subject=f"Job {job.number} came in", body=body, at=at)


def tell_moved(job: Job, before: date | None, *, at: datetime) -> None:
    """The due date that was agreed is now a later one."""
    if before is None or job.due_on is None or job.due_on <= before:
        return
    body = (
        f"Job {job.number} takes longer: it was due on {_day(before)} and is now due on {_day(job.due_on)}."
        f"\n\nWhere it stands:\n{_page(job)}"
    )
    write_to_customer(customer=job.customer, subject=f"Job {job.number} takes longer", body=body, at=at)


def tell_delays(*, limit: int, now: datetime) -> int:
    """Tell the customers of jobs that are past their due date, once for each date; say how many were told."""
    told = 0
    for _ in range(limit):
        if not _tell_next(now):
            break
        told += 1
    return told


@transaction.atomic
def _tell_next(now: datetime) -> bool:
    told = TrailEntry.objects.filter(
        stream=Concat(Value("job:"), OuterRef("number")), kind="job.delay_told", at__date__gt=OuterRef("due_on")
    )
    unreported = Request.objects.filter(sample__job=OuterRef("pk"), lock=Request.Lock.OPEN)
    late = Job.objects.filter(Exists(unreported), ~Exists(told), due_on__lt=timezone.localdate(now))
    skip = connection.features.has_select_for_update_skip_locked
    job = late.order_by("pk").select_for_update(no_key=True, skip_locked=skip).first()
    if job is None:
        return False
    body = f"Job {job.number} was due on {_day(job.due_on)} and is not finished yet.\n\nWhere it stands:\n{_page(job)}"
    write_to_customer(customer=job.customer, subject=f"Job {job.number} is late", body=body, at=now)
    trail.record(stream=job.stream, kind="job.delay_told", by=None, at=now, facts={"due_on": job.due_on})
    return True


def _page(job: Job) -> str:
    return whole("portal:job", job.number)


def _day(day: date | None) -> str:
    return f"{day:%-d %b %Y}" if day else ""
