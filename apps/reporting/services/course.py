"""Work that takes another course than was ordered: tested anew, fewer or more cycles, cancelled. Each with the word of
whoever asked for it."""

import uuid
from datetime import datetime

from django.db import transaction

from apps.accounts.models import Role, User
from apps.core.errors import Refusal
from apps.intake import services as intake
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Request, Specimen
from apps.measuring.queries import results_of
from apps.reporting.models import Cancellation, Retest
from apps.trail import services as trail

Stage = Specimen.Stage
MOST_CYCLES = 50


@transaction.atomic
def order_retest(
    *,
    request_id: int,
    asked_by: str,
    reason: str,
    cause: str,
    enough_cloth: bool,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Request:
    """The same test once more, with new specimens of the same sample. A result that failed is no reason by itself: who
    asked says why. The first result stays, and both are reported."""
    (first,) = lock_requests([request_id])
    payload = ["retest", str(first), asked_by, reason, cause]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Request.objects.get(pk=done.facts["request_id"])
    _check_word(by, reason)
    if asked_by not in Retest.AskedBy.values:
        raise Refusal("Say who asks for the retest.", code="asked_by", field="asked_by")
    if not results_of([first])[first.pk].directions:
        raise Refusal(f"{first} has no result yet. There is nothing to test anew.", code="no_result")
    if hasattr(first, "cancellation"):
        raise Refusal(f"{first} is cancelled.", code="cancelled")
    review = intake.ReviewDetails(
        can_do=True, enough_cloth=enough_cloth, agreed=first.contract_review.agreed, remark=f"retest of {first}"
    )
    details = intake.RequestDetails(
        method=first.method,
        procedure=first.procedure,
        drying=first.drying,
        review=review,
        cycles=first.cycles,
        measured_after=tuple(first.measured_cycles),
        length_lower=first.length_lower,
        length_upper=first.length_upper,
        width_lower=first.width_lower,
        width_upper=first.width_upper,
        limits_source=first.limits_source,
        decision_rule=first.decision_rule,
    )
    request = intake.add_request(sample_id=first.sample_id, request=details, by=by, at=at)
    said = {"asked_by": asked_by, "reason": reason.strip(), "cause": cause.strip()}
    Retest.objects.create(request=request, first=first, by=by, at=at, **said)
    facts = {"request": str(request), "request_id": request.pk, "first": str(first), **said}
    stream = first.sample.job.stream
    trail.record(stream=stream, kind="retest.ordered", by=by, at=at, facts=facts, key=key, payload=payload)
    return request


@transaction.atomic
def change_cycles(
    *,
    request_id: int,
    shown: int,
    cycles: int,
    agreed_with: str,
    reason: str,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Request:
    """Fewer cycles than were ordered (stopped after a first one that failed), or more than were; the customer said yes.

    `shown`: the number of cycles that the page showed. What is washed and read stays.
    """
    (request,) = lock_requests([request_id])
    payload = ["cycles", str(request), shown, cycles, agreed_with, reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return request
    _check_word(by, reason)
    ensure_open(request, "")
    if not agreed_with.strip():
        raise Refusal("Say who of the customer agreed.", code="agreed_with", field="agreed_with")
    if shown != request.cycles or cycles == request.cycles:
        raise Refusal(f"{request.cycles} cycles are ordered now. Choose another number.", code="cycles", field="cycles")
    if not 1 <= cycles <= MOST_CYCLES:
        raise Refusal(f"Between 1 and {MOST_CYCLES} cycles.", code="cycles", field="cycles")
    specimens = list(request.specimens.exclude(stage=Stage.SET_ASIDE).order_by("number"))
    if not specimens:
        raise Refusal("Nothing is cut yet. The front desk changes the order itself.", code="not_begun")
    _check_stop(request, specimens, cycles)
    before, kept = request.cycles, [n for n in request.measured_cycles if n <= cycles]
    request.cycles, request.measured_after = cycles, ",".join(map(str, sorted({*kept, cycles})))
    request.save(update_fields=["cycles", "measured_after"])
    _move(specimens, before, cycles, at)
    word = "Stopped after" if cycles < before else "Went on to"
    text = f"{word} cycle {cycles}, ordered were {before}; {agreed_with.strip()} agreed: {reason.strip()}"
    intake.deviate(job_id=request.sample.job_id, request_id=request.pk, kind="change", text=text, by=by, at=at)
    facts = {"request": str(request), "from": before, "to": cycles, "agreed_with": agreed_with.strip()}
    facts["reason"] = reason.strip()
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="cycles.changed", by=by, at=at, facts=facts, key=key, payload=payload)
    return request


def _check_stop(request: Request, specimens: list[Specimen], cycles: int) -> None:
    """A stop keeps what was washed: nothing is beyond it or on its way there, and its readings were ordered."""
    if cycles > request.cycles:
        return
    beyond = [s.short_code for s in specimens if s.cycles_valid > cycles]
    if beyond:
        raise Refusal(f"{', '.join(beyond)} had more cycles already.", code="beyond", field="cycles")
    wet = [s.short_code for s in specimens if s.cycles_valid == cycles and s.stage == Stage.IN_LOAD]
    if wet:
        raise Refusal(f"{', '.join(wet)} lies in a load for the next cycle. Take it out first.", code="in_load")
    passed = [s.short_code for s in specimens if s.cycles_valid == cycles and s.stage == Stage.READY]
    if passed and cycles not in request.measured_cycles:
        raise Refusal(
            f"After cycle {cycles} nothing was to be read, and {', '.join(passed)} went on without readings.",
            code="not_read",
            field="cycles",
        )


def _move(specimens: list[Specimen], before: int, cycles: int, at: datetime) -> None:
    for specimen in specimens:
        if specimen.stage == Stage.READY and specimen.cycles_valid == cycles:
            intake.advance(specimen=specimen, to=Stage.DONE, at=at)
        elif specimen.stage == Stage.DONE and specimen.cycles_valid == before < cycles:
            intake.advance(specimen=specimen, to=Stage.READY, at=at)


@transaction.atomic
def cancel_requests(
    *,
    request_id: int,
    asked_by: str,
    reason: str,
    whole_sample: bool,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> list[Request]:
    """This request is no longer to be carried out; or none that is still open of its sample, which was withdrawn.

    What was done stays in the book; its specimens are set aside. What is reported is not cancelled.
    """
    ids = [request_id]
    if whole_sample:
        of_sample = Request.objects.filter(sample__requests=request_id, lock=Request.Lock.OPEN, cancellation=None)
        ids = sorted({*of_sample.values_list("pk", flat=True), request_id})
    requests = lock_requests(ids)
    payload = ["cancel", request_id, asked_by, reason, whole_sample]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return list(Request.objects.filter(pk__in=done.facts["request_ids"]))
    _check_word(by, reason)
    if not asked_by.strip():
        raise Refusal("Say who asked for it.", code="asked_by", field="asked_by")
    for request in requests:
        ensure_open(request, "")
        _set_all_aside(request, at)
        Cancellation.objects.create(request=request, asked_by=asked_by.strip(), reason=reason.strip(), by=by, at=at)
    facts = {"requests": [str(request) for request in requests], "request_ids": [request.pk for request in requests]}
    facts |= {"asked_by": asked_by.strip(), "reason": reason.strip(), "whole_sample": whole_sample}
    stream = requests[0].sample.job.stream
    trail.record(stream=stream, kind="request.cancelled", by=by, at=at, facts=facts, key=key, payload=payload)
    return requests


def _set_all_aside(request: Request, at: datetime) -> None:
    specimens = list(request.specimens.exclude(stage=Stage.SET_ASIDE).order_by("number"))
    wet = [specimen.short_code for specimen in specimens if specimen.stage == Stage.IN_LOAD]
    if wet:
        raise Refusal(f"{', '.join(wet)} of {request} lies in a load. Take it out first.", code="in_load")
    for specimen in specimens:
        specimen.set_aside_reason = "the request is cancelled"
        intake.advance(specimen=specimen, to=Stage.SET_ASIDE, at=at)


def _check_word(by: User, reason: str) -> None:
    if not by.roles & {Role.FRONT_DESK, Role.MANAGER}:
        raise Refusal("The front desk or a lab manager does this.", code="not_desk")
    if not reason.strip():
        raise Refusal("Say why; it is kept.", code="no_reason", field="reason")
