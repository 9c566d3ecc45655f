"""What pages and the other rooms ask about loads, dryings and cycles."""

from apps.laundering.queries.codes import load_code, load_numbers
from apps.laundering.queries.kept import kept_of, kept_taps, pieces_meant, to_be_judged
from apps.laundering.queries.loads import LoadWhole, PieceRow, estimated_mass_g, last_of_procedure, weighed_before
from apps.laundering.queries.logbook import logbook
from apps.laundering.queries.queue import (
    GroupKey,
    drum_of,
    groups,
    in_hand,
    laundry_queue,
    of_group,
    waiting,
    with_first_pieces,
)
from apps.laundering.queries.record import CycleRecord, conditions_of, cycle_record
from apps.laundering.queries.timing import Pace, Timer

__all__ = [
    "CycleRecord",
    "GroupKey",
    "LoadWhole",
    "Pace",
    "PieceRow",
    "Timer",
    "conditions_of",
    "cycle_record",
    "drum_of",
    "estimated_mass_g",
    "groups",
    "in_hand",
    "kept_of",
    "kept_taps",
    "last_of_procedure",
    "laundry_queue",
    "load_code",
    "load_numbers",
    "logbook",
    "of_group",
    "pieces_meant",
    "to_be_judged",
    "waiting",
    "weighed_before",
    "with_first_pieces",
]
