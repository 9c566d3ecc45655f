"""What the bench sees, and the results that reports rely on. Other rooms import from here."""

from apps.measuring.queries.bench import BenchRow, Due, bench_list, bench_rows
from apps.measuring.queries.cutting import Cutting, Garment, all_values, conditioning, cutting, garment
from apps.measuring.queries.due import due_stages, loads_of, not_due, stage_words
from apps.measuring.queries.extras import (
    ExtraCell,
    Extras,
    extras_of,
    extras_offered,
    extras_sheet,
    may_be_read,
)
from apps.measuring.queries.faults import work_faults
from apps.measuring.queries.figures import results_of
from apps.measuring.queries.resting import (
    RackRow,
    Rested,
    due_to_rest,
    rack_rows,
    rested,
    rests,
    rule_in_force,
    stage_due,
)
from apps.measuring.queries.sheet import Sheet, rests_on, sheet, stage_to_open
from apps.measuring.rest import BASIS
from apps.measuring.told import fewer_pairs, study

__all__ = [
    "BASIS",
    "BenchRow",
    "Cutting",
    "Due",
    "ExtraCell",
    "Extras",
    "Garment",
    "RackRow",
    "Rested",
    "Sheet",
    "all_values",
    "bench_list",
    "bench_rows",
    "conditioning",
    "cutting",
    "due_stages",
    "due_to_rest",
    "extras_of",
    "extras_offered",
    "extras_sheet",
    "fewer_pairs",
    "garment",
    "loads_of",
    "may_be_read",
    "not_due",
    "rack_rows",
    "rested",
    "rests",
    "rests_on",
    "results_of",
    "rule_in_force",
    "sheet",
    "stage_due",
    "stage_to_open",
    "stage_words",
    "study",
    "work_faults",
]
