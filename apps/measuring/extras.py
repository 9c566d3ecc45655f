"""Skew and twist: two distances made a figure. Rows in, figures out: no query, no clock."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from apps.calc.exact import own_context, settle
from apps.calc.rounding import MINUS, Tie, format_change, round_to
from apps.calc.skew import from_diagonals, garment_twist
from apps.intake.models import Specimen
from apps.measuring.models import ExtraReading
from apps.methods.models import ExtraMeasurement

Formula = ExtraMeasurement.Formula
STEP = Decimal("0.1")  # what the methods say of their rounding is not known: the lab's own

# Which two distances are read, and on which sides.
READ = {Formula.SKEW_DIAGONALS: ("AC", "BD"), Formula.TWIST: ("AA′", "AB")}
SIDES = {Formula.SKEW_DIAGONALS: ("",), Formula.TWIST: ("left", "right")}
RECKONED = {Formula.SKEW_DIAGONALS: from_diagonals, Formula.TWIST: garment_twist}


@dataclass(frozen=True)
class ExtraFigure:
    """One figure of one specimen with how it came about; `change` from before washing where that was read too."""

    reading: ExtraReading
    specimen: Specimen
    value: Decimal
    shown: Decimal
    change: Decimal | None
    derivation: str


@dataclass(frozen=True)
class ExtraMean:
    extra: ExtraMeasurement
    stage: int
    place: str
    shown: Decimal
    specimens: int


def figure_of(reading: ExtraReading) -> Decimal:
    return RECKONED[Formula(reading.extra.formula)](reading.first_mm, reading.second_mm)


def figures_of(readings: Iterable[ExtraReading], tie: Tie) -> list[ExtraFigure]:
    """The figures of the readings in force, each specimen and side with its change from before washing."""
    rows = [reading for reading in readings if reading.voided_at is None]
    values = {_key(row, row.stage): figure_of(row) for row in rows}
    return [_figure(row, values, tie) for row in rows]


def means_of(figures: Iterable[ExtraFigure], tie: Tie) -> list[ExtraMean]:
    """The mean over the specimens for each measurement, stage and side; sides are never averaged."""
    groups: dict[tuple, list[ExtraFigure]] = {}
    for figure in figures:
        row = figure.reading
        groups.setdefault((row.extra, row.stage, row.place), []).append(figure)
    return [
        ExtraMean(extra, stage, place, round_to(_mean([each.value for each in found]), STEP, tie), len(found))
        for (extra, stage, place), found in groups.items()
    ]


@own_context
def _mean(values: list[Decimal]) -> Decimal:
    return settle(sum(values, Decimal(0)) / len(values))


def _key(row: ExtraReading, stage: int) -> tuple:
    return row.specimen_id, row.extra_id, row.place, stage


def _figure(row: ExtraReading, values: dict[tuple, Decimal], tie: Tie) -> ExtraFigure:
    value, before = values[_key(row, row.stage)], values.get(_key(row, 0)) if row.stage else None
    shown = round_to(value, STEP, tie)
    change = None if before is None else round_to(_minus(value, before), STEP, tie)
    return ExtraFigure(row, row.specimen, value, shown, change, _told(row, shown))


@own_context
def _minus(value: Decimal, before: Decimal) -> Decimal:
    return settle(value - before)


def _told(row: ExtraReading, shown: Decimal) -> str:
    one, two = (f"{mm.normalize():f}".replace("-", MINUS) for mm in (row.first_mm, row.second_mm))
    if row.extra.formula == Formula.TWIST:
        return f"100 × {one} / {two} = {format_change(shown)} %"
    return f"100 × 2 ({one} {MINUS} {two}) / ({one} + {two}) = {format_change(shown)} %"
