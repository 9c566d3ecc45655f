"""Which cycle was washed in which load and dried in which run, under which conditions; and what was wetted in vain."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from apps.accounts.models import User
from apps.intake.models import Request, Specimen
from apps.laundering.models import (
    CycleLog,
    Drying,
    DryingConditions,
    DryingCorrection,
    Load,
    LoadCorrection,
    LoadPiece,
    VoidJudgement,
    WashConditions,
)

USED = ("washer", "thermometer", "balance", "verification")


@dataclass(frozen=True)
class CycleRecord:
    """One finished cycle of a specimen. `conditions`: the newest correction of its load, or the load itself; so
    `dried` of its drying."""

    specimen: Specimen
    ordinal: int
    load: Load
    conditions: WashConditions
    drying: Drying
    dried: DryingConditions
    done_at: datetime
    done_by: User


@dataclass(frozen=True)
class VoidRun:
    """A specimen that was in the water in a load and got no cycle by it, and why."""

    specimen: Specimen
    load: Load
    conditions: WashConditions
    reason: str
    judgement: VoidJudgement | None


def conditions_of(loads: Iterable[Load]) -> dict[int, WashConditions]:
    """What is now held to be true of each load, by its number: the newest correction, or the load itself."""
    held: dict[int, WashConditions] = {load.pk: load for load in loads}
    corrections = LoadCorrection.objects.filter(load__in=held).select_related(*USED, "by")
    for row in corrections.order_by("load_id", "revision"):
        held[row.load_id] = row
    return held


def dried_of(dryings: Iterable[Drying]) -> dict[int, DryingConditions]:
    """What is now held to be true of each drying, by its number: the newest correction, or the drying itself."""
    held: dict[int, DryingConditions] = {drying.pk: drying for drying in dryings}
    corrections = DryingCorrection.objects.filter(drying__in=held).select_related("dryer", "by")
    for row in corrections.order_by("drying_id", "revision"):
        held[row.drying_id] = row
    return held


def cycle_record(requests: Iterable[Request]) -> dict[int, list[CycleRecord]]:
    """The finished cycles of these requests by their key, specimen by specimen, in three queries."""
    record: dict[int, list[CycleRecord]] = {request.pk: [] for request in requests}
    cycles = list(
        CycleLog.objects.filter(specimen__request__in=record, voided_at__isnull=True)
        .select_related(
            *("specimen", "done_by", "piece__load__procedure", "piece__load__made_up_by", "piece__load__wash_by"),
            *(f"piece__load__{name}" for name in USED),
            *("piece__drying__dryer", "piece__drying__procedure", "piece__drying__by"),
        )
        .order_by("specimen__number", "ordinal")
    )
    held = conditions_of({cycle.piece.load_id: cycle.piece.load for cycle in cycles}.values())
    dried = dried_of({cycle.piece.drying_id: cycle.piece.drying for cycle in cycles}.values())
    for cycle in cycles:
        piece = cycle.piece
        record[cycle.specimen.request_id].append(
            CycleRecord(
                specimen=cycle.specimen,
                ordinal=cycle.ordinal,
                load=piece.load,
                conditions=held[piece.load_id],
                drying=piece.drying,
                dried=dried[piece.drying_id],
                done_at=cycle.done_at,
                done_by=cycle.done_by,
            )
        )
    return record


def void_runs(requests: Iterable[Request]) -> list[VoidRun]:
    """What wetted specimens of these requests and counts no cycle, in two queries."""
    pieces = list(
        LoadPiece.objects.filter(specimen__request__in=list(requests), outcome=LoadPiece.Outcome.VOID)
        .select_related("specimen", "load__procedure", "load__wash_by", "judgement__by")
        .select_related(*(f"load__{name}" for name in USED))
        .order_by("load_id", "specimen__number")
    )
    held = conditions_of({piece.load_id: piece.load for piece in pieces}.values())
    return [
        VoidRun(piece.specimen, piece.load, held[piece.load_id], piece.reason, judgement_of(piece)) for piece in pieces
    ]


def judgement_of(piece: LoadPiece) -> VoidJudgement | None:
    """What the manager said of a piece that was wetted in vain; fetched with it."""
    return getattr(piece, "judgement", None)


def _to_judge() -> QuerySet[LoadPiece]:
    """Pieces that were wetted without a cycle and of which the manager has said nothing yet; one that has left the
    test since needs no word."""
    void = LoadPiece.objects.filter(outcome=LoadPiece.Outcome.VOID, judgement__isnull=True)
    return void.exclude(specimen__stage=Specimen.Stage.SET_ASIDE)


def void_to_judge(requests: Iterable[Request]) -> list[LoadPiece]:
    """Those of these requests, in one query."""
    pieces = _to_judge().filter(specimen__request__in=list(requests)).select_related("specimen")
    return list(pieces.order_by("load_id", "specimen__number"))


def void_loads(user: User) -> list[int]:
    """The loads whose pieces the manager is still to judge, oldest first."""
    pieces = _to_judge().visible_to(user).exclude(specimen__request__lock=Request.Lock.LOCKED)
    return list(pieces.order_by("load_id").values_list("load_id", flat=True).distinct()[:20])
