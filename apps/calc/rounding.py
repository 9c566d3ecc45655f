"""The one rounding, at the end, and how a change is printed."""

from decimal import Decimal
from typing import Literal

from .errors import RoundingError
from .exact import number, own_context, positive

Tie = Literal["even", "away"]

MINUS = "\N{MINUS SIGN}"


@own_context
def round_to(value: Decimal, step: Decimal, tie: Tie = "even") -> Decimal:
    """`value` to the nearest multiple of `step` (same unit), with the decimals of `step`; never "-0".

    A value exactly half way goes to the even multiple ("even": rule A of ISO 80000-1:2009, annex B, and ASTM E29)
    or to the multiple further from zero ("away": rule B, the larger magnitude for negative values).
    RoundingError (a CalcError) for a step that is not above zero, an unknown tie rule, or a value that is not finite.
    """
    given = number(value, "The value to round", RoundingError)
    width = positive(step, "The rounding step", RoundingError)
    if tie not in ("even", "away"):
        raise RoundingError('The tie rule must be "even" or "away".', code="tie")
    multiples, rest = divmod(abs(given), width)
    twice = rest * 2
    if twice > width or (twice == width and (tie == "away" or multiples % 2 == 1)):
        multiples += 1
    exponent = width.as_tuple().exponent
    assert isinstance(exponent, int)  # the step is finite
    size = (multiples * width).quantize(Decimal(1).scaleb(min(exponent, 0)))
    return -size if given < 0 and size != 0 else size


@own_context
def format_change(value: Decimal) -> str:
    """An already rounded change as printed, with the decimals it has: "+2.0", "0.0", and a true minus sign (U+2212)."""
    exponent = value.as_tuple().exponent if isinstance(value, Decimal) else 0
    change = number(value, "The change", RoundingError)
    if change == 0:
        decimals = -exponent if isinstance(exponent, int) and -12 <= exponent < 0 else 0
        return format(Decimal(0), f".{decimals}f")
    return ("+" if change > 0 else MINUS) + format(abs(change), "f")
