"""The front desk: a job comes in with its samples and the ways they are to be tested."""

import uuid
from dataclasses import asdict, replace
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import User
from apps.accounts.services import create_customer
from apps.calc.numbering import check_char
from apps.core.errors import Refusal
from apps.intake.columns import sample_letter
from apps.intake.locks import lock_jobs, lock_sample
from apps.intake.models import ContractReview, Job, JobSerial, Request, Sample, SamplePlace
from apps.intake.services.announcing import arrived, lock_announcement
from apps.intake.services.details import (
    JOB_COLUMNS,
    SAMPLE_COLUMNS,
    JobDetails,
    NewCustomer,
    RequestDetails,
    SampleDetails,
    check_job,
    check_request,
    check_sample,
    facts_of,
    request_columns,
)
from apps.intake.services.notices import tell_received
from apps.trail import services as trail

MOST_SERIALS = 99_999
MOST_SAMPLES = 26 * 27  # A to ZZ


@transaction.atomic
def receive_job(
    *,
    job: JobDetails,
    samples: list[SampleDetails],
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
    earliest_on: date | None = None,
    announcement_id: int | None = None,
) -> Job:
    """A job is logged with all its samples and how each is to be tested; it gets its number for good.

    `earliest_on`: the earliest possible finish that the desk saw, kept beside the date that was promised.
    `announcement_id`: what the customer had said beforehand of this parcel.
    """
    payload = [facts_of(job), [facts_of(sample) for sample in samples]]
    # The year's serial is the lock of this act: a job that does not exist yet has no row to hold.
    serial = _lock_serial(at)
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Job.objects.get(number=done.facts["number"])
    if not samples:
        raise Refusal("A job has at least one sample. Add what came in.", code="no_sample")
    announced = lock_announcement(announcement_id) if announcement_id else None
    check_job(job)
    if isinstance(job.customer, NewCustomer):
        job = replace(job, customer=_new_customer(job.customer, by=by, at=at))
    columns = {name: getattr(job, name) for name in JOB_COLUMNS}
    unasked = not any(sample.requests for sample in samples)
    row = Job.objects.create(number=_next_number(serial), received_by=by, unasked=unasked, **columns)
    lock_jobs([row.pk])
    letters = [_add_sample(row, sample, by=by, at=at).letter for sample in samples]
    facts = {"number": row.number, **facts_of(job), "samples": letters, "earliest_finish": earliest_on}
    if announced:
        arrived(row=announced, job=row)
        facts["announcement"] = announced.pk
    trail.record(stream=row.stream, kind="job.received", by=by, at=at, facts=facts, key=key, payload=payload)
    tell_received(row, letters, at=at)
    return row


@transaction.atomic
def add_sample(*, job_id: int, sample: SampleDetails, by: User, at: datetime, key: uuid.UUID | None = None) -> Sample:
    """One more item of the same job, come later or found in the parcel."""
    (job,) = lock_jobs([job_id])
    payload = [job.number, facts_of(sample)]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Sample.objects.get(code=done.facts["code"])
    row = _add_sample(job, sample, by=by, at=at)
    facts = {"code": row.code, **facts_of(sample)}
    trail.record(stream=job.stream, kind="sample.added", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def add_request(
    *, sample_id: int, request: RequestDetails, by: User, at: datetime, key: uuid.UUID | None = None
) -> Request:
    """One more way of testing a sample."""
    sample = lock_sample(sample_id)
    payload = [sample.code, facts_of(request)]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Request.objects.get(sample=sample, ordinal=done.facts["ordinal"])
    row = _add_request(sample, request, by=by, at=at)
    facts = {"code": sample.code, "ordinal": row.ordinal, **facts_of(request)}
    trail.record(stream=sample.job.stream, kind="request.added", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


def _lock_serial(at: datetime) -> JobSerial:
    """The serial of the year that the lab's clock shows; held until the job is logged, so that none is lost."""
    year = timezone.localtime(at).year % 100
    JobSerial.objects.get_or_create(year=year)
    return JobSerial.objects.select_for_update(no_key=True).get(year=year)


def _next_number(serial: JobSerial) -> str:
    """`26-00147N`: year, serial within the year, check character over the seven digits (ISO 7064 MOD 37,36)."""
    if serial.last >= MOST_SERIALS:
        raise Refusal(f"{MOST_SERIALS:,} jobs are logged this year; no number is left.", code="no_number")
    serial.last += 1
    serial.save(update_fields=["last"])
    digits = f"{serial.year:02d}{serial.last:05d}"
    return f"{digits[:2]}-{digits[2:]}{check_char(digits)}"


def _new_customer(new: NewCustomer, *, by: User, at: datetime):
    try:
        return create_customer(**asdict(new), by=by, at=at)
    except Refusal as refusal:
        raise Refusal(str(refusal), code=refusal.code, field="customer") from refusal


def _add_sample(job: Job, details: SampleDetails, *, by: User, at: datetime) -> Sample:
    check_sample(details)
    position = job.samples.count()
    if position >= MOST_SAMPLES:
        raise Refusal(
            f"A job holds {MOST_SAMPLES} samples at most. Log another job for the rest.", code="too_many_samples"
        )
    letter = sample_letter(position)
    columns = {name: getattr(details, name) for name in SAMPLE_COLUMNS}
    sample = Sample.objects.create(job=job, letter=letter, code=f"{job.number}-{letter}", **columns)
    if details.place:
        SamplePlace.objects.create(sample=sample, place=details.place, since=at, by=by)
    for request in details.requests:
        _add_request(sample, request, by=by, at=at)
    return sample


def _add_request(sample: Sample, details: RequestDetails, *, by: User, at: datetime) -> Request:
    check_request(details, sample.kind)
    if details.review is None:
        raise Refusal("Look at the contract before work begins, and say what was found.", code="no_review")
    row = Request.objects.create(sample=sample, ordinal=sample.requests.count() + 1, **request_columns(details))
    ContractReview.objects.create(request=row, by=by, at=at, **asdict(details.review))
    Job.objects.filter(pk=sample.job_id, unasked=True).update(unasked=False)
    return row
