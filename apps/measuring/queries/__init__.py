"""What the bench sees, and the results that reports rely on. Other rooms import from here."""

from apps.measuring.queries.bench import BenchRow, Due, bench_list, bench_rows
from apps.measuring.queries.cutting import Cutting, Garment, all_values, conditioning, cutting, garment
from apps.measuring.queries.due import due_stages, loads_of, not_due, stage_words
from apps.measuring.queries.figures import results_of
from apps.measuring.queries.sheet import Sheet, sheet, stage_to_open
from apps.measuring.told import fewer_pairs

__all__ = [
    "BenchRow",
    "Cutting",
    "Due",
    "Garment",
    "Sheet",
    "all_values",
    "bench_list",
    "bench_rows",
    "conditioning",
    "cutting",
    "due_stages",
    "fewer_pairs",
    "garment",
    "loads_of",
    "not_due",
    "results_of",
    "sheet",
    "stage_to_open",
    "stage_words",
]
