"""Work in hand: every open job by its due date, with the step it waits at."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet

from apps.accounts.models import Customer, User
from apps.intake.models import Job, Request, Specimen
from apps.intake.queries import job_rows, received_jobs
from apps.intake.queries.desk import STAGE_WORDS, JobRow

SOON = timedelta(days=2)  # common practice, no source: what is due within two days is about to be late

_STAGES = [stage for stage in STAGE_WORDS if stage not in (Specimen.Stage.DONE, Specimen.Stage.SET_ASIDE)]
STEPS: dict[str, str] = {
    "agree": "not agreed with the customer yet",
    "cut": "to be cut",
    **{str(stage): STAGE_WORDS[stage] for stage in _STAGES},
    "approve": "through, to be approved",
}
COLUMNS = ("job", "customer", "order", "received", "due", "days_left", "state", "steps")


@dataclass(frozen=True)
class WorkRow:
    """An open job as the table says it."""

    row: JobRow
    today: date

    @property
    def job(self) -> Job:
        return self.row.job

    @property
    def days_left(self) -> int | None:
        return (self.job.due_on - self.today).days if self.job.due_on else None

    @property
    def days_told(self) -> str:
        return "–" if self.days_left is None else str(self.days_left).replace("-", "\N{MINUS SIGN}")

    @property
    def soon(self) -> bool:
        return self.days_left is not None and 0 <= self.days_left <= SOON.days

    @property
    def state(self) -> str:
        if self.row.late:
            return "late"
        return "about to be late" if self.soon else "in time" if self.job.due_on else "no date promised"

    @property
    def cells(self) -> tuple[Any, ...]:
        steps = "; ".join(words for _, words in self.row.marks)
        job = self.job
        told = (job.number, job.customer.name, job.purchase_order, job.received_at, job.due_on)
        return (*told, self.days_left, self.state, steps)


def work_in_hand(*, user: User, customer_id: int | None = None, step: str = "") -> QuerySet[Job]:
    """Open jobs, the oldest due date first, those without one last; of one customer, or that wait at one step."""
    jobs = received_jobs(user=user).order_by(F("due_on").asc(nulls_last=True), "number")
    if customer_id:
        jobs = jobs.filter(customer_id=customer_id)
    return jobs.filter(_waits_at(step)) if step in STEPS else jobs


def _waits_at(step: str) -> Exists:
    going = Request.objects.filter(sample__job=OuterRef("pk"), cancellation__isnull=True).exclude(lock="locked")
    if step == "agree":
        return Exists(going.filter(contract_review__agreed=False))
    if step == "cut":
        return Exists(going.filter(specimens__isnull=True))
    if step == "approve":
        under_way = Specimen.objects.filter(request=OuterRef("pk"), stage__in=_STAGES)
        done = Specimen.objects.filter(request=OuterRef("pk"), stage=Specimen.Stage.DONE)
        return Exists(going.filter(Exists(done)).exclude(Exists(under_way)))
    return Exists(going.filter(specimens__stage=step))


def work_rows(jobs: Iterable[Job], *, today: date) -> Iterator[WorkRow]:
    """Two more queries, however many jobs."""
    return (WorkRow(row, today) for row in job_rows(jobs, today=today))


def counted(*, user: User, today: date) -> dict[str, int]:
    """How many jobs are late, about to be, and in hand at all."""
    late, soon = Q(due_on__lt=today), Q(due_on__range=(today, today + SOON))
    number = {"late": Count("pk", filter=late), "soon": Count("pk", filter=soon), "all": Count("pk")}
    return received_jobs(user=user).order_by().aggregate(**number)


def customers_in_hand(user: User) -> QuerySet[Customer]:
    """Who has an open job."""
    return Customer.objects.filter(pk__in=received_jobs(user=user).order_by().values("customer")).order_by("name")
