"""What is typed into a cell of a sheet, made a distance: the text that is kept, its unit, and exact millimetres."""

import re
from dataclasses import dataclass
from decimal import Decimal

from apps.calc.errors import LengthError
from apps.calc.exact import own_context
from apps.calc.lengths import format_length, in_parts, parse_length, parse_percent
from apps.core.errors import Refusal
from apps.measuring.models import BenchmarkPair, Reading

Unit = Reading.Unit
# Sheets read in parts of an inch, where "9 5" is 9 5/8 or 9 5/16.
PARTS = {"in8": 8, "in16": 16}
SHEET_UNITS = (*Unit.values, *PARTS)
KEPT_TO = Decimal("0.000001")
SHORTEST, LONGEST = Decimal(1), Decimal(100_000)
# A digital tape types its unit behind the figure.
WITH_UNIT = re.compile(r"(.*[0-9])\s*(mm|cm|in)", re.IGNORECASE)


@dataclass(frozen=True)
class Typed:
    text: str
    unit: str
    mm: Decimal


def kept_unit(unit: str) -> str:
    """The unit of a sheet as readings keep it: parts of an inch are inches."""
    if unit not in SHEET_UNITS:
        raise Refusal("The unit is mm, cm, in or percent.", code="unit", field="unit")
    return Unit.INCH if unit in PARTS else unit


def read_cell(
    text: str, unit: str, pair: BenchmarkPair, stage: int, original: Reading | None, field: str | None = None
) -> Typed:
    """The cell of a pair at a stage. `unit`: of the sheet. Whatever cannot stand is refused in words."""
    try:
        if kept_unit(unit) == Unit.PERCENT:
            return _percent(text, pair, stage, original)
        if original is not None and original.in_percent:
            raise Refusal("This pair carries the marks of a percent template. Read it in percent.", code="mixed")
        return _length(_without_unit(text, kept_unit(unit)), unit)
    except LengthError as fault:
        raise Refusal(fault.sentence, code=fault.code, field=field) from fault
    except Refusal as refusal:
        refusal.field = refusal.field or field
        raise


def _without_unit(text: str, unit: str) -> str:
    match = WITH_UNIT.fullmatch(text)
    if match is None:
        return text
    if match[2].lower() != unit:
        raise Refusal(f"This was read in {match[2].lower()}, and the sheet is in {unit}.", code="unit")
    return match[1]


def _length(text: str, unit: str) -> Typed:
    kept = kept_unit(unit)
    written = in_parts(text, PARTS[unit]) if unit in PARTS else text
    mm = parse_length(written, kept)
    if not SHORTEST <= mm <= LONGEST:
        raise Refusal("A distance lies between 1 mm and 100 m. Check the unit.", code="out_of_range")
    if mm != mm.quantize(KEPT_TO):
        raise Refusal("That has more decimals than a rule can show.", code="too_fine")
    return Typed(written, kept, mm)


@own_context
def _percent(text: str, pair: BenchmarkPair, stage: int, original: Reading | None) -> Typed:
    """A reading p of a shrinkage scale stands for the marked distance times (100 + p) / 100."""
    if pair.nominal_mm is None:
        raise Refusal("A measuring point of a garment has no template. Read it as a length.", code="mixed")
    if stage == 0:
        if parse_percent(text) != 0:
            raise Refusal("Before washing the template's own marks are the original: type 0.", code="template")
        return Typed(text, Unit.PERCENT, pair.nominal_mm)
    if original is not None and not original.in_percent:
        was = f"{format_length(original.mm, 'mm')} mm before washing"
        raise Refusal(f"This pair was read as a length ({was}). Read it as a length again.", code="mixed")
    mm = pair.nominal_mm * (100 + parse_percent(text, signed=True)) / 100
    if mm < SHORTEST or mm != mm.quantize(KEPT_TO):
        raise Refusal("That is no reading of a shrinkage scale.", code="out_of_range")
    return Typed(text, Unit.PERCENT, mm)
