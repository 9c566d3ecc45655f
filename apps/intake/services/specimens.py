"""Specimens: cut, moved from stage to stage, set aside."""

import uuid
from datetime import datetime

from django.db import transaction

from apps.accounts.models import User
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Request, Specimen
from apps.intake.services.exceptions import deviate
from apps.trail import services as trail

Stage = Specimen.Stage

# The whole life of a specimen. READY to OWED and DONE to OWED: a reading was found wrong before the next wash.
MAY_FOLLOW = {
    Stage.CUT: {Stage.MARKED, Stage.SET_ASIDE},
    Stage.MARKED: {Stage.READY, Stage.SET_ASIDE},
    Stage.READY: {Stage.IN_LOAD, Stage.SET_ASIDE},
    Stage.IN_LOAD: {Stage.READY, Stage.OWED, Stage.SET_ASIDE},
    Stage.OWED: {Stage.READY, Stage.DONE, Stage.SET_ASIDE},
    Stage.DONE: {Stage.SET_ASIDE},
    Stage.SET_ASIDE: set(),
}


@transaction.atomic
def cut_specimens(
    *,
    request_id: int,
    count: int,
    fewer_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> list[Specimen]:
    """Specimens are cut (or garments taken) and carry their codes. Fewer than the method says: with a reason."""
    (request,) = lock_requests([request_id])
    payload = [request.pk, count, fewer_reason]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return list(Specimen.objects.filter(code__in=done.facts["specimens"]).order_by("number"))
    ensure_open(request, Request.OpenedFor.READINGS)
    if request.specimens.exists():
        raise Refusal("The specimens of this request are already cut.", code="already_cut")
    wanted = request.method.specimens
    if not 1 <= count <= 12:
        raise Refusal("Between 1 and 12 specimens.", code="count", field="count")
    if count < wanted and not fewer_reason.strip():
        raise Refusal(f"The method asks for {wanted}. Say why there are fewer.", code="no_reason", field="fewer_reason")
    first = 1 + Specimen.objects.filter(request__sample=request.sample).count()
    specimens = [
        Specimen.objects.create(request=request, number=n, code=f"{request.sample.code}{n}", stage_since=at)
        for n in range(first, first + count)
    ]
    if count < wanted:
        request.fewer_reason = fewer_reason.strip()
        request.save(update_fields=["fewer_reason"])
        text = f"{count} of {wanted} specimens: {request.fewer_reason}"
        deviate(job_id=request.sample.job_id, request_id=request.pk, kind="fewer_specimens", text=text, by=by, at=at)
    facts = {
        "request": str(request),
        "specimens": [specimen.code for specimen in specimens],
        "fewer_reason": fewer_reason,
    }
    trail.record(
        stream=request.sample.job.stream, kind="specimens.cut", by=by, at=at, facts=facts, key=key, payload=payload
    )
    return specimens


def advance(
    *, specimen: Specimen, to: Specimen.Stage, at: datetime, cycle_done: bool = False, wetted: bool = False
) -> Specimen:
    """Move a specimen to its next stage. The caller holds the locks and records the act that moved it.

    `cycle_done` counts a valid cycle, `wetted` a time in water: a void wash wets the cloth and is no cycle.
    """
    if to not in MAY_FOLLOW[Stage(specimen.stage)]:
        raise Refusal(
            f"{specimen.short_code} is {specimen.get_stage_display()}; it cannot become “{Stage(to).label}” now.",
            code="stage",
        )
    specimen.stage, specimen.stage_since = to, at
    specimen.cycles_valid += cycle_done
    specimen.times_wetted += wetted
    specimen.save(update_fields=["stage", "stage_since", "cycles_valid", "times_wetted", "set_aside_reason"])
    return specimen


@transaction.atomic
def set_aside(*, specimen_id: int, reason: str, by: User, at: datetime, key: uuid.UUID | None = None) -> Specimen:
    """A specimen leaves the test: lost, spoilt, frayed. It stays in the book; its readings no longer count."""
    request_id = Specimen.objects.values_list("request_id", flat=True).get(pk=specimen_id)
    (request,) = lock_requests([request_id])
    specimen = Specimen.objects.get(pk=specimen_id)
    payload = [specimen.code, reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return specimen
    ensure_open(request, Request.OpenedFor.READINGS)
    if not reason.strip():
        raise Refusal("Say why the specimen is set aside.", code="no_reason", field="reason")
    if specimen.stage == Stage.IN_LOAD:
        raise Refusal("The specimen is in a load. Take it out of the load first.", code="in_load")
    specimen.set_aside_reason = reason.strip()
    advance(specimen=specimen, to=Stage.SET_ASIDE, at=at)
    text = f"{specimen.short_code} set aside: {specimen.set_aside_reason}"
    deviate(
        job_id=request.sample.job_id,
        request_id=request.pk,
        specimen_id=specimen.pk,
        kind="other",
        text=text,
        by=by,
        at=at,
    )
    facts = {"specimen": specimen.code, "reason": specimen.set_aside_reason}
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="specimen.set_aside", by=by, at=at, facts=facts, key=key, payload=payload)
    return specimen
