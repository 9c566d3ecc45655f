"""The one rounding, at the end, and how a change is printed."""

from decimal import Decimal
from typing import Literal

from .errors import RoundingError
from .exact import number, own_context, positive

Tie = Literal["even", "away"]
Which = Literal["upper", "lower"]
Method = Literal["absolute", "rounding"]

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
def compare(
    value: Decimal, limit: Decimal, which: Which, method: Method, step: Decimal | None = None, tie: Tie = "even"
) -> bool:
    """Whether `value` meets the `limit` (same unit, both signed), by one of the two methods of ASTM E29.

    "absolute": the unrounded value against the limit as if it had endless noughts. "rounding": the value is first
    rounded to `step`, which is the last place of the limit as it is written where none is given (3.0 means tenths).
    A value on the limit meets it. "Not more than 3 % shrinkage" is the lower limit -3. The two methods can give
    different verdicts on the same value, so the method is agreed and stored with the limit. RoundingError for an
    unknown method or kind of limit, and as `round_to`.
    """
    if which not in ("upper", "lower"):
        raise RoundingError('The limit must be an "upper" or a "lower" one.', code="which")
    if method not in ("absolute", "rounding"):
        raise RoundingError('The method of comparing must be "absolute" or "rounding".', code="method")
    bound = number(limit, "The limit", RoundingError)
    compared = number(value, "The value to compare", RoundingError)
    if method == "rounding":
        compared = round_to(compared, _last_place(limit) if step is None else step, tie)
    return compared <= bound if which == "upper" else compared >= bound


def _last_place(limit: Decimal | int) -> Decimal:
    exponent = Decimal(limit).as_tuple().exponent
    assert isinstance(exponent, int)  # the limit is finite
    return Decimal(1).scaleb(exponent)


@own_context
def format_change(value: Decimal) -> str:
    """An already rounded change as printed, with the decimals it has: "+2.0", "0.0", and a true minus sign (U+2212)."""
    exponent = value.as_tuple().exponent if isinstance(value, Decimal) else 0
    change = number(value, "The change", RoundingError)
    if change == 0:
        decimals = -exponent if isinstance(exponent, int) and -12 <= exponent < 0 else 0
        return format(Decimal(0), f".{decimals}f")
    return ("+" if change > 0 else MINUS) + format(abs(change), "f")
