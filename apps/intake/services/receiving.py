"""The front desk: a job comes in, and what was written at the desk is put right."""

import uuid
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from apps.accounts.models import Customer, User
from apps.calc.numbering import check_char
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.intake.locks import ensure_open, is_open, lock_jobs, lock_requests
from apps.intake.models import ContractReview, Job, JobSerial, Request, Sample, SamplePlace
from apps.intake.services.exceptions import deviate
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod
from apps.trail import services as trail


@dataclass(frozen=True)
class JobDetails:
    customer: Customer
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


@dataclass(frozen=True)
class RequestDetails:
    """One way of testing. Limits in percent, minus = shrinkage; all four None: no limits agreed."""

    method: TestMethod
    procedure: LaunderingProcedure
    drying: DryingProcedure
    review: ReviewDetails
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


@transaction.atomic
def receive_job(
    *, job: JobDetails, samples: list[SampleDetails], by: User, at: datetime, key: uuid.UUID | None = None
) -> Job:
    """A job is logged with all its samples and how each is to be tested; it gets its number for good."""
    payload = [_facts(job), [_sample_facts(sample) for sample in samples]]
    if done := trail.repeated(key=key, payload=payload):
        return Job.objects.get(number=done.facts["number"])
    if not samples:
        raise Refusal("A job has at least one sample. Add what came in.", code="no_sample")
    clock.check_moment(job.received_at, what="The receipt")
    row = Job.objects.create(
        number=_next_number(at), received_by=by, **{name: getattr(job, name) for name in JOB_COLUMNS}
    )
    lock_jobs([row.pk])
    letters = [_add_sample(row, sample, by=by, at=at).letter for sample in samples]
    trail.record(
        stream=row.stream,
        kind="job.received",
        by=by,
        at=at,
        facts={"number": row.number, **_facts(job), "samples": letters},
        key=key,
        payload=payload,
    )
    return row


@transaction.atomic
def add_sample(*, job_id: int, sample: SampleDetails, by: User, at: datetime, key: uuid.UUID | None = None) -> Sample:
    """One more item of the same job, come later or found in the parcel."""
    (job,) = lock_jobs([job_id])
    payload = [job.number, _sample_facts(sample)]
    if done := trail.repeated(key=key, payload=payload):
        return Sample.objects.get(code=done.facts["code"])
    row = _add_sample(job, sample, by=by, at=at)
    facts = {"code": row.code, **_sample_facts(sample)}
    trail.record(stream=job.stream, kind="sample.added", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def add_request(
    *, sample_id: int, request: RequestDetails, by: User, at: datetime, key: uuid.UUID | None = None
) -> Request:
    """One more way of testing a sample."""
    sample = _lock_sample(sample_id)
    payload = [sample.code, _request_facts(request)]
    if done := trail.repeated(key=key, payload=payload):
        return Request.objects.get(sample=sample, ordinal=done.facts["ordinal"])
    row = _add_request(sample, request, by=by, at=at)
    facts = {"code": sample.code, "ordinal": row.ordinal, **_request_facts(request)}
    trail.record(stream=sample.job.stream, kind="request.added", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def correct_job(*, job_id: int, shown: JobDetails, job: JobDetails, reason: str, by: User, at: datetime) -> Job:
    """Put right what was written about a job. `shown` is what the page showed: another's change is refused."""
    (row,) = lock_jobs([job_id])
    changes = _changes(row, JOB_COLUMNS, shown, job)
    if not changes:
        return row
    printed = set(changes) - {"due_on", "priority", "notes"}
    if printed:
        _need_reason(reason)
        for request in Request.objects.filter(sample__job=row).select_related("sample"):
            ensure_open(request, Request.OpenedFor.JOB_DETAILS)
    clock.check_moment(job.received_at, what="The receipt")
    _apply(row, changes)
    trail.record(
        stream=row.stream, kind="job.corrected", by=by, at=at, facts={"reason": reason, "changes": _told(changes)}
    )
    return row


@transaction.atomic
def correct_sample(
    *, sample_id: int, shown: SampleDetails, sample: SampleDetails, reason: str, by: User, at: datetime
) -> Sample:
    """Put right what was written about a sample, such as a width that the bench measured."""
    row = _lock_sample(sample_id)
    changes = _changes(row, SAMPLE_COLUMNS, shown, sample)
    if not changes:
        return row
    _need_reason(reason)
    for request in row.requests.select_related("sample"):
        ensure_open(request, Request.OpenedFor.JOB_DETAILS)
    _apply(row, changes)
    facts = {"code": row.code, "reason": reason, "changes": _told(changes)}
    trail.record(stream=row.job.stream, kind="sample.corrected", by=by, at=at, facts=facts)
    return row


@transaction.atomic
def change_request(
    *, request_id: int, shown: RequestDetails, request: RequestDetails, reason: str, by: User, at: datetime
) -> Request:
    """The customer wants it otherwise. Once specimens are cut, their laundering stays; the change is disclosed."""
    (row,) = lock_requests([request_id])
    order = _changes(row, ORDER_COLUMNS, _stored(shown), _stored(request))
    limits = _changes(row, LIMIT_COLUMNS, shown, request)
    if not order and not limits:
        return row
    _need_reason(reason)
    begun = row.specimens.exists()
    if order:
        ensure_open(row, "")
        if begun and set(order) - {"cycles", "measured_after"}:
            raise Refusal(
                "Specimens are cut for this request, so method and procedures stay. Add another request instead.",
                code="work_has_begun",
            )
        if begun and row.specimens.filter(cycles_valid__gt=0).exists():
            raise Refusal(
                "Cycles are already washed; the number of cycles stays. Add another request.", code="work_has_begun"
            )
    if limits:
        ensure_open(row, Request.OpenedFor.LIMITS)
    _check_request(request, row.sample)
    _apply(row, {**order, **limits})
    if begun and is_open(row, ""):
        deviate(
            job_id=row.sample.job_id, request_id=row.pk, kind="change", text=f"Request changed: {reason}", by=by, at=at
        )
    facts = {"code": row.sample.code, "ordinal": row.ordinal, "reason": reason, "changes": _told({**order, **limits})}
    trail.record(stream=row.sample.job.stream, kind="request.changed", by=by, at=at, facts=facts)
    return row


@transaction.atomic
def move_sample(*, sample_id: int, place: str, by: User, at: datetime) -> SamplePlace:
    """Write down where a sample lies now."""
    sample = _lock_sample(sample_id)
    if not place.strip():
        raise Refusal("Say where the sample lies now.", code="no_place", field="place")
    row = SamplePlace.objects.create(sample=sample, place=place.strip(), since=at, by=by)
    trail.record(
        stream=sample.job.stream, kind="sample.moved", by=by, at=at, facts={"code": sample.code, "place": row.place}
    )
    return row


def _lock_sample(sample_id: int) -> Sample:
    lock_jobs(Sample.objects.filter(pk=sample_id).values_list("job_id", flat=True))
    return Sample.objects.select_related("job").get(pk=sample_id)


def _next_number(at: datetime) -> str:
    """`26-00147N`: year, serial within the year, check character over the seven digits (ISO 7064 MOD 37,36)."""
    year = at.year % 100
    JobSerial.objects.get_or_create(year=year)
    serial = JobSerial.objects.select_for_update().get(year=year)
    serial.last += 1
    serial.save(update_fields=["last"])
    digits = f"{year:02d}{serial.last:05d}"
    return f"{digits[:2]}-{digits[2:]}{check_char(digits)}"


def _letter(position: int) -> str:
    """0 is A, 25 is Z, 26 is AA."""
    first, last = divmod(position, 26)
    return (chr(64 + first) if first else "") + chr(65 + last)


def _add_sample(job: Job, details: SampleDetails, *, by: User, at: datetime) -> Sample:
    position = job.samples.count()
    if position >= 26 * 27:
        raise Refusal("A job holds 702 samples at most. Log another job for the rest.", code="too_many_samples")
    letter = _letter(position)
    columns = {name: getattr(details, name) for name in SAMPLE_COLUMNS}
    sample = Sample.objects.create(job=job, letter=letter, code=f"{job.number}-{letter}", **columns)
    if details.place:
        SamplePlace.objects.create(sample=sample, place=details.place, since=at, by=by)
    for request in details.requests:
        _add_request(sample, request, by=by, at=at)
    return sample


def _add_request(sample: Sample, details: RequestDetails, *, by: User, at: datetime) -> Request:
    _check_request(details, sample)
    stored = _stored(details)
    columns = {name: stored[name] for name in (*ORDER_COLUMNS, *LIMIT_COLUMNS)}
    row = Request.objects.create(sample=sample, ordinal=sample.requests.count() + 1, **columns)
    ContractReview.objects.create(request=row, by=by, at=at, **asdict(details.review))
    return row


def _check_request(details: RequestDetails, sample: Sample) -> None:
    if details.method.applies_to != sample.kind:
        raise Refusal(
            f"{details.method} is a method for a {details.method.applies_to}, not for a {sample.kind}.", field="method"
        )
    if not 1 <= details.cycles <= 50:
        raise Refusal("Between 1 and 50 cycles.", code="cycles", field="cycles")
    if not details.measured_after or any(not 1 <= cycle <= details.cycles for cycle in details.measured_after):
        raise Refusal(
            f"Measured after cycles between 1 and {details.cycles}.", code="measured_after", field="measured_after"
        )
    if details.cycles not in details.measured_after:
        raise Refusal("The last cycle is always measured; name it too.", code="measured_after", field="measured_after")
    for direction in ("length", "width"):
        lower, upper = getattr(details, f"{direction}_lower"), getattr(details, f"{direction}_upper")
        if lower is not None and upper is not None and lower >= upper:
            raise Refusal(
                f"The lower limit of the {direction} must be below the upper one.", field=f"{direction}_lower"
            )
        for limit in (lower, upper):
            if limit is not None and not -100 < limit < 900:
                raise Refusal("A limit is a change in percent, such as -3.0.", code="limit", field=f"{direction}_lower")


def _stored(details: RequestDetails) -> dict[str, Any]:
    """The details as the columns hold them."""
    measured = ",".join(str(cycle) for cycle in sorted(set(details.measured_after)))
    return {**{name: getattr(details, name) for name in (*ORDER_COLUMNS, *LIMIT_COLUMNS)}, "measured_after": measured}


def _changes(row: Any, columns: tuple[str, ...], shown: Any, wanted: Any) -> dict[str, tuple[Any, Any]]:
    """Column -> (old, new). Refused when the row no longer says what the page showed."""
    take = (lambda source, name: source[name]) if isinstance(wanted, dict) else getattr
    for name in columns:
        if getattr(row, name) != take(shown, name):
            raise StalePage("Somebody changed this meanwhile. Look at what it says now, then enter your change again.")
    return {
        name: (getattr(row, name), take(wanted, name)) for name in columns if getattr(row, name) != take(wanted, name)
    }


def _apply(row: Any, changes: dict[str, tuple[Any, Any]]) -> None:
    for name, (_, new) in changes.items():
        setattr(row, name, new)
    row.save(update_fields=list(changes))


def _need_reason(reason: str) -> None:
    if not reason.strip():
        raise Refusal("Say why this is changed; the reason is kept.", code="no_reason", field="reason")


def _told(changes: dict[str, tuple[Any, Any]]) -> dict[str, list[Any]]:
    return {name: [_plain(old), _plain(new)] for name, (old, new) in changes.items()}


def _plain(value: Any) -> Any:
    return str(value) if isinstance(value, Customer | TestMethod | LaunderingProcedure | DryingProcedure) else value


def _facts(details: Any) -> dict[str, Any]:
    return {
        name: _plain(getattr(details, name))
        for name in details.__dataclass_fields__
        if name not in ("requests", "review")
    }


def _request_facts(details: RequestDetails) -> dict[str, Any]:
    return {**_facts(details), "review": asdict(details.review)}


def _sample_facts(details: SampleDetails) -> dict[str, Any]:
    return {**_facts(details), "requests": [_request_facts(request) for request in details.requests]}
