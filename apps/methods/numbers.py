"""The numbers that rules reckon with, as people write them: read from a figure's text, told as one, kept in bounds.

The first number of a figure's text is the column's, so that what people read and what the rules take are one.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from apps.core.errors import Refusal
from apps.methods.catalogue.entries import MOST_HALF
from apps.methods.models import Averaging, CatalogueRow


@dataclass(frozen=True)
class Column:
    """A number: what it is, its unit, bounds and decimals; the column of its tolerance, and whether that is due."""

    what: str
    unit: str
    low: Decimal
    high: Decimal
    places: int
    tolerance: str = ""
    needs_tolerance: bool = False


def _column(what: str, unit: str, low: str, high: str, places: int = 1, tolerance: str = "", **more: bool) -> Column:
    return Column(what, unit, Decimal(low), Decimal(high), places, tolerance, **more)


COLUMNS = {
    "specimens": _column("Specimens", "", "1", "20", 0),
    "pairs_per_direction": _column("Pairs in each direction", "", "1", "20", 0),
    "specimen_side_mm": _column("Side of a specimen", "mm", "50", "5000"),
    "benchmark_mm": _column("Distance of the marks", "mm", "10", "5000"),
    "rounding_step": _column("Reported to the nearest", "%", "0.01", "5", 2),
    "reading_resolution_mm": _column("Smallest reading", "mm", "0.001", "25", 3),
    "wash_temp_c": _column("Wash temperature", "°C", "1", "99", 1, "wash_temp_tolerance_c", needs_tolerance=True),
    "wash_temp_tolerance_c": _column("Tolerance of the temperature", "°C", "0", "20"),
    "load_mass_g": _column("Load", "g", "100", "50000"),
    "load_tolerance_g": _column("Tolerance of the load", "g", "0", "5000"),
    "ballast_piece_g": _column("A piece of ballast", "g", "1", "5000"),
    "detergent_g": _column("Detergent dose", "g", "0.1", "5000", 1, "detergent_tolerance_g", needs_tolerance=True),
    "detergent_tolerance_g": _column("Tolerance of the detergent", "g", "0", "500"),
    "exhaust_max_c": _column("Exhaust", "°C", "20", "200", 1, "exhaust_tolerance_c"),
    "exhaust_tolerance_c": _column("Tolerance of the exhaust", "°C", "0", "30"),
}
TEXTS = {"programme": "Programme", "ballast": "Ballast", "detergent": "Detergent"}
CHOICES: dict[str, dict[str, Any]] = {
    "averaging": {choice.label: choice.value for choice in Averaging},
    "specimens_at_most_half": {MOST_HALF: True, "as much of it as the load takes": False},
}
EXAMPLES = {"": "3", "°C": "40 ± 3 °C", "g": "66 ± 1 g", "mm": "250 mm", "%": "0.5 %"}
UNITS = {"": r"(?![\w.,])", "°C": r"\s*°\s*C\b", "g": r"\s*g(?![\w/])", "mm": r"\s*mm\b", "%": r"\s*%"}
NUMBER = r"[0-9]{1,7}(?:\.[0-9]{1,6})?"


def read(field: str, text: str) -> dict[str, Any]:
    """The columns that a figure's text speaks of: {"wash_temp_c": 40, "wash_temp_tolerance_c": 3} of "40 ± 3 °C"."""
    if field in TEXTS:
        most = 60 if field == "programme" else 120
        if len(text) > most:
            raise Refusal(f"{TEXTS[field]}: {most} characters at most.", code="too_long", field="value")
        return {field: text}
    if field in CHOICES:
        if text not in CHOICES[field]:
            raise Refusal("Choose one of the list.", code="not_in_list", field="value")
        return {field: CHOICES[field][text]}
    if field not in COLUMNS:
        raise Refusal(as_it_stands(field), code="as_it_stands", field="value")
    column = COLUMNS[field]
    found = re.search(r"\d", text)
    shape = rf"({NUMBER})(?:\s*±\s*({NUMBER}))?{UNITS[column.unit]}"
    below_zero = found and text[: found.start()].rstrip().endswith(("-", "\N{MINUS SIGN}", "\N{EN DASH}"))
    numbers = None if below_zero or not found else re.compile(shape).match(text, found.start())
    if not numbers:
        raise Refusal(
            f"{column.what}: the rules reckon with the first number. Write it like {EXAMPLES[column.unit]}.",
            code="not_a_number",
            field="value",
        )
    value, tolerance = (part and Decimal(part) for part in numbers.groups())
    values = {field: in_bounds(field, value, "value")}
    if column.tolerance:
        if column.needs_tolerance and tolerance is None:
            raise Refusal(
                f"{column.what}: write its tolerance too, like {EXAMPLES[column.unit]}.",
                code="tolerance",
                field="value",
            )
        values[column.tolerance] = None if tolerance is None else in_bounds(column.tolerance, tolerance, "value")
    return values


def as_it_stands(field: str) -> str:
    """Why a figure that is more than a number is confirmed as it is, or not at all."""
    if field in ("formula", "marks"):
        return "The house reckons by this. It can be confirmed as it stands; another formula is another measurement."
    return "It can be confirmed as it stands. It is set anew in a copy of the lab's own."


def in_bounds(name: str, value: Decimal | int, field: str) -> Decimal | int:
    """The number as the column holds it; refused beside `field` when it cannot be meant."""
    column = COLUMNS[name]
    if not Decimal(value).is_finite() or not column.low <= value <= column.high:
        unit = f" {column.unit}" if column.unit else ""
        raise Refusal(f"{column.what}: from {column.low} to {column.high}{unit}.", code="out_of_range", field=field)
    number = Decimal(value)
    if number != round(number, column.places):
        decimals = f"{column.places} decimal{'' if column.places == 1 else 's'} at most"
        raise Refusal(
            f"{column.what}: {decimals if column.places else 'a whole number'}.", code="decimals", field=field
        )
    return int(number) if column.places == 0 else number


def told(field: str, columns: Mapping[str, Any]) -> str:
    """A figure's text made from the columns: "40 ± 3 °C"; nothing for nothing."""
    value = columns[field]
    if field in CHOICES:
        return next((text for text, choice in CHOICES[field].items() if choice == value), "")
    if field not in COLUMNS or value is None:
        return "" if value is None else str(value)
    column = COLUMNS[field]
    tolerance = columns.get(column.tolerance) if column.tolerance else None
    parts = ["±" if field == "load_tolerance_g" else "", plain(value)]
    parts += ["±", plain(tolerance)] if tolerance is not None else []
    return " ".join(part for part in (*parts, column.unit) if part)


def plain(number: Decimal | int | None) -> str:
    """A number as it is spoken: 66, 40.5; nothing for nothing."""
    if number is None:
        return ""
    text = format(Decimal(number), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def check_row(row: CatalogueRow) -> None:
    """What two numbers of one row say of each other."""
    side, marks = getattr(row, "specimen_side_mm", None), getattr(row, "benchmark_mm", None)
    if side and marks and marks >= side:
        raise Refusal(
            f"Marks {plain(marks)} mm apart do not fit on a specimen of {plain(side)} mm.",
            code="marks_do_not_fit",
            field="benchmark_mm",
        )
