"""Which cycle was washed in which load and dried in which run, under which conditions; and what was wetted in vain."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from apps.accounts.models import User
from apps.intake.models import Request, Specimen
from apps.laundering.models import CycleLog, Drying, Load, LoadCorrection, LoadPiece, WashConditions


@dataclass(frozen=True)
class CycleRecord:
    """One finished cycle of a specimen. `conditions`: the newest correction of its load, or the load itself."""

    specimen: Specimen
    ordinal: int
    load: Load
    conditions: WashConditions
    drying: Drying
    done_at: datetime
    done_by: User


@dataclass(frozen=True)
class VoidRun:
    """A specimen that was in the water in a load and got no cycle by it, and why."""

    specimen: Specimen
    load: Load
    conditions: WashConditions
    reason: str


def conditions_of(loads: Iterable[Load]) -> dict[int, WashConditions]:
    """What is now held to be true of each load, by its number: the newest correction, or the load itself."""
    held: dict[int, WashConditions] = {load.pk: load for load in loads}
    corrections = LoadCorrection.objects.filter(load__in=held).select_related("washer", "by")
    for row in corrections.order_by("load_id", "revision"):
        held[row.load_id] = row
    return held


def cycle_record(requests: Iterable[Request]) -> dict[int, list[CycleRecord]]:
    """The finished cycles of these requests by their key, specimen by specimen, in two queries."""
    record: dict[int, list[CycleRecord]] = {request.pk: [] for request in requests}
    cycles = list(
        CycleLog.objects.filter(specimen__request__in=record, voided_at__isnull=True)
        .select_related(
            *("specimen", "done_by", "piece__load__washer", "piece__load__procedure", "piece__load__made_up_by"),
            *("piece__load__wash_by", "piece__drying__dryer", "piece__drying__procedure", "piece__drying__by"),
        )
        .order_by("specimen__number", "ordinal")
    )
    held = conditions_of({cycle.piece.load_id: cycle.piece.load for cycle in cycles}.values())
    for cycle in cycles:
        piece = cycle.piece
        record[cycle.specimen.request_id].append(
            CycleRecord(
                specimen=cycle.specimen,
                ordinal=cycle.ordinal,
                load=piece.load,
                conditions=held[piece.load_id],
                drying=piece.drying,
                done_at=cycle.done_at,
                done_by=cycle.done_by,
            )
        )
    return record


def void_runs(requests: Iterable[Request]) -> list[VoidRun]:
    """What wetted specimens of these requests and counts no cycle, in two queries."""
    pieces = list(
        LoadPiece.objects.filter(specimen__request__in=list(requests), outcome=LoadPiece.Outcome.VOID)
        .select_related("specimen", "load__washer", "load__procedure", "load__wash_by")
        .order_by("load_id", "specimen__number")
    )
    held = conditions_of({piece.load_id: piece.load for piece in pieces}.values())
    return [VoidRun(piece.specimen, piece.load, held[piece.load_id], piece.reason) for piece in pieces]
