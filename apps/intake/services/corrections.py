"""What was written at the desk is put right, and what the customer wants otherwise is changed.

`shown` is what the page showed: when somebody else has changed it meanwhile, the act is refused.
"""

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.accounts.models import User
from apps.core.errors import Refusal, StalePage
from apps.intake.locks import ensure_open, is_open, lock_jobs, lock_requests, lock_sample
from apps.intake.models import Job, Request, Sample, SamplePlace
from apps.intake.services.details import (
    JOB_COLUMNS,
    LIMIT_COLUMNS,
    ORDER_COLUMNS,
    REVIEW_COLUMNS,
    SAMPLE_COLUMNS,
    JobDetails,
    RequestDetails,
    ReviewDetails,
    SampleDetails,
    check_job,
    check_request,
    check_sample,
    facts_of,
    request_columns,
    told,
)
from apps.intake.services.exceptions import deviate
from apps.intake.services.notices import tell_moved
from apps.trail import services as trail

FREE_OF_REASON = {"due_on", "priority", "notes"}  # never printed in a report


@transaction.atomic
def correct_job(
    *,
    job_id: int,
    shown: JobDetails,
    job: JobDetails,
    reason: str,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Job:
    """Put right what was written about a job. What a report prints of it needs a reason and no issued report."""
    (row,) = lock_jobs([job_id])
    payload = [row.number, facts_of(job), reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    changes = _changes(row, JOB_COLUMNS, shown, job)
    if not changes:
        return row
    if set(changes) - FREE_OF_REASON:
        _need_reason(reason)
        for request in Request.objects.filter(sample__job=row).select_related("sample"):
            ensure_open(request, Request.OpenedFor.JOB_DETAILS)
    check_job(job)
    due_before = row.due_on
    _apply(row, changes)
    facts = {"reason": reason, "changes": _told(changes)}
    trail.record(stream=row.stream, kind="job.corrected", by=by, at=at, facts=facts, key=key, payload=payload)
    tell_moved(row, due_before, at=at)
    return row


@transaction.atomic
def correct_sample(
    *,
    sample_id: int,
    shown: SampleDetails,
    sample: SampleDetails,
    reason: str,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Sample:
    """Put right what was written about a sample, such as a width that the bench measured."""
    row = lock_sample(sample_id)
    payload = [row.code, facts_of(sample), reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    changes = _changes(row, SAMPLE_COLUMNS, shown, sample)
    if not changes:
        return row
    _need_reason(reason)
    for request in row.requests.select_related("sample", "method"):
        ensure_open(request, Request.OpenedFor.JOB_DETAILS)
        if request.method.applies_to != sample.kind:
            raise Refusal(
                f"{request.method} is asked for, a method for a {request.method.applies_to}. "
                "Change the way of testing first.",
                code="kind",
                field="kind",
            )
    check_sample(sample)
    _apply(row, changes)
    facts = {"code": row.code, "reason": reason, "changes": _told(changes)}
    trail.record(stream=row.job.stream, kind="sample.corrected", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def change_request(
    *,
    request_id: int,
    shown: RequestDetails,
    request: RequestDetails,
    reason: str,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Request:
    """The customer wants it otherwise. Once specimens are cut, their laundering stays; the change is disclosed."""
    (row,) = lock_requests([request_id])
    payload = [str(row), facts_of(request), reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    order = _changes(row, ORDER_COLUMNS, request_columns(shown), request_columns(request))
    limits = _changes(row, LIMIT_COLUMNS, shown, request)
    if not order and not limits:
        return row
    _need_reason(reason)
    begun = row.specimens.exists()
    if order:
        ensure_open(row, "")
        _check_not_begun(row, set(order))
    if limits:
        ensure_open(row, Request.OpenedFor.LIMITS)
    check_request(request, row.sample.kind)
    _apply(row, {**order, **limits})
    if begun and is_open(row, ""):
        text = f"Request changed: {reason}"
        deviate(job_id=row.sample.job_id, request_id=row.pk, kind="change", text=text, by=by, at=at)
    facts = {"code": row.sample.code, "ordinal": row.ordinal, "reason": reason, "changes": _told({**order, **limits})}
    stream = row.sample.job.stream
    trail.record(stream=stream, kind="request.changed", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def review_request(
    *,
    request_id: int,
    shown: ReviewDetails,
    review: ReviewDetails,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Request:
    """Look at the contract again, such as when the customer has answered. Who looked last signs for it."""
    (request,) = lock_requests([request_id])
    payload = [str(request), facts_of(review)]
    if trail.repeated(key=key, payload=payload, by=by):
        return request
    row = request.contract_review
    changes = _changes(row, REVIEW_COLUMNS, shown, review)
    if not changes:
        return request
    ensure_open(request, "")
    _apply(row, {**changes, "by": (row.by, by), "at": (row.at, at)})
    facts = {"code": request.sample.code, "ordinal": request.ordinal, "changes": _told(changes)}
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="request.reviewed", by=by, at=at, facts=facts, key=key, payload=payload)
    return request


@transaction.atomic
def move_sample(*, sample_id: int, place: str, by: User, at: datetime, key: uuid.UUID | None = None) -> SamplePlace:
    """Write down where a sample lies now."""
    sample = lock_sample(sample_id)
    payload = [sample.code, place]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return SamplePlace.objects.get(pk=done.facts["row"])
    if not place.strip():
        raise Refusal("Say where the sample lies now.", code="no_place", field="place")
    row = SamplePlace.objects.create(sample=sample, place=place.strip(), since=at, by=by)
    facts = {"code": sample.code, "place": row.place, "row": row.pk}
    trail.record(stream=sample.job.stream, kind="sample.moved", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


def _check_not_begun(row: Request, changed: set[str]) -> None:
    """Specimens that are cut were cut for this method; those that were washed, for these cycles."""
    if not row.specimens.exists():
        return
    if changed - {"cycles", "measured_after"}:
        raise Refusal(
            "Specimens are cut for this request, so method and procedures stay. Add another way of testing instead.",
            code="work_has_begun",
        )
    if row.specimens.filter(times_wetted__gt=0).exists() or row.specimens.filter(stage="in_load").exists():
        raise Refusal(
            "Cycles are already washed or in the machine, so their number stays. Add another way of testing instead.",
            code="work_has_begun",
        )


def _changes(row: Any, columns: tuple[str, ...], shown: Any, wanted: Any) -> dict[str, tuple[Any, Any]]:
    """Column -> (old, new). Refused when the row no longer says what the page showed."""
    take = (lambda source, name: source[name]) if isinstance(wanted, dict) else getattr
    now = {name: getattr(row, name) for name in columns}
    if any(now[name] != take(shown, name) for name in columns):
        raise StalePage("Somebody changed this meanwhile. Look at what it says now, then enter your change again.")
    return {name: (now[name], take(wanted, name)) for name in columns if now[name] != take(wanted, name)}


def _apply(row: Any, changes: dict[str, tuple[Any, Any]]) -> None:
    for name, (_, new) in changes.items():
        setattr(row, name, new)
    row.save(update_fields=list(changes))


def _need_reason(reason: str) -> None:
    if not reason.strip():
        raise Refusal("Say why this is changed; the reason is kept.", code="no_reason", field="reason")


def _told(changes: dict[str, tuple[Any, Any]]) -> dict[str, list[Any]]:
    return {name: [told(old), told(new)] for name, (old, new) in changes.items()}
