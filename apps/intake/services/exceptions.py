"""What is out of the ordinary: deviations, their judgement, and work sent back."""

import uuid
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import User
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open, lock_jobs, lock_requests
from apps.intake.models import Deviation, Job, Request, SendBack
from apps.trail import services as trail


@transaction.atomic
def deviate(
    *,
    job_id: int,
    kind: str,
    text: str,
    by: User,
    at: datetime,
    request_id: int | None = None,
    specimen_id: int | None = None,
    load_number: int | None = None,
    at_risk: bool = False,
    key: uuid.UUID | None = None,
) -> Deviation:
    """Write down that something was done otherwise than method or lab say. It is printed in the report.

    `at_risk`: the operator went on without the manager, who judges it before approval.
    """
    (job,) = lock_jobs([job_id])
    payload = [job.number, request_id, specimen_id, load_number, kind, text, at_risk]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Deviation.objects.get(pk=done.facts["deviation"])
    if not text.strip():
        raise Refusal("Say what was done otherwise, and why.", code="no_reason", field="deviation")
    _check_about(job, request_id, specimen_id)
    row = Deviation.objects.create(
        job=job,
        request_id=request_id,
        specimen_id=specimen_id,
        load_number=load_number,
        kind=kind,
        text=text.strip()[:500],
        by=by,
        at=at,
        at_risk=at_risk,
    )
    facts = {"deviation": row.pk, "kind": kind, "text": row.text, "load": load_number, "at_risk": at_risk}
    trail.record(stream=job.stream, kind="deviation.written", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


def _check_about(job: Job, request_id: int | None, specimen_id: int | None) -> None:
    """What a deviation is about belongs to this job, and its report is not issued."""
    requests = Request.objects.select_related("sample")
    about = [requests.get(pk=request_id)] if request_id is not None else []
    about += [requests.get(specimens__pk=specimen_id)] if specimen_id is not None else []
    for request in about:
        if request.sample.job_id != job.pk:
            raise Refusal("This belongs to another job.", code="another_job")
        _check_not_issued(request)


def _check_not_issued(request: Request) -> None:
    """What stands around a request may still be written while it is open, or opened for whatever purpose."""
    if request.lock == Request.Lock.LOCKED:
        ensure_open(request, "")


def is_late(at: datetime) -> bool:
    """Whether something done then is entered now later than the lab's setting lets pass."""
    return clock.now() - at > timedelta(hours=the_lab().late_entry_hours)


def disclose_late(
    *, job_id: int, what: str, by: User, at: datetime, request_id: int | None = None, reason: str = ""
) -> Deviation | None:
    """Late entry from paper is normal; later than the lab's setting it is disclosed with both times.

    `reason`: why it comes late, where somebody could be asked.
    """
    if not is_late(at):
        return None
    done, now = timezone.localtime(at), timezone.localtime(clock.now())
    text = f"{what}: done {done:%d %b %Y %H:%M}, entered {now:%d %b %Y %H:%M}"
    text += f". Reason: {reason.strip()}" if reason.strip() else ""
    return deviate(job_id=job_id, request_id=request_id, kind="late_entry", text=text, by=by, at=at)


@transaction.atomic
def judge_deviation(
    *, deviation_id: int, judgement: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> Deviation:
    """The manager says what a deviation done at risk means for the result. Said once."""
    job_id = Deviation.objects.values_list("job_id", flat=True).get(pk=deviation_id)
    (job,) = lock_jobs([job_id])
    row = Deviation.objects.get(pk=deviation_id)
    payload = [row.pk, judgement]
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    if not judgement.strip():
        raise Refusal("Say what this deviation means for the result.", code="no_judgement", field="judgement")
    if row.judged_at is not None:
        raise Refusal("This deviation is already judged.", code="already_judged")
    _check_about(job, row.request_id, row.specimen_id)
    row.judged_by, row.judged_at, row.judgement = by, at, judgement.strip()
    row.save(update_fields=["judged_by", "judged_at", "judgement"])
    facts = {"deviation": row.pk, "judgement": row.judgement}
    trail.record(stream=job.stream, kind="deviation.judged", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def send_back(
    *, request_id: int, to: str, reason: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> SendBack:
    """The manager wants something looked at again; the request is not ready for approval until this is answered."""
    (request,) = lock_requests([request_id])
    payload = [request.pk, to, reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return request.send_backs.latest("pk")
    if request.lock == Request.Lock.LOCKED:
        raise Refusal("The report is issued; open an amendment instead.", code="request_locked")
    if not reason.strip():
        raise Refusal("Say what should be looked at again.", code="no_reason", field="reason")
    if request.send_backs.filter(answered_at__isnull=True).exists():
        raise Refusal("This request is already sent back and not yet answered.", code="already_sent_back")
    row = SendBack.objects.create(request=request, to=to, reason=reason.strip(), by=by, at=at)
    facts = {"request": str(request), "to": to, "reason": row.reason}
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="request.sent_back", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def answer_send_back(
    *, send_back_id: int, answer: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> SendBack:
    """Bench, laundry or desk says what was found; the request goes to the manager again."""
    request_id = SendBack.objects.values_list("request_id", flat=True).get(pk=send_back_id)
    (request,) = lock_requests([request_id])
    row = SendBack.objects.get(pk=send_back_id)
    payload = [row.pk, answer]
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    if not answer.strip():
        raise Refusal("Say what you found or did.", code="no_answer", field="answer")
    if row.answered_at is not None:
        raise Refusal("This is already answered.", code="already_answered")
    _check_not_issued(request)
    row.answer, row.answered_by, row.answered_at = answer.strip(), by, at
    row.save(update_fields=["answer", "answered_by", "answered_at"])
    facts = {"request": str(request), "answer": row.answer}
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="request.answered", by=by, at=at, facts=facts, key=key, payload=payload)
    return row
