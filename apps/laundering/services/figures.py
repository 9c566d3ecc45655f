"""Figures as hands type them, read exactly or refused with a sentence."""

import re
from decimal import Decimal

from apps.core.errors import Refusal
from apps.core.texts import line

Typed = str | int | Decimal | None

FIGURE = re.compile(r"[0-9]{1,9}(?:[.,][0-9]{1,6})?", re.ASCII)
WHOLE = re.compile(r"[0-9]{1,4}", re.ASCII)


def figure(value: Typed, *, what: str, field: str, unit: str, most: int, above_zero: bool = False) -> Decimal:
    """A figure with one decimal at most: "40", "40.5" and "40,5". Nothing is rounded and no sign is taken."""
    text = _text(value)
    if not text:
        raise Refusal(f"{what}: the figure is missing.", code="missing", field=field)
    if not FIGURE.fullmatch(text):
        raise Refusal(f"{what}: type a figure in {unit}, such as 40 or 40.5.", code="not_a_figure", field=field)
    number = Decimal(text.replace(",", "."))
    typed = isinstance(value, str)  # "1,800" may mean thousands; a number that was reckoned means what it says
    if len(text.replace(",", ".").partition(".")[2]) > 1 if typed else number != number.quantize(Decimal("0.1")):
        raise Refusal(
            f"{what}: one decimal at most. Leave thousands unseparated: 1800, not 1,800.", code="decimals", field=field
        )
    if number > most or (above_zero and number == 0):
        low = "above 0" if above_zero else "0"
        raise Refusal(f"{what}: a figure from {low} to {most} {unit}.", code="out_of_range", field=field)
    return number.quantize(Decimal("0.1"))


def optional_figure(value: Typed, *, what: str, field: str, unit: str, most: int) -> Decimal | None:
    return figure(value, what=what, field=field, unit=unit, most=most) if _text(value) else None


def whole(value: Typed, *, what: str, field: str, most: int) -> int:
    """A count: ASCII digits only."""
    text = _text(value)
    if not text:
        raise Refusal(f"{what}: the number is missing.", code="missing", field=field)
    if not WHOLE.fullmatch(text) or int(text) > most:
        raise Refusal(f"{what}: a whole number from 0 to {most}.", code="not_a_number", field=field)
    return int(text)


def words(value: str | None, *, what: str, field: str, most: int, needed: bool = False) -> str:
    """A line of text, which may have to be there."""
    text = line(value, most=most, field=field, what=what)
    if needed and not text:
        raise Refusal(f"{what} is missing.", code="missing", field=field)
    return text


def plain(number: Decimal | None) -> str:
    """A figure as it is spoken: 66, 40.5."""
    if number is None:
        return ""
    text = format(number, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _text(value: Typed) -> str:
    return "" if value is None else (format(value, "f") if isinstance(value, Decimal) else str(value)).strip()
