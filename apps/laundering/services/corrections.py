"""A closed run was written down wrongly: the record is superseded as a whole, with who and why."""

import uuid
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime

from django.db import transaction
from django.db.models import Max, Min

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal, RequestIsLocked, StalePage
from apps.equipment.models import Equipment
from apps.intake.locks import is_open
from apps.intake.models import Request
from apps.laundering.models import CycleLog, Drying, DryingCorrection, Load, LoadCorrection, LoadPiece
from apps.laundering.services import rules
from apps.laundering.services.acts import (
    check_state,
    hold_drying,
    hold_load,
    hold_loads,
    hold_pieces,
    of_run,
    requests_of,
    write_deviations,
    write_down,
)
from apps.laundering.services.conditions import WashRecord
from apps.laundering.services.drying_records import DryingRecord, read_drying
from apps.laundering.services.figures import words
from apps.laundering.services.instruments import instruments_of
from apps.trail import services as trail


@transaction.atomic
def correct_load(
    *,
    load_id: int,
    shown_revision: int,
    record: WashRecord,
    reason: str,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> LoadCorrection:
    """What the record of a closed load should have said, whole. The old one stays and is shown beside it.

    Refused while an issued report rests on it that no amendment has opened for its cycle record: the requests are
    named. What turns out to be outside of the procedure is disclosed as a deviation, never hidden.
    """
    payload = ["correct_load", load_id, shown_revision, asdict(record), reason]
    load, pieces = hold_load(load_id)
    if done := trail.repeated(key=key, payload=payload, by=by):
        return LoadCorrection.objects.get(load=load, revision=done.facts["revision"])
    check_state(load, Load.State.WASHED, Load.State.VOID)
    if load.wash_started_at is None:
        raise Refusal("This load was taken apart dry; there is no wash to put right.", code="never_washed")
    touched = [piece for piece in pieces if piece.outcome != LoadPiece.Outcome.OUT]
    _check_reports(touched)
    revision = load.corrections.aggregate(last=Max("revision"))["last"] or 0
    if revision != shown_revision:
        raise StalePage("Somebody corrected this load meanwhile. Look at what it says now.")
    reason = words(reason, what="The reason", field="reason", most=rules.WHY_LENGTH, needed=True)
    wash, rinse = record.read(), record.read_rinse()
    instruments = instruments_of(wash, record.wash_started_at, free=False)
    _check_times(load, touched, record.wash_started_at, record.wash_ended_at)
    rest = {
        "water_hardness": words(record.water_hardness, what="The hardness", field="water_hardness", most=60),
        "rinse_temp_c": rinse,
        "spun": record.spun,
        "wash_started_at": record.wash_started_at,
        "wash_ended_at": record.wash_ended_at,
    }
    relied = {"verification": instruments.verification}
    row = LoadCorrection.objects.create(
        load=load, revision=revision + 1, reason=reason, by=by, at=at, **wash.columns(), **rest, **relied
    )
    if problems := [*instruments.problems, *wash.problems(load.procedure)]:
        told = _told(f"Load {load.pk}", problems, reason)
        write_deviations(pieces=touched, load_number=load.pk, told=told, at_risk=False, by=by, at=at)
    facts = {"load": load.pk, "revision": row.revision, "reason": reason, **instruments.facts(), **wash.facts(), **rest}
    write_down(pieces=touched, kind="load.corrected", facts=facts, by=by, at=at, key=key, payload=payload)
    return row


@transaction.atomic
def correct_drying(
    *,
    drying_id: int,
    shown_revision: int,
    record: DryingRecord,
    dryer_id: int | None,
    started_at: datetime,
    ended_at: datetime,
    reason: str,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> DryingCorrection:
    """What the record of an ended drying should have said, whole; the old one stays and is shown beside it."""
    moments = [started_at.isoformat(), ended_at.isoformat()]
    payload = ["correct_drying", drying_id, shown_revision, *record.payload, dryer_id, *moments, reason]
    pieces = hold_pieces(drying_id=drying_id)
    loads = hold_loads(piece.load_id for piece in pieces)
    drying = hold_drying(drying_id)
    if done := trail.repeated(key=key, payload=payload, by=by):
        return DryingCorrection.objects.get(drying=drying, revision=done.facts["revision"])
    if drying.state != Drying.State.DRIED:
        raise Refusal(f"Drying {drying.pk} is {drying.get_state_display()}.", code=f"drying_{drying.state}")
    _check_reports(pieces)
    revision = drying.corrections.aggregate(last=Max("revision"))["last"] or 0
    if revision != shown_revision:
        raise StalePage("Somebody corrected this drying meanwhile. Look at what it says now.")
    reason = words(reason, what="The reason", field="reason", most=rules.WHY_LENGTH, needed=True)
    values, problems = read_drying(record, drying.procedure)
    dryer = _dryer(drying, dryer_id)
    clock.check_moment(started_at, after=max(load.wash_ended_at for load in loads), what="The start of the drying")
    clock.check_moment(ended_at, after=started_at, what="The end of the drying")
    _check_ticks(pieces, ended_at)
    held = {"started_at": started_at, "ended_at": ended_at, **values}
    row = DryingCorrection.objects.create(
        drying=drying, revision=revision + 1, reason=reason, by=by, at=at, dryer=dryer, **held
    )
    told = _told(f"Drying {drying.pk}", problems, reason)
    for load in loads:
        own = [piece for piece in pieces if piece.load_id == load.pk]
        write_deviations(pieces=own, load_number=load.pk, told=told, at_risk=False, by=by, at=at)
    facts = {"drying": drying.pk, "revision": row.revision, "reason": reason, "dryer": dryer.name if dryer else ""}
    write_down(pieces=pieces, kind="drying.corrected", facts={**facts, **held}, by=by, at=at, key=key, payload=payload)
    return row


def _told(run: str, problems: Sequence[rules.Problem], reason: str) -> list[tuple[str, str]]:
    """What turns out to have been otherwise than asked is disclosed, never hidden."""
    return of_run(f"{run}, record corrected", [(one.kind, f"{one.fact} Reason: {reason}") for one in problems])


def _dryer(drying: Drying, dryer_id: int | None) -> Equipment | None:
    dryer = Equipment.objects.filter(pk=dryer_id, kind=Equipment.Kind.DRYER).first()
    if drying.procedure.needs_machine and dryer is None:
        raise Refusal("Choose the dryer.", code="no_dryer", field="dryer")
    return dryer if drying.procedure.needs_machine else None


def _check_ticks(pieces: list[LoadPiece], ended: datetime) -> None:
    ticked = CycleLog.objects.filter(piece__in=pieces, voided_at__isnull=True).aggregate(first=Min("done_at"))["first"]
    if ticked and ended > ticked:
        raise Refusal(
            "The drying would end after its pieces were ticked off.", code="after_next_step", field="ended_at"
        )


def _check_reports(pieces: list[LoadPiece]) -> None:
    """Name every issued request that the load touches and that no amendment has opened for this."""
    shut = [request for request in requests_of(pieces) if not is_open(request, Request.OpenedFor.CYCLE_RECORD)]
    if shut:
        names = ", ".join(str(request) for request in shut)
        raise RequestIsLocked(
            f"Reports rest on this load: {names}. The manager first opens an amendment of each, for the cycle record."
        )


def _check_times(load: Load, pieces: list[LoadPiece], started: datetime, ended: datetime) -> None:
    clock.check_moment(started, after=load.made_up_at, what="The start of the wash")
    clock.check_moment(ended, after=started, what="The end of the wash")
    dryings = [piece.drying.started_at for piece in pieces if piece.drying]
    if dryings and ended > min(dryings):
        raise Refusal(
            "The wash would end after its pieces began to dry.", code="after_next_step", field="wash_ended_at"
        )
