"""Figures of the air as hands and loggers write them. Pure."""

import re
from decimal import ROUND_HALF_EVEN, Decimal

# A comma may stand for the point. Loggers write up to seven decimals of what they know to one; we keep four.
FIGURE = re.compile(r"[-+\N{MINUS SIGN}]?[0-9]{1,4}(?:[.,][0-9]{1,15})?", re.ASCII)
KEPT = Decimal("0.0001")


def number(text: str) -> Decimal | None:
    """An exact figure, None when it is none: no exponent, no thousands, no unit, no other script's digits."""
    if not FIGURE.fullmatch(text):
        return None
    return Decimal(text.replace(",", ".").replace("\N{MINUS SIGN}", "-"))


def kept(value: Decimal) -> Decimal:
    """To the ten-thousandth, which is how the book keeps it."""
    return value.quantize(KEPT, ROUND_HALF_EVEN) + 0


def celsius(fahrenheit: Decimal) -> Decimal:
    return (fahrenheit - 32) * 5 / 9


def plain(value: Decimal | None) -> str:
    """As it is spoken, one decimal at least, with a true minus sign: 20.3, 64.0, 20.125."""
    if value is None:
        return ""
    whole, _, decimals = format(abs(value), "f").partition(".")
    sign = "\N{MINUS SIGN}" if value < 0 else ""
    return f"{sign}{whole}.{decimals.rstrip('0') or '0'}"
