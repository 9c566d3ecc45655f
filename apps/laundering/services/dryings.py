"""A drying run: pieces of one or several washes that dry the same way. Air drying holds no machine."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from django.db import transaction

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.equipment.models import Equipment
from apps.laundering.models import Drying, Load, LoadPiece
from apps.laundering.services import rules
from apps.laundering.services.acts import (
    Otherwise,
    disclose,
    hold_drying,
    hold_loads,
    hold_pieces,
    in_hand,
    of_run,
    write_deviations,
    write_down,
)
from apps.laundering.services.drying_records import DryingRecord, read_drying
from apps.laundering.services.figures import Typed, words
from apps.laundering.services.instruments import free_dryer, used
from apps.methods.models import DryingProcedure
from apps.trail import services as trail

State = Drying.State


@transaction.atomic
def start_drying(
    *,
    piece_ids: Iterable[int],
    dryer_id: int | None,
    load_id: int | None = None,
    prepared: bool | None = None,
    deviation: str = "",
    reasons: Mapping[str, str] | None = None,
    at_risk: bool = False,
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Drying:
    """Washed pieces with the same drying procedure go into the dryer, or are hung or laid.

    They may come from several washes. `load_id`: the load on whose page it was asked; it must be one of theirs.
    `prepared`: loose threads are cut and the pieces untangled.
    """
    ids = sorted(set(piece_ids))
    otherwise = Otherwise(deviation, reasons or {}, at_risk, late_reason)
    payload = ["start_drying", ids, dryer_id, prepared, *otherwise.payload]
    pieces = hold_pieces(ids)
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Drying.objects.get(pk=done.facts["drying"])
    if not ids or len(pieces) != len(ids):
        raise Refusal("Choose the pieces that are dried.", code="no_pieces", field="pieces")
    loads = {load.pk: load for load in hold_loads(piece.load_id for piece in pieces)}
    if load_id is not None and load_id not in loads:
        raise Refusal(f"None of these pieces is in load {load_id}.", code="not_in_load", field="pieces")
    in_hand(pieces)
    procedure = _same_drying(pieces, loads)
    clock.check_moment(at, after=max(load.wash_ended_at for load in loads.values()), what="The start of the drying")
    dryer, problems = _dryer_for(procedure, dryer_id, at)
    told = otherwise.answered(problems, kind="drying", by=by)
    drying = Drying.objects.create(procedure=procedure, dryer=dryer, prepared=prepared, started_at=at, by=by)
    for piece in pieces:
        piece.drying = drying
        piece.save(update_fields=["drying"])
    _write_deviations(pieces, of_run(f"Drying {drying.pk}", told), otherwise.risk(by), by, at)
    disclose(pieces=pieces, what=f"Start of drying {drying.pk}", reason=late_reason, by=by, at=at)
    facts = {**_facts(drying, pieces), "prepared": prepared}
    write_down(pieces=pieces, kind="drying.started", facts=facts, by=by, at=at, key=key, payload=payload)
    return drying


@transaction.atomic
def end_drying(
    *,
    drying_id: int,
    lint_filter_cleaned: bool,
    exhaust_c: Typed = None,
    remark: str = "",
    cooled_down: bool | None = None,
    dryness: str = "",
    longer_minutes: Typed = None,
    deviation: str = "",
    reasons: Mapping[str, str] | None = None,
    at_risk: bool = False,
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Drying:
    """The pieces are dry and taken out. A tumble dryer's lint filter is cleaned, or the remark says why not.

    Heavy cloth may dry longer than the programme: how much longer is written down, and the remark says why.
    """
    record = DryingRecord(lint_filter_cleaned, exhaust_c, remark, cooled_down, dryness, longer_minutes)
    otherwise = Otherwise(deviation, reasons or {}, at_risk, late_reason)
    payload = ["end_drying", drying_id, *record.payload, *otherwise.payload]
    drying, pieces = _hold(drying_id)
    if trail.repeated(key=key, payload=payload, by=by):
        return drying
    _check_state(drying, State.RUNNING)
    pieces = in_hand(pieces)
    clock.check_moment(at, after=drying.started_at, what="The end of the drying")
    values, problems = read_drying(record, drying.procedure)
    told = of_run(f"Drying {drying.pk}", otherwise.answered(problems, kind="drying", by=by))
    for name, value in values.items():
        setattr(drying, name, value)
    drying.state, drying.ended_at = State.DRIED, at
    drying.save(update_fields=["state", "ended_at", *values])
    _write_deviations(pieces, told, otherwise.risk(by), by, at)
    disclose(pieces=pieces, what=f"End of drying {drying.pk}", reason=late_reason, by=by, at=at)
    facts = {**_facts(drying, pieces), **values}
    write_down(pieces=pieces, kind="drying.ended", facts=facts, by=by, at=at, key=key, payload=payload)
    return drying


@transaction.atomic
def void_drying(
    *, drying_id: int, reason: str, late_reason: str = "", by: User, at: datetime, key: uuid.UUID | None = None
) -> Drying:
    """A drying that does not count. Its pieces wait to be dried again; the run stays in the book as void."""
    payload = ["void_drying", drying_id, reason, late_reason]
    drying, pieces = _hold(drying_id)
    if trail.repeated(key=key, payload=payload, by=by):
        return drying
    _check_state(drying, State.RUNNING, State.DRIED)
    if any(piece.outcome == LoadPiece.Outcome.TICKED for piece in pieces):
        raise Refusal("A cycle of this drying is ticked off already, so the drying stands.", code="cycle_ticked")
    pieces = in_hand(pieces)
    drying.void_reason = words(reason, what="The reason", field="reason", most=rules.WHY_LENGTH, needed=True)
    ended = clock.broken_off(at, after=drying.ended_at or drying.started_at, what="Breaking off the drying")
    changed = ["state", "void_reason"]
    if drying.state == State.RUNNING:
        drying.ended_at = ended
        changed.append("ended_at")
    drying.state = State.VOID
    drying.save(update_fields=changed)
    for piece in pieces:
        piece.void_dryings.add(drying)
        piece.drying = None
        piece.save(update_fields=["drying"])
    text = f"Drying {drying.pk} broken off; the pieces are dried again. Reason: {drying.void_reason}"
    _write_deviations(pieces, [("drying", text)], False, by, at)
    disclose(pieces=pieces, what=f"Breaking off drying {drying.pk}", reason=late_reason, by=by, at=at)
    facts = {**_facts(drying, pieces), "reason": drying.void_reason}
    write_down(pieces=pieces, kind="drying.void", facts=facts, by=by, at=at, key=key, payload=payload)
    return drying


def _hold(drying_id: int) -> tuple[Drying, list[LoadPiece]]:
    pieces = hold_pieces(drying_id=drying_id)
    hold_loads(piece.load_id for piece in pieces)
    return hold_drying(drying_id), pieces


def _same_drying(pieces: Sequence[LoadPiece], loads: dict[int, Load]) -> DryingProcedure:
    """The one drying procedure of pieces that are washed and not yet dried."""
    first = pieces[0].specimen.request.drying
    for piece in pieces:
        name = rules.named(piece.specimen)
        if not piece.open:
            raise Refusal(f"{name} has left its load.", code="piece_shut", field="pieces")
        if loads[piece.load_id].state != Load.State.WASHED:
            raise Refusal(f"{name} is not washed yet.", code="not_washed", field="pieces")
        if piece.drying_id is not None:
            raise Refusal(f"{name} is in drying {piece.drying_id} already.", code="in_drying", field="pieces")
        if piece.specimen.request.drying_id != first.pk:
            raise Refusal(
                f"{name} dries by {piece.specimen.request.drying}, {rules.named(pieces[0].specimen)} by {first}."
                " Dry them apart.",
                code="drying_differs",
                field="pieces",
            )
    return first


def _dryer_for(
    procedure: DryingProcedure, dryer_id: int | None, at: datetime
) -> tuple[Equipment | None, list[rules.Problem]]:
    """The machine, held and free; air drying takes none."""
    if procedure.needs_machine:
        dryer = free_dryer(dryer_id)
        return dryer, used(dryer, at, field="dryer", code="overdue", kind="drying")
    if dryer_id is not None:
        raise Refusal(f"{procedure} needs no machine.", code="no_machine_needed", field="dryer")
    return None, []


def _check_state(drying: Drying, *states: str) -> None:
    if drying.state not in states:
        raise Refusal(
            f"Drying {drying.pk} is {drying.get_state_display()}. Look at it again.", code=f"drying_{drying.state}"
        )


def _facts(drying: Drying, pieces: Sequence[LoadPiece]) -> dict:
    return {
        "drying": drying.pk,
        "procedure": str(drying.procedure),
        "dryer": drying.dryer.name if drying.dryer else "",
        "loads": sorted({piece.load_id for piece in pieces}),
    }


def _write_deviations(
    pieces: Sequence[LoadPiece], told: list[tuple[str, str]], at_risk: bool, by: User, at: datetime
) -> None:
    """Under the number of each load that the pieces came from."""
    for load_id in sorted({piece.load_id for piece in pieces}):
        own = [piece for piece in pieces if piece.load_id == load_id]
        write_deviations(pieces=own, load_number=load_id, told=told, at_risk=at_risk, by=by, at=at)
