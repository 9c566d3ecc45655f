"""The measurement uncertainty of a change, from repeat readings and the division of the rule.

JCGM 100:2008 (the GUM): 4.2 and F.2.2.1 for the parts, 5.2.2 for their combination, G.4.1 for the degrees of freedom.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction

from .errors import UncertaintyError
from .exact import WORKING, mean_and_variance, number, own_context, positive, settle
from .quantiles import t_quantile

INFINITE = Decimal("Infinity")
NOTHING = Decimal("1E-50")


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainty `u` and expanded `U` = k u, in percent (of change, not of the change).

    `dof` are the effective degrees of freedom, not cut to a whole number, Infinity where only the division of the rule
    counts; `k` is Student's t at 95 %, two-sided, for the whole number below `dof`.
    """

    u: Decimal
    dof: Decimal
    k: Decimal
    U: Decimal


@dataclass(frozen=True, slots=True)
class _Side:
    """Repeat readings of one distance: mean (mm), variance of the mean from repeats, total variance, their dof."""

    mean: Fraction
    repeat: Fraction
    total: Fraction
    dof: int


@own_context
def change_uncertainty(
    before: Sequence[Decimal], after: Sequence[Decimal], resolution_mm: Decimal, r: Decimal = Decimal(0)
) -> Uncertainty:
    """The uncertainty of 100 (B - A) / A, A and B the means of repeat readings of one distance in mm.

    Each mean has s / sqrt(n) from its repeats and resolution / sqrt(12) from the rule; a single reading has the rule
    only. `r` (-1 to 1) is the correlation of the two means: the same rule before and after. Sensitivities 100 / A and
    -100 B / A^2. The Welch-Satterthwaite formula supposes independent parts; under correlation it can fall below the
    smaller dof of the two means, and is then held there. UncertaintyError for a side without readings, a reading or
    resolution not above zero, or r outside -1..1.
    """
    division = positive(resolution_mm, "The resolution", UncertaintyError)
    correlation = number(r, "The correlation", UncertaintyError)
    if abs(correlation) > 1:
        raise UncertaintyError(f"The correlation must lie between -1 and 1, not {correlation}.", code="correlation")
    a = _side(before, "before washing", division)
    b = _side(after, "after washing", division)
    # In percent: squares of sensitivity x uncertainty.
    from_a = (100 * b.mean / a.mean**2) ** 2
    from_b = (100 / a.mean) ** 2
    apart = _decimal(from_a * a.total + from_b * b.total)
    shared = 2 * correlation * WORKING.sqrt(_decimal(from_a * a.total * from_b * b.total))
    # Where the two cancel, the last digits of the root would be taken for uncertainty.
    u = WORKING.sqrt(apart - shared) if apart - shared > apart * NOTHING else Decimal(0)
    repeats = [
        (_decimal(c * side.repeat), Decimal(side.dof)) for c, side in ((from_a, a), (from_b, b)) if side.repeat > 0
    ]
    dof = _effective_dof(u, repeats)
    k = coverage_factor(dof)
    return Uncertainty(settle(u), dof, k, settle(k * u))


@own_context
def effective_dof(u: Decimal, parts: Sequence[tuple[Decimal, Decimal | int]]) -> Decimal:
    """Welch-Satterthwaite: u^4 / sum(u_i^4 / dof_i), Infinity without parts (JCGM 100:2008, G.4.1).

    `u` is the combined standard uncertainty; `parts` are the contributions with finite degrees of freedom, as
    (u_i, dof_i) in the unit of u. Never less than the smallest dof_i. UncertaintyError for a negative u, a part not
    above zero or a dof under 1.
    """
    combined = number(u, "The combined uncertainty", UncertaintyError)
    if combined < 0:
        raise UncertaintyError(f"The combined uncertainty must not be negative, but is {combined}.", code="negative")
    squares = [
        (
            positive(part, "Each part of the uncertainty", UncertaintyError) ** 2,
            number(dof, "The number of degrees of freedom", UncertaintyError),
        )
        for part, dof in parts
    ]
    if any(dof < 1 for _, dof in squares):
        raise UncertaintyError("Each part needs at least one degree of freedom.", code="dof")
    return _effective_dof(combined, squares)


@own_context
def coverage_factor(dof: Decimal) -> Decimal:
    """Student's t at 95 %, two-sided, for the whole number below `dof` (JCGM 100:2008, G.4.1 and table G.2).

    Infinity gives the normal value 1.96. UncertaintyError under one degree of freedom.
    """
    if isinstance(dof, Decimal) and dof == INFINITE:
        return t_quantile(math.inf, 0.025)
    whole = number(dof, "The number of degrees of freedom", UncertaintyError).to_integral_value(ROUND_FLOOR)
    if whole < 1:
        raise UncertaintyError("An uncertainty at 95 % needs at least one degree of freedom.", code="dof")
    return t_quantile(float(whole), 0.025)


def _side(readings: Sequence[Decimal], when: str, division: Decimal) -> _Side:
    given = [Fraction(positive(reading, f"A reading {when}", UncertaintyError)) for reading in readings]
    if not given:
        raise UncertaintyError(f"There is no reading {when}. Read the distance at least once.", code="no_readings")
    mean, variance = mean_and_variance(given) if len(given) > 1 else (given[0], Fraction(0))
    repeat = variance / len(given)
    return _Side(mean, repeat, repeat + Fraction(division) ** 2 / 12, len(given) - 1)


def _effective_dof(u: Decimal, squares: Sequence[tuple[Decimal, Decimal]]) -> Decimal:
    if not squares:
        return INFINITE
    formula = u**4 / sum((square**2 / dof for square, dof in squares), Decimal(0))
    return settle(max(formula, min(dof for _, dof in squares)))


def _decimal(value: Fraction) -> Decimal:
    return WORKING.divide(Decimal(value.numerator), Decimal(value.denominator))
