"""What pages and the other rooms ask about loads, dryings and cycles."""

from apps.laundering.queries.called import piece_called
from apps.laundering.queries.codes import load_code, load_numbers
from apps.laundering.queries.held import Held, concerning, held
from apps.laundering.queries.kept import kept_of, kept_taps, pieces_meant, to_be_judged
from apps.laundering.queries.loads import LoadWhole, PieceRow, last_of_procedure, weighed_before
from apps.laundering.queries.logbook import logbook
from apps.laundering.queries.machines import dryers, for_a_wash, is_barred, standing_of, washers
from apps.laundering.queries.proposals import Proposal, expected_mass_g
from apps.laundering.queries.queue import (
    Group,
    GroupKey,
    chosen_elsewhere,
    drum_of,
    groups,
    in_hand,
    of_group,
    waiting,
    with_proposals,
)
from apps.laundering.queries.record import (
    CycleRecord,
    conditions_of,
    cycle_record,
    dried_of,
    judgement_of,
    void_loads,
    void_to_judge,
)
from apps.laundering.queries.timing import Pace, Timer

__all__ = [
    "CycleRecord",
    "Group",
    "GroupKey",
    "Held",
    "LoadWhole",
    "Pace",
    "PieceRow",
    "Proposal",
    "Timer",
    "chosen_elsewhere",
    "concerning",
    "conditions_of",
    "cycle_record",
    "dried_of",
    "drum_of",
    "dryers",
    "expected_mass_g",
    "for_a_wash",
    "groups",
    "held",
    "in_hand",
    "is_barred",
    "judgement_of",
    "kept_of",
    "kept_taps",
    "last_of_procedure",
    "load_code",
    "load_numbers",
    "logbook",
    "of_group",
    "piece_called",
    "pieces_meant",
    "standing_of",
    "to_be_judged",
    "void_loads",
    "void_to_judge",
    "waiting",
    "washers",
    "weighed_before",
    "with_proposals",
]
