"""How the room calculates: in a decimal context of its own, on numbers it has looked at first."""

from collections.abc import Callable
from decimal import (
    ROUND_HALF_EVEN,
    Context,
    Decimal,
    DivisionByZero,
    InvalidOperation,
    Overflow,
    localcontext,
)
from fractions import Fraction
from functools import wraps
from typing import ParamSpec, TypeVar

from .errors import CalcError

P = ParamSpec("P")
R = TypeVar("R")

MOST_DIGITS = 60
SMALLEST, LARGEST = -30, 30  # powers of ten
_TRAPS = [InvalidOperation, DivisionByZero, Overflow]

# Numbers of at most 60 digits between 1E-30 and 1E+31 reach from 1E-89 to 1E+31: sums of many
# and products of two stay exact in this precision.
WORKING = Context(prec=130, rounding=ROUND_HALF_EVEN, Emin=-9999, Emax=9999, traps=_TRAPS, clamp=0, capitals=1)
RESULT = Context(prec=50, rounding=ROUND_HALF_EVEN, Emin=-9999, Emax=9999, traps=_TRAPS, clamp=0, capitals=1)


def own_context(call: Callable[P, R]) -> Callable[P, R]:
    """Run `call` in the working context; a fault of arithmetic becomes a CalcError."""

    @wraps(call)
    def inner(*args: P.args, **kwargs: P.kwargs) -> R:
        with localcontext(WORKING):
            try:
                return call(*args, **kwargs)
            except ArithmeticError as fault:
                raise CalcError(
                    "These numbers are too large or too small to calculate with. Check units and decimal points.",
                    code="out_of_range",
                ) from fault

    return inner


def number(value: Decimal | int, name: str, error: type[CalcError]) -> Decimal:
    """`value` as a finite Decimal of sensible size, else `error` saying what is wrong with `name`.

    `name` begins the sentence ("The length before washing"). Floats are refused: they are no longer what was read.
    """
    if isinstance(value, int) and not isinstance(value, bool):
        value = Decimal(value) if abs(value) <= 10**LARGEST else Decimal(f"1E+{LARGEST + 1}")
    if not isinstance(value, Decimal):
        kind = type(value).__name__
        raise error(f"{name} must be an exact decimal number, not {kind}. Give it as a Decimal.", code="not_exact")
    if value.is_nan():
        raise error(f"{name} is not a number. Give a measured value.", code="not_finite")
    if value.is_infinite():
        raise error(f"{name} is infinite. Give a measured value.", code="not_finite")
    if value.is_zero():
        return Decimal(0)
    if not SMALLEST <= value.adjusted() <= LARGEST:
        size = "large" if value.adjusted() > LARGEST else "small"
        raise error(f"{name} is far too {size}. Check the unit and the decimal point.", code="out_of_range")
    if len(value.as_tuple().digits) > MOST_DIGITS:
        raise error(f"{name} has more than {MOST_DIGITS} digits. Give it as it was read.", code="out_of_range")
    return value


def positive(value: Decimal | int, name: str, error: type[CalcError]) -> Decimal:
    """`value` as a finite Decimal above zero, else `error`."""
    checked = number(value, name, error)
    if checked <= 0:
        raise error(f"{name} must be more than zero, not {checked}.", code="not_positive")
    return checked


def setting(value: Decimal | float, name: str, error: type[CalcError]) -> Decimal:
    """A parameter of a method above zero, else `error`; a float is taken as it prints (0.3 is 0.3)."""
    return positive(Decimal(repr(value)) if isinstance(value, float) else value, name, error)


def probability(value: float, name: str, error: type[CalcError]) -> float:
    """`value` as a float strictly between 0 and 1, else `error`."""
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)) or value != value:
        raise error(f"{name} must be a number between 0 and 1.", code="not_a_probability")
    if not 0 < value < 1:
        raise error(f"{name} must lie between 0 and 1, not {value}.", code="not_a_probability")
    return float(value)


def settle(value: Decimal | Fraction) -> Decimal:
    """A result, rounded once to 50 significant digits."""
    if isinstance(value, Fraction):
        return RESULT.divide(Decimal(value.numerator), Decimal(value.denominator))
    return RESULT.plus(value)


def mean_and_variance(values: list[Fraction]) -> tuple[Fraction, Fraction]:
    """Exact mean and sample variance (n - 1) of at least two values; the sums lose no digit."""
    mean = sum(values, Fraction(0)) / len(values)
    return mean, sum(((value - mean) ** 2 for value in values), Fraction(0)) / (len(values) - 1)


def root(value: Fraction) -> Decimal:
    """The square root, to 50 significant digits."""
    return settle(WORKING.sqrt(WORKING.divide(Decimal(value.numerator), Decimal(value.denominator))))
