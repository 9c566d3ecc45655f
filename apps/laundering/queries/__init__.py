"""What pages and the other rooms ask about loads, dryings and cycles."""

from apps.laundering.queries.loads import LoadWhole, PieceRow, estimated_mass_g, last_of_procedure, weighed_before
from apps.laundering.queries.logbook import logbook
from apps.laundering.queries.queue import (
    GroupKey,
    groups,
    in_hand,
    laundry_queue,
    of_group,
    waiting,
    with_first_pieces,
)
from apps.laundering.queries.record import CycleRecord, conditions_of, cycle_record

__all__ = [
    "CycleRecord",
    "GroupKey",
    "LoadWhole",
    "PieceRow",
    "conditions_of",
    "cycle_record",
    "estimated_mass_g",
    "groups",
    "in_hand",
    "last_of_procedure",
    "laundry_queue",
    "logbook",
    "of_group",
    "waiting",
    "weighed_before",
    "with_first_pieces",
]
