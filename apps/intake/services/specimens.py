"""Specimens: cut, moved from stage to stage, set aside."""

import uuid
from datetime import datetime

from django.db import transaction

from apps.accounts.models import User
from apps.core.errors import Refusal, StalePage
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import CutPlan, Request, Specimen, Spot
from apps.intake.queries import CuttingWay, SamplePlan, plan_of
from apps.intake.services.exceptions import deviate
from apps.trail import services as trail

Stage = Specimen.Stage

# The whole life of a specimen. READY to OWED and DONE to OWED: a reading was found wrong before the next wash. READY to
# DONE and back: fewer or more cycles than were ordered at first.
MAY_FOLLOW = {
    Stage.CUT: {Stage.MARKED, Stage.SET_ASIDE},
    Stage.MARKED: {Stage.READY, Stage.SET_ASIDE},
    Stage.READY: {Stage.IN_LOAD, Stage.SET_ASIDE, Stage.DONE},
    Stage.IN_LOAD: {Stage.READY, Stage.OWED, Stage.SET_ASIDE},
    Stage.OWED: {Stage.READY, Stage.DONE, Stage.SET_ASIDE},
    Stage.DONE: {Stage.SET_ASIDE, Stage.READY},
    Stage.SET_ASIDE: set(),
}


@transaction.atomic
def cut_specimens(
    *,
    request_id: int,
    count: int,
    fewer_reason: str = "",
    outside_reason: str = "",
    shown: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> list[Specimen]:
    """Specimens are cut (or garments taken) and carry their codes, the first of them where the cutting plan has them.

    Fewer than the method says: with a reason. More than the plan shows: with a reason too, and nobody knows where
    the others lay. `shown` is the mark of the plan that the page showed.
    """
    (request,) = lock_requests([request_id])
    payload = [request.pk, count, fewer_reason, outside_reason]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return list(Specimen.objects.filter(code__in=done.facts["specimens"]).order_by("number"))
    ensure_open(request, Request.OpenedFor.READINGS)
    if request.specimens.exists():
        raise Refusal("The specimens of this request are already cut.", code="already_cut")
    fewer_reason, outside_reason = fewer_reason.strip(), outside_reason.strip()
    _check_count(request, count, fewer_reason)
    plan = _the_plan(request, shown)
    way = plan.way(request.pk)
    _check_room(plan, way, count, outside_reason)
    specimens = [
        Specimen.objects.create(request=request, number=n, code=f"{request.sample.code}{n}", stage_since=at)
        for n in plan_of(request.sample, counts={request.pk: count}).way(request.pk).numbers
    ]
    placed = way.pieces[:count]
    if placed:
        _keep_places(plan, way, specimens, by=by, at=at)
    if plan.is_drawn and count > len(placed):
        told = f"{count} specimens cut where the cutting plan has {len(placed)}: {outside_reason}"
        deviate(job_id=request.sample.job_id, request_id=request.pk, kind="other", text=told, by=by, at=at)
    if count < request.method.specimens:
        _fewer(request, count, fewer_reason, by=by, at=at)
    facts = {
        "request": str(request),
        "specimens": [specimen.code for specimen in specimens],
        "fewer_reason": fewer_reason,
        "pattern": way.pattern if placed else "",
        "places": [[piece.name, piece.x, piece.y, piece.side] for piece in placed],
    }
    trail.record(
        stream=request.sample.job.stream, kind="specimens.cut", by=by, at=at, facts=facts, key=key, payload=payload
    )
    return specimens


def _check_count(request: Request, count: int, fewer_reason: str) -> None:
    wanted = request.method.specimens
    if not 1 <= count <= 12:
        raise Refusal("Between 1 and 12 specimens.", code="count", field="count")
    if count < wanted and not fewer_reason:
        raise Refusal(f"The method asks for {wanted}. Say why there are fewer.", code="no_reason", field="fewer_reason")


def _check_room(plan: SamplePlan, way: CuttingWay, count: int, outside_reason: str) -> None:
    if plan.is_drawn and count > len(way.pieces) and not outside_reason:
        raise Refusal(
            f"The cutting plan has {len(way.pieces)} of {count}. Cut so many and say why there are fewer, or say where "
            "the others were taken from.",
            code="no_room",
            field="outside_reason",
        )


def _fewer(request: Request, count: int, reason: str, *, by: User, at: datetime) -> None:
    request.fewer_reason = reason
    request.save(update_fields=["fewer_reason"])
    text = f"{count} of {request.method.specimens} specimens: {reason}"
    deviate(job_id=request.sample.job_id, request_id=request.pk, kind="fewer_specimens", text=text, by=by, at=at)


def _the_plan(request: Request, shown: str) -> SamplePlan:
    """The plan as it stands; refused when the page showed another one."""
    plan = plan_of(request.sample)
    if shown and plan.way(request.pk).mark != shown:
        raise StalePage(
            "The cutting plan has changed since this page was opened: the size was corrected, or other specimens were "
            "cut from the sample. Look at the plan as it is now before you cut.",
            field="plan",
        )
    return plan


def _keep_places(plan: SamplePlan, way: CuttingWay, specimens: list[Specimen], *, by: User, at: datetime) -> None:
    CutPlan.objects.create(
        request=way.request,
        pattern=way.pattern,
        reason=way.reason,
        width_mm=plan.sample.width_mm,
        length_mm=plan.sample.length_mm,
        side_mm=way.pieces[0].side,
        by=by,
        at=at,
    )
    for specimen, piece in zip(specimens, way.pieces, strict=False):
        Spot.objects.create(specimen=specimen, x_mm=piece.x, y_mm=piece.y)


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
