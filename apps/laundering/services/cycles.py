"""Cycles ticked off: the act that makes a wash and a drying count."""

import uuid
from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Request, Specimen
from apps.intake.services import advance
from apps.laundering.models import CycleLog, Drying, Load, LoadPiece
from apps.laundering.services.acts import WITH_JOB, disclose, hold_loads, write_down
from apps.laundering.services.rules import named
from apps.trail import services as trail

Stage = Specimen.Stage


class CycleOutOfOrder(Refusal):
    """Nobody skips a cycle and nobody repeats one."""

    code = "cycle_out_of_order"


@transaction.atomic
def tick_cycle(
    *, specimen_id: int, ordinal: int, late_reason: str = "", by: User, at: datetime, key: uuid.UUID | None = None
) -> CycleLog:
    """Wash cycle `ordinal` of a specimen is finished: washed and dried.

    `ordinal` is the cycle that the screen showed, so a double tap, or two people at once, is answered with the row
    that is there.
    """
    (cycle,) = tick_cycles(shown={specimen_id: ordinal}, late_reason=late_reason, by=by, at=at, key=key)
    return cycle


@transaction.atomic
def tick_cycles(
    *, shown: Mapping[int, int], late_reason: str = "", by: User, at: datetime, key: uuid.UUID | None = None
) -> list[CycleLog]:
    """Tick off several pieces in one go, all or none. `shown`: specimen -> the cycle that the screen showed."""
    payload = ["tick_cycles", sorted([specimen, ordinal] for specimen, ordinal in shown.items()), late_reason]
    lock_requests(Specimen.objects.filter(pk__in=shown).values_list("request_id", flat=True))
    related = [path.removeprefix("specimen__") for path in WITH_JOB]
    specimens = list(Specimen.objects.filter(pk__in=shown).select_related(*related).order_by("pk"))
    if not shown or len(specimens) != len(shown):
        raise Refusal("Choose the pieces that are done.", code="no_pieces")
    if trail.repeated(key=key, payload=payload, by=by):
        return [_logged(specimen, shown[specimen.pk]) for specimen in specimens]
    for request in {specimen.request_id: specimen.request for specimen in specimens}.values():
        ensure_open(request, Request.OpenedFor.CYCLE_RECORD)
    open_pieces = LoadPiece.objects.filter(specimen__in=shown, open=True)
    hold_loads(open_pieces.values_list("load_id", flat=True))
    pieces = {
        piece.specimen_id: piece
        for piece in open_pieces.select_related(*WITH_JOB, "load", "drying").order_by("specimen_id")
    }
    cycles, ticked = [], []
    for specimen in specimens:
        ordinal = shown[specimen.pk]
        cycle = _logged(specimen, ordinal)
        if cycle is None:
            piece = _finished_piece(specimen, ordinal, pieces.get(specimen.pk))
            cycle = _tick(piece, specimen, by, at)
            ticked.append(piece)
        cycles.append(cycle)
    if ticked:
        disclose(pieces=ticked, what=f"Tick of {_loads(ticked)}", reason=late_reason, by=by, at=at)
        facts = {"loads": sorted({piece.load_id for piece in ticked})}
        write_down(pieces=ticked, kind="cycle.ticked", facts=facts, by=by, at=at, key=key, payload=payload)
    return cycles


def _logged(specimen: Specimen, ordinal: int) -> CycleLog | None:
    return CycleLog.objects.filter(specimen=specimen, ordinal=ordinal, voided_at__isnull=True).first()


def _finished_piece(specimen: Specimen, ordinal: int, piece: LoadPiece | None) -> LoadPiece:
    """The piece that this tick is about; refused when another cycle is next, or the cloth is still wet."""
    cycles = specimen.request.cycles
    if ordinal != specimen.next_cycle or ordinal > cycles:
        if specimen.next_cycle > cycles:
            raise CycleOutOfOrder(f"All {cycles} cycles of {named(specimen)} are done.")
        raise CycleOutOfOrder(f"Cycle {specimen.next_cycle} of {cycles} is next.")
    if piece is None:
        raise Refusal(f"{named(specimen)} is in no load.", code="not_in_load")
    if piece.load.state != Load.State.WASHED:
        raise Refusal(f"{named(specimen)} is not washed yet.", code="not_washed")
    if piece.drying is None or piece.drying.state != Drying.State.DRIED:
        raise Refusal(f"{named(specimen)} is not dried yet.", code="not_dried")
    return piece


def _tick(piece: LoadPiece, specimen: Specimen, by: User, at: datetime) -> CycleLog:
    clock.check_moment(at, after=piece.drying.ended_at, what="The tick")
    cycle = CycleLog.objects.create(
        specimen=specimen, ordinal=piece.ordinal, piece=piece, done_at=at, done_by=by, recorded_at=clock.now()
    )
    piece.open, piece.outcome = False, LoadPiece.Outcome.TICKED
    piece.save(update_fields=["open", "outcome"])
    measured = piece.ordinal in specimen.request.measured_cycles or piece.ordinal == specimen.request.cycles
    advance(specimen=specimen, to=Stage.OWED if measured else Stage.READY, at=at, cycle_done=True, wetted=True)
    return cycle


def _loads(pieces: list[LoadPiece]) -> str:
    numbers = sorted({piece.load_id for piece in pieces})
    return ("load " if len(numbers) == 1 else "loads ") + ", ".join(str(number) for number in numbers)
