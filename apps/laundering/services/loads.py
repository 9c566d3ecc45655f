"""A wash run: made up, begun, ended; or broken off."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Unpack

from django.db import transaction

from apps.accounts.models import User
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Request, Specimen
from apps.intake.services import advance
from apps.laundering.models import Drying, Load, LoadPiece
from apps.laundering.services import rules
from apps.laundering.services.acts import (
    WITH_JOB,
    Otherwise,
    check_state,
    disclose,
    hold_load,
    in_hand,
    of_run,
    requests_of,
    write_deviations,
    write_down,
)
from apps.laundering.services.conditions import WashTyped, read_rinse, read_wash
from apps.laundering.services.figures import Typed, words
from apps.laundering.services.instruments import instruments_of
from apps.trail import services as trail

Stage, Outcome = Specimen.Stage, LoadPiece.Outcome
PIECES_AT_MOST = 200


@transaction.atomic
def make_up_load(
    *,
    specimen_ids: Iterable[int],
    deviation: str = "",
    reasons: Mapping[str, str] | None = None,
    at_risk: bool = False,
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Load:
    """Pieces are put together for one drum: all may be washed now, and all may share a wash.

    Pieces at different cycle numbers may share. A piece whose readings are due is refused, whatever is written; what
    may not share does so only with a reason. The load is washed by the procedure that most of its pieces ask for.
    """
    ids = sorted(set(specimen_ids))
    otherwise = Otherwise(deviation, reasons or {}, at_risk, late_reason)
    payload = ["make_up_load", ids, *otherwise.payload]
    lock_requests(Specimen.objects.filter(pk__in=ids).values_list("request_id", flat=True))
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Load.objects.get(pk=done.facts["load"])
    if not ids:
        raise Refusal("Choose the pieces that go into the load.", code="no_pieces", field="specimens")
    specimens = _washable(ids)
    told = otherwise.answered(rules.sharing_problems(specimens, the_lab()), kind="load", by=by)
    latest = max(specimen.stage_since for specimen in specimens)
    clock.check_moment(at, after=latest, what="The make-up of the load")
    procedures = [specimen.request.procedure for specimen in specimens]
    load = Load.objects.create(procedure=max(procedures, key=procedures.count), made_up_at=at, made_up_by=by)
    pieces = _put_in(load, specimens, at)
    run = f"Load {load.pk}"
    write_deviations(
        pieces=pieces, load_number=load.pk, told=of_run(run, told), at_risk=otherwise.risk(by), by=by, at=at
    )
    disclose(pieces=pieces, what=f"Make-up of load {load.pk}", reason=late_reason, by=by, at=at)
    facts = {"load": load.pk, "procedure": str(load.procedure)}
    write_down(pieces=pieces, kind="load.made_up", facts=facts, by=by, at=at, key=key, payload=payload)
    return load


@transaction.atomic
def add_piece(
    *,
    load_id: int,
    specimen_id: int,
    deviation: str = "",
    reasons: Mapping[str, str] | None = None,
    at_risk: bool = False,
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> LoadPiece:
    """One piece more goes into a load that is made up and not begun, under the rules of the make-up."""
    otherwise = Otherwise(deviation, reasons or {}, at_risk, late_reason)
    payload = ["add_piece", load_id, specimen_id, *otherwise.payload]
    there = LoadPiece.objects.filter(load_id=load_id).values_list("specimen_id", flat=True)
    touched = Specimen.objects.filter(pk__in=[*there, specimen_id]).values_list("request_id", flat=True)
    lock_requests(touched)
    load, pieces = hold_load(load_id)
    if trail.repeated(key=key, payload=payload, by=by):
        return load.pieces.filter(specimen_id=specimen_id).latest("pk")
    pieces = in_hand(pieces)
    if mine := next((piece for piece in pieces if piece.specimen_id == specimen_id), None):
        raise Refusal(f"{rules.named(mine.specimen)} is in this load already.", code="in_this_load", field="code")
    check_state(load, Load.State.MADE_UP)
    (specimen,) = _washable([specimen_id])
    if len(pieces) >= PIECES_AT_MOST:
        raise Refusal(f"{PIECES_AT_MOST} pieces at most.", code="too_many", field="code")
    known = {problem.code for problem in rules.sharing_problems([piece.specimen for piece in pieces], the_lab())}
    clashes = rules.sharing_problems([*(piece.specimen for piece in pieces), specimen], the_lab())
    # What clashed when the load was made up has its reason there.
    told = otherwise.answered([one for one in clashes if one.code not in known], kind="load", by=by)
    clock.check_moment(at, after=max(specimen.stage_since, load.made_up_at), what="Adding the piece")
    (piece,) = _put_in(load, [specimen], at)
    pieces = [*pieces, piece]
    told = of_run(f"Load {load.pk}", told)
    write_deviations(pieces=pieces, load_number=load.pk, told=told, at_risk=otherwise.risk(by), by=by, at=at)
    disclose(pieces=[piece], what=f"Adding to load {load.pk}", reason=late_reason, by=by, at=at)
    facts = {"load": load.pk}
    write_down(pieces=[piece], kind="load.piece_in", facts=facts, by=by, at=at, key=key, payload=payload)
    return piece


def _washable(ids: Sequence[int]) -> list[Specimen]:
    """These specimens, all of which may be washed now; for that there is no deviation."""
    if len(ids) > PIECES_AT_MOST:
        raise Refusal(f"{PIECES_AT_MOST} pieces at most.", code="too_many", field="specimens")
    related = [path.removeprefix("specimen__") for path in WITH_JOB]
    specimens = list(Specimen.objects.filter(pk__in=ids).select_related(*related).order_by("pk"))
    if len(specimens) != len(ids):
        raise Refusal("One of these pieces does not exist.", code="no_such_piece", field="specimens")
    for request in {specimen.request_id: specimen.request for specimen in specimens}.values():
        ensure_open(request, Request.OpenedFor.CYCLE_RECORD)
    rules.check_ready(specimens)
    return specimens


def _put_in(load: Load, specimens: Iterable[Specimen], at: datetime) -> list[LoadPiece]:
    return [
        LoadPiece.objects.create(
            load=load, specimen=advance(specimen=row, to=Stage.IN_LOAD, at=at), ordinal=row.next_cycle
        )
        for row in specimens
    ]


@transaction.atomic
def take_out(
    *,
    load_id: int,
    specimen_id: int,
    reason: str,
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> LoadPiece:
    """One piece leaves its load: dry before the wash, or wetted after it, which counts no cycle."""
    load, pieces = hold_load(load_id)
    payload = ["take_out", load_id, specimen_id, reason, late_reason]
    mine = [piece for piece in pieces if piece.specimen_id == specimen_id]
    piece = max(mine, key=lambda piece: piece.pk, default=None)  # the newest: one may have left and come back
    if piece is None:
        raise Refusal("This piece is not in the load.", code="not_in_load")
    if trail.repeated(key=key, payload=payload, by=by):
        return piece
    if not in_hand([piece]):
        raise Refusal(f"{rules.named(piece.specimen)} has left this load.", code="piece_shut")
    if load.state == Load.State.WASHING:
        raise Refusal("The machine runs. End the wash first, or break it off.", code="load_washing")
    check_state(load, Load.State.MADE_UP, Load.State.WASHED)
    reason = words(reason, what="The reason", field="reason", most=rules.WHY_LENGTH, needed=True)
    if load.state == Load.State.MADE_UP and sum(other.open for other in pieces) == 1:
        raise Refusal("It is the only piece. Take the load apart instead.", code="only_piece")
    if piece.drying_id and piece.drying.state == Drying.State.RUNNING:
        raise Refusal("The piece is being dried. End that drying first.", code="drying_runs")
    clock.check_moment(at, after=load.wash_ended_at or load.made_up_at, what="Taking the piece out")
    wetted = load.state == Load.State.WASHED
    _let_go(piece, Outcome.VOID if wetted else Outcome.OUT, reason, at)
    if wetted:
        _disclose_void([piece], load, "taken out", reason, by, at)
    disclose(pieces=[piece], what=f"Taking out of load {load.pk}", reason=late_reason, by=by, at=at)
    facts = {"load": load.pk, "reason": reason, "wetted": wetted}
    write_down(pieces=[piece], kind="load.piece_out", facts=facts, by=by, at=at, key=key, payload=payload)
    return piece


@transaction.atomic
def start_wash(
    *,
    load_id: int,
    shown: Iterable[int] | None = None,
    deviation: str = "",
    reasons: Mapping[str, str] | None = None,
    at_risk: bool = False,
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
    **typed: Unpack[WashTyped],
) -> Load:
    """The cloth goes into the water. Total, water and detergent are as the procedure asks, or a deviation says why not.

    Water that is not warm enough is found out before the cloth is in: a refusal here is no cycle. `shown`: the pieces
    that the page showed in the load, for it was they that were weighed.
    """
    otherwise = Otherwise(deviation, reasons or {}, at_risk, late_reason)
    payload = ["start_wash", load_id, typed, *otherwise.payload]
    load, pieces = hold_load(load_id, shown=shown)
    if trail.repeated(key=key, payload=payload, by=by):
        return load
    check_state(load, Load.State.MADE_UP)
    pieces = in_hand(pieces)
    latest = max([load.made_up_at, *(piece.specimen.stage_since for piece in pieces)])
    clock.check_moment(at, after=latest, what="The start of the wash")
    wash = read_wash(**typed)
    instruments = instruments_of(wash, at, free=True)
    problems = instruments.problems + wash.problems(load.procedure)
    told = of_run(f"Load {load.pk}", otherwise.answered(problems, kind="wash", by=by))
    for name, value in wash.columns().items():
        setattr(load, name, value)
    load.state, load.wash_started_at, load.wash_by = Load.State.WASHING, at, by
    load.verification, load.water_hardness = instruments.verification, the_lab().water_hardness
    more = ["state", "wash_started_at", "wash_by", "verification", "water_hardness"]
    load.save(update_fields=[*wash.columns(), *more])
    write_deviations(pieces=pieces, load_number=load.pk, told=told, at_risk=otherwise.risk(by), by=by, at=at)
    disclose(pieces=pieces, what=f"Start of wash, load {load.pk}", reason=late_reason, by=by, at=at)
    facts = {"load": load.pk, "water_hardness": load.water_hardness, **instruments.facts(), **wash.facts()}
    write_down(pieces=pieces, kind="load.wash_started", facts=facts, by=by, at=at, key=key, payload=payload)
    return load


@transaction.atomic
def end_wash(
    *,
    load_id: int,
    rinse_temp_c: Typed = None,
    spun: bool | None = None,
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Load:
    """The machine has stopped; the pieces wait for their drying. `spun` None: the last spin was as the drying asks."""
    load, pieces = hold_load(load_id)
    payload = ["end_wash", load_id, rinse_temp_c, spun, late_reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return load
    check_state(load, Load.State.WASHING)
    pieces = in_hand(pieces)
    clock.check_moment(at, after=load.wash_started_at, what="The end of the wash")
    asked = not pieces[0].specimen.request.drying.without_spin
    load.rinse_temp_c = read_rinse(rinse_temp_c)
    load.spun = asked if spun is None else spun
    load.state, load.wash_ended_at = Load.State.WASHED, at
    load.save(update_fields=["state", "wash_ended_at", "rinse_temp_c", "spun"])
    if load.spun != asked:
        fact = "The last spin was done, though the pieces drip dry." if load.spun else "The last spin was left out."
        told = [("wash", f"Load {load.pk}: {fact}")]
        write_deviations(pieces=pieces, load_number=load.pk, told=told, at_risk=False, by=by, at=at)
    disclose(pieces=pieces, what=f"End of wash, load {load.pk}", reason=late_reason, by=by, at=at)
    facts = {"load": load.pk, "rinse_temp_c": load.rinse_temp_c, "spun": load.spun}
    write_down(pieces=pieces, kind="load.washed", facts=facts, by=by, at=at, key=key, payload=payload)
    return load


@transaction.atomic
def void_load(
    *, load_id: int, reason: str, late_reason: str = "", by: User, at: datetime, key: uuid.UUID | None = None
) -> Load:
    """A load that does not count: broken off in the water, or taken apart while still dry.

    Cloth that was in the water was wetted: the run stays in the book as void and counts no cycle.
    """
    load, pieces = hold_load(load_id)
    payload = ["void_load", load_id, reason, late_reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return load
    if any(piece.outcome == Outcome.TICKED for piece in pieces):
        raise Refusal(
            "A cycle of this load is ticked off, so the load stands. Take out the pieces it does not count for.",
            code="cycle_ticked",
        )
    check_state(load, Load.State.MADE_UP, Load.State.WASHING, Load.State.WASHED)
    pieces = in_hand(pieces)
    if not pieces:
        raise Refusal("All pieces of this load have left it.", code="no_pieces")
    reason = words(reason, what="The reason", field="reason", most=rules.WHY_LENGTH, needed=True)
    if any(piece.drying_id and piece.drying.state == Drying.State.RUNNING for piece in pieces):
        raise Refusal("Pieces of this load are being dried. End that drying first.", code="drying_runs")
    last = load.wash_ended_at or load.wash_started_at or load.made_up_at
    ended = clock.broken_off(at, after=last, what="Breaking off")
    wetted = load.state != Load.State.MADE_UP
    load.void_reason = reason if wetted else f"taken apart: {reason}"
    changed = ["state", "void_reason"]
    if load.state == Load.State.WASHING:
        load.wash_ended_at = ended
        changed.append("wash_ended_at")
    load.state = Load.State.VOID
    load.save(update_fields=changed)
    for piece in pieces:
        _let_go(piece, Outcome.VOID if wetted else Outcome.OUT, reason, at)
    if wetted:
        _disclose_void(pieces, load, "the wash was broken off", reason, by, at)
    disclose(pieces=pieces, what=f"Breaking off load {load.pk}", reason=late_reason, by=by, at=at)
    facts = {"load": load.pk, "reason": load.void_reason, "wetted": wetted}
    write_down(pieces=pieces, kind="load.void", facts=facts, by=by, at=at, key=key, payload=payload)
    return load


def _let_go(piece: LoadPiece, outcome: str, reason: str, at: datetime) -> None:
    piece.open, piece.outcome, piece.reason = False, outcome, reason
    piece.save(update_fields=["open", "outcome", "reason"])
    advance(specimen=piece.specimen, to=Stage.READY, at=at, wetted=outcome == Outcome.VOID)


def _disclose_void(pieces: list[LoadPiece], load: Load, what: str, reason: str, by: User, at: datetime) -> None:
    for request in requests_of(pieces):
        own = [piece for piece in pieces if piece.specimen.request_id == request.pk]
        codes = ", ".join(piece.specimen.short_code for piece in own)
        text = f"Load {load.pk}: {what}; {codes} wetted, no cycle counted. Reason: {reason}"
        write_deviations(pieces=own, load_number=load.pk, told=[("void_cycle", text)], at_risk=False, by=by, at=at)
