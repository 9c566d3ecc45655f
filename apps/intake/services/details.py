"""What the front desk writes down of a job, a sample and a request, before it becomes rows; and what may be written."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone

from apps.accounts.models import Customer
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.models import Job, Request, Sample
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod


@dataclass(frozen=True)
class NewCustomer:
    """A company that is not in the book yet; it comes in together with its first job."""

    name: str
    address: str = ""
    contact: str = ""
    email: str = ""

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True)
class JobDetails:
    customer: Customer | NewCustomer
    received_at: datetime
    contact: str = ""
    purchase_order: str = ""
    due_on: date | None = None
    priority: str = Job.Priority.NORMAL
    notes: str = ""


@dataclass(frozen=True)
class ReviewDetails:
    can_do: bool
    enough_cloth: bool
    agreed: bool
    remark: str = ""
    label: str = ""


@dataclass(frozen=True)
class RequestDetails:
    """One way of testing. Limits in percent, minus = shrinkage; all four None: no limits agreed.

    `review` is needed when it is asked for anew; a change of a request has its own (`review_request`).
    """

    method: TestMethod
    procedure: LaunderingProcedure
    drying: DryingProcedure
    review: ReviewDetails | None = None
    cycles: int = 3
    measured_after: tuple[int, ...] = (3,)
    length_lower: Decimal | None = None
    length_upper: Decimal | None = None
    width_lower: Decimal | None = None
    width_upper: Decimal | None = None
    limits_source: str = ""
    decision_rule: str = Request.DecisionRule.SIMPLE


@dataclass(frozen=True)
class SampleDetails:
    description: str
    construction: str
    kind: str = Sample.Kind.FABRIC
    fibre: str = ""
    mass_gsm: Decimal | None = None
    colour: str = ""
    size: str = ""
    care_label: str = ""
    width_mm: Decimal | None = None
    length_mm: Decimal | None = None
    condition: str = ""
    fault: str = ""
    bleeds_or_sheds: bool = False
    place: str = ""
    requests: tuple[RequestDetails, ...] = field(default=())


JOB_COLUMNS = ("customer", "contact", "purchase_order", "received_at", "due_on", "priority", "notes")
SAMPLE_COLUMNS = tuple(name for name in SampleDetails.__dataclass_fields__ if name not in ("place", "requests"))
ORDER_COLUMNS = ("method", "procedure", "drying", "cycles", "measured_after")
LIMIT_COLUMNS = ("length_lower", "length_upper", "width_lower", "width_upper", "limits_source", "decision_rule")
REVIEW_COLUMNS = ("can_do", "enough_cloth", "agreed", "label", "remark")


def check_job(details: JobDetails) -> None:
    try:
        clock.check_moment(details.received_at, what="The receipt")
    except Refusal as refusal:
        raise Refusal(str(refusal), code=refusal.code, field="received_at") from refusal
    if details.due_on is not None and details.due_on < timezone.localdate(details.received_at):
        raise Refusal("The due date lies before the day of receipt.", code="due_before_receipt", field="due_on")


def check_sample(details: SampleDetails) -> None:
    for refusal in sample_faults(details):
        raise refusal


def sample_faults(details: SampleDetails) -> Iterator[Refusal]:
    """All that cannot be so of what came in."""
    if not (details.description or "").strip():
        yield Refusal("Say what came in.", code="no_description", field="description")
    if details.kind == Sample.Kind.FABRIC and details.construction == Sample.Construction.MIXED:
        yield Refusal("A fabric is woven or knit; only a garment can be both.", code="mixed", field="construction")
    for name in ("mass_gsm", "width_mm", "length_mm"):
        value = getattr(details, name)
        if value is not None and value <= 0:
            yield Refusal("Above zero, or left empty when it is not known.", code="not_positive", field=name)


def check_request(details: RequestDetails, kind: str) -> None:
    """Whether a sample of this kind can be tested so: the first fault is refused."""
    for refusal in request_faults(details, kind):
        raise refusal


def request_faults(details: RequestDetails, kind: str) -> Iterator[Refusal]:
    """All that stands against testing a sample of this kind so. What is None is passed over."""
    method = details.method
    if method and kind and method.applies_to != kind:
        sentence = f"{method} is a method for a {method.applies_to}, not for a {kind}."
        yield Refusal(sentence, code="kind", field="method")
    for name, what in (("procedure", "laundering procedure"), ("drying", "drying")):
        row = getattr(details, name)
        if method and row and row.family != method.family:
            yield Refusal(
                f"This {what} is of {row.get_family_display()}, the method of {method.get_family_display()}. "
                f"Choose one of {method.get_family_display()}.",
                code="family",
                field=name,
            )
    yield from _faults_of_cycles(details.cycles, details.measured_after)
    for direction in ("length", "width"):
        yield from _faults_of_limits(
            direction, getattr(details, f"{direction}_lower"), getattr(details, f"{direction}_upper")
        )


def _faults_of_cycles(cycles: int | None, measured_after: tuple[int, ...] | None) -> Iterator[Refusal]:
    if cycles is None:
        return
    if not 1 <= cycles <= 50:
        yield Refusal("Between 1 and 50 cycles.", code="cycles", field="cycles")
    elif measured_after is None:
        return
    elif not measured_after or any(not 1 <= cycle <= cycles for cycle in measured_after):
        sentence = f"Measured after cycles between 1 and {cycles}."
        yield Refusal(sentence, code="measured_after", field="measured_after")
    elif cycles not in measured_after:
        sentence = f"The last cycle is always measured; name cycle {cycles} too."
        yield Refusal(sentence, code="measured_after", field="measured_after")


def _faults_of_limits(direction: str, lower: Decimal | None, upper: Decimal | None) -> Iterator[Refusal]:
    for name, limit in (("lower", lower), ("upper", upper)):
        if limit is not None and not -100 < limit < 900:
            yield Refusal("A limit is a change in percent, such as −3.0.", code="limit", field=f"{direction}_{name}")
    if lower is not None and upper is not None and lower >= upper:
        yield Refusal(
            f"The lower limit of the {direction} must be below the upper one.",
            code="limits_order",
            field=f"{direction}_lower",
        )


def request_columns(details: RequestDetails) -> dict[str, Any]:
    """The details as the columns hold them."""
    measured = ",".join(str(cycle) for cycle in sorted(set(details.measured_after)))
    return {**{name: getattr(details, name) for name in (*ORDER_COLUMNS, *LIMIT_COLUMNS)}, "measured_after": measured}


def told(value: Any) -> Any:
    """A value as a fact: rows are told by their names."""
    rows = (Customer, NewCustomer, TestMethod, LaunderingProcedure, DryingProcedure)
    return str(value) if isinstance(value, rows) else value


def facts_of(details: Any) -> dict[str, Any]:
    """What the trail keeps of a job, a sample with its requests, a request with its review, or a review."""
    facts = {}
    for name in details.__dataclass_fields__:
        value = getattr(details, name)
        if name == "requests":
            facts[name] = [facts_of(request) for request in value]
        else:
            facts[name] = facts_of(value) if isinstance(value, ReviewDetails) else told(value)
    return facts
