"""A day of the log book as a table for a spreadsheet: one row for each piece of each run."""

import csv
from collections.abc import Iterator
from io import StringIO
from typing import Any

from apps.core.tables import as_text
from apps.laundering.queries.logbook import Day, Dry, Wash

COLUMNS = (
    *("run", "state", "machine", "specimen", "cycle", "procedure", "instruction", "began", "ended", "operator"),
    *("specimens_g", "ballast_g", "total_g", "ballast_pieces", "ballast", "balance"),
    *("water_c", "measured_by", "thermometer", "water_level", "water_hardness", "rinse_c", "last_spin"),
    *("detergent_g", "detergent", "lot", "exhaust_c", "lint_filter", "cool_down", "dryness", "longer_minutes"),
    *("remark", "void_because", "piece_left_because", "corrected_because", "deviations"),
)
YES = {True: "yes", False: "no", None: ""}


def logbook_csv(day: Day) -> str:
    """UTF-8 text with CRLF line ends (RFC 4180); moments in the lab's time, texts never formulas."""
    out = StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, restval="")
    writer.writeheader()
    for machine in day.machines:
        for run in (*machine.washes, *machine.dries):
            for row in _wash(run, machine.name) if isinstance(run, Wash) else _dry(run, machine.name):
                writer.writerow({name: as_text(value) for name, value in row.items()})
    return out.getvalue()


def _wash(wash: Wash, machine: str) -> Iterator[dict[str, Any]]:
    load, run = wash.load, wash.conditions
    whole = {
        "run": f"load {load.pk}",
        "state": load.get_state_display(),
        "machine": machine,
        "procedure": str(load.procedure),
        "instruction": f"{load.procedure.title}; set to {run.programme}" if run.programme else load.procedure.title,
        "began": run.wash_started_at,
        "ended": run.wash_ended_at,
        "operator": str(load.wash_by),
        "specimens_g": run.specimen_mass_g,
        "ballast_g": run.ballast_mass_g,
        "total_g": run.total_mass_g,
        "ballast_pieces": run.ballast_pieces,
        "ballast": run.ballast,
        "balance": run.balance and run.balance.name,
        "water_c": run.water_temp_c,
        "measured_by": run.get_temp_source_display(),
        "thermometer": run.thermometer and run.thermometer.name,
        "water_level": run.water_level,
        "water_hardness": run.water_hardness,
        "rinse_c": run.rinse_temp_c,
        "last_spin": YES[run.spun],
        "detergent_g": run.detergent_g,
        "detergent": run.detergent,
        "lot": run.detergent_lot,
        "void_because": load.void_reason,
        "corrected_because": run.reason if wash.corrected else "",
        "deviations": " | ".join(wash.deviations),
    }
    for piece in wash.pieces:
        own = {"specimen": piece.specimen.code, "cycle": piece.ordinal, "piece_left_because": piece.reason}
        yield whole | own


def _dry(dry: Dry, machine: str) -> Iterator[dict[str, Any]]:
    drying, run = dry.drying, dry.conditions
    whole = {
        "run": f"drying {drying.pk}",
        "state": drying.get_state_display(),
        "machine": machine or "in the air",
        "procedure": str(drying.procedure),
        "instruction": drying.procedure.instruction,
        "began": run.started_at,
        "ended": run.ended_at,
        "operator": str(drying.by),
        "exhaust_c": run.exhaust_c,
        "lint_filter": YES[run.lint_filter_cleaned] if dry.tumbled else "",
        "cool_down": YES[run.cooled_down],
        "dryness": run.get_dryness_display(),
        "longer_minutes": run.longer_minutes,
        "remark": run.remark,
        "void_because": drying.void_reason,
        "corrected_because": run.reason if dry.corrected else "",
    }
    for piece in dry.pieces:
        yield whole | {"specimen": piece.specimen.code, "cycle": piece.ordinal}
