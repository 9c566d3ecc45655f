"""What may happen in the laundry: loads, dryings, cycles and their corrections. Other rooms import from here."""

from apps.laundering.services.conditions import WashRecord
from apps.laundering.services.corrections import correct_drying, correct_load
from apps.laundering.services.cycles import CycleOutOfOrder, tick_cycle, tick_cycles
from apps.laundering.services.drying_records import DryingRecord
from apps.laundering.services.dryings import end_drying, start_drying, void_drying
from apps.laundering.services.kept import Tap, judge_kept, keep_tap
from apps.laundering.services.loads import add_piece, end_wash, make_up_load, start_wash, take_out, void_load
from apps.laundering.services.rules import NotAsAsked, Problem, ballast_advice, ballast_kinds, water_problems
from apps.laundering.services.voids import judge_void

__all__ = [
    "CycleOutOfOrder",
    "DryingRecord",
    "NotAsAsked",
    "Problem",
    "Tap",
    "WashRecord",
    "add_piece",
    "ballast_advice",
    "ballast_kinds",
    "correct_drying",
    "correct_load",
    "end_drying",
    "end_wash",
    "judge_kept",
    "judge_void",
    "keep_tap",
    "make_up_load",
    "start_drying",
    "start_wash",
    "take_out",
    "tick_cycle",
    "tick_cycles",
    "void_drying",
    "void_load",
    "water_problems",
]
