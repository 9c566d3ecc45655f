"""Control charts for the check fabric: single values, groups, the exponentially weighted average."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Final

from .errors import ControlError
from .exact import WORKING, mean_and_variance, number, own_context, positive, root, setting, settle

# The mean range of two normal values in standard deviations, and the upper limit of their range in mean ranges, to
# the three decimals of the printed tables (NIST/SEMATECH e-Handbook 6.3.2.2; ISO 7870-2); exactly they are
# 2/sqrt(pi) = 1.12838 and 3.26653.
D2_OF_TWO = Decimal("1.128")
D4_OF_TWO = Decimal("3.267")

# For groups of n normal values: mean and standard deviation of their range, mean of their standard deviation, all in
# standard deviations. Computed from the definitions to 13 digits; they agree with the printed tables (ISO 7870-2).
_CONSTANTS: Final = {
    2: ("1.128379167096", "0.8525024664274", "0.7978845608029"),
    3: ("1.692568750643", "0.8883680040452", "0.8862269254528"),
    4: ("2.058750746008", "0.8798082028250", "0.9213177319236"),
    5: ("2.325928947281", "0.8640819410995", "0.9399856029866"),
    6: ("2.534412721223", "0.8480396861175", "0.9515328619481"),
    7: ("2.704356751214", "0.8332053356223", "0.9593687886998"),
    8: ("2.847200612091", "0.8198314897919", "0.9650304561474"),
    9: ("2.970026324419", "0.8078342745533", "0.9693106997140"),
    10: ("3.077505461670", "0.7970506735194", "0.9726592741216"),
}


@dataclass(frozen=True, slots=True)
class Limits:
    """Centre line and control limits of single values, and the mean moving range `mr_bar`; all in the values' unit."""

    center: Decimal
    lower: Decimal
    upper: Decimal
    mr_bar: Decimal


@dataclass(frozen=True, slots=True)
class EwmaPoint:
    """The weighted average after one value, and the limits that hold at that point."""

    value: Decimal
    lower: Decimal
    upper: Decimal


@dataclass(frozen=True, slots=True)
class Constants:
    """The factors of charts for groups of `n`, named as the printed tables name them."""

    n: int
    d2: Decimal
    d3: Decimal
    c4: Decimal
    A2: Decimal
    A3: Decimal
    B3: Decimal
    B4: Decimal
    D3: Decimal
    D4: Decimal
    E2: Decimal


@dataclass(frozen=True, slots=True)
class Band:
    """Centre line and control limits."""

    center: Decimal
    lower: Decimal
    upper: Decimal


@dataclass(frozen=True, slots=True)
class Charts:
    """The two charts of grouped values, of their `means` and of their `spreads`, and the `sigma` behind both."""

    means: Band
    spreads: Band
    sigma: Decimal


@own_context
def constants(n: int) -> Constants:
    """The constants for groups of 2 to 10 values, to at least twelve digits.

    A2 = 3 / (d2 sqrt n), A3 = 3 / (c4 sqrt n), B3, B4 = 1 -/+ 3 sqrt(1 - c4^2) / c4, D3, D4 = 1 -/+ 3 d3 / d2,
    E2 = 3 / d2; B3 and D3 are never under 0. ControlError for other sizes.
    """
    if isinstance(n, bool) or n not in _CONSTANTS:
        raise ControlError("Charts of groups take 2 to 10 values in each.", code="size")
    d2, d3, c4 = (Decimal(text) for text in _CONSTANTS[n])
    of_s, of_r = 3 * WORKING.sqrt(1 - c4**2) / c4, 3 * d3 / d2
    factors = (
        *(3 / (d2 * WORKING.sqrt(Decimal(n))), 3 / (c4 * WORKING.sqrt(Decimal(n)))),
        *(max(1 - of_s, Decimal(0)), 1 + of_s, max(1 - of_r, Decimal(0)), 1 + of_r, 3 / d2),
    )
    return Constants(n, d2, d3, c4, *(settle(factor) for factor in factors))


@own_context
def xbar_r(groups: Sequence[Sequence[Decimal]]) -> Charts:
    """Charts of means and ranges for groups of one size, 2 to 10; in order of time.

    Means: grand mean -/+ A2 mean range; ranges: D3 and D4 times the mean range; sigma = mean range / d2.
    NIST/SEMATECH e-Handbook 6.3.2.1. ControlError for fewer than two groups, groups of unequal size or of other sizes.
    """
    given, size = _groups(groups)
    mean_range = sum((max(group) - min(group) for group in given), Decimal(0)) / len(given)
    center = _grand_mean(given)
    reach = size.A2 * mean_range
    return Charts(
        Band(settle(center), settle(center - reach), settle(center + reach)),
        Band(settle(mean_range), settle(size.D3 * mean_range), settle(size.D4 * mean_range)),
        settle(mean_range / size.d2),
    )


@own_context
def xbar_s(groups: Sequence[Sequence[Decimal]]) -> Charts:
    """Charts of means and standard deviations for groups of one size, 2 to 10; in order of time.

    Means: grand mean -/+ A3 mean s; deviations: B3 and B4 times the mean s; sigma = mean s / c4.
    NIST/SEMATECH e-Handbook 6.3.2.1. ControlError as `xbar_r`.
    """
    given, size = _groups(groups)
    deviations = [root(mean_and_variance([Fraction(value) for value in group])[1]) for group in given]
    mean_s = sum(deviations, Decimal(0)) / len(given)
    center = _grand_mean(given)
    reach = size.A3 * mean_s
    return Charts(
        Band(settle(center), settle(center - reach), settle(center + reach)),
        Band(settle(mean_s), settle(size.B3 * mean_s), settle(size.B4 * mean_s)),
        settle(mean_s / size.c4),
    )


def _groups(groups: Sequence[Sequence[Decimal]]) -> tuple[list[list[Decimal]], Constants]:
    given = [
        [number(value, f"Value {i} of group {g}", ControlError) for i, value in enumerate(group, 1)]
        for g, group in enumerate(groups, 1)
    ]
    if len(given) < 2:
        raise ControlError("A chart of groups needs at least two groups.", code="too_few")
    if len({len(group) for group in given}) > 1:
        raise ControlError("All groups of a chart must have equally many values.", code="unequal")
    return given, constants(len(given[0]))


def _grand_mean(groups: list[list[Decimal]]) -> Decimal:
    return sum((sum(group, Decimal(0)) for group in groups), Decimal(0)) / (len(groups) * len(groups[0]))


@own_context
def individuals(values: Sequence[Decimal]) -> Limits:
    """Limits at mean -/+ 3 MR / 1.128, MR the mean of the moving ranges of two; values in order of time.

    NIST/SEMATECH e-Handbook, 6.3.2.2. ControlError for fewer than two values.
    """
    given = [number(value, f"Value {i}", ControlError) for i, value in enumerate(values, 1)]
    if len(given) < 2:
        raise ControlError("A chart needs at least two values to see how much they move.", code="too_few")
    center = sum(given, Decimal(0)) / len(given)
    ranges = [abs(later - earlier) for earlier, later in pairwise(given)]
    mr_bar = sum(ranges, Decimal(0)) / len(ranges)
    reach = 3 * mr_bar / D2_OF_TWO
    return Limits(settle(center), settle(center - reach), settle(center + reach), settle(mr_bar))


@own_context
def moving_range(values: Sequence[Decimal]) -> Band:
    """The chart of the moving ranges that goes with `individuals`: mean range, 0, and 3.267 times the mean range.

    A range above the limit tells that two neighbours differ too much, and that the limits of the single values are too
    wide with it. NIST/SEMATECH e-Handbook 6.3.2.2. ControlError as `individuals`.
    """
    mr_bar = individuals(values).mr_bar
    return Band(mr_bar, Decimal(0), settle(D4_OF_TWO * mr_bar))


@own_context
def lag_one(values: Sequence[Decimal]) -> Decimal:
    """The correlation of neighbours, -1 to 1, in order of time: sum (x_i - m)(x_i+1 - m) / sum (x_i - m)^2.

    Limits of a chart suppose it to be near 0: beyond about 2 / sqrt n the values hang together. NIST/SEMATECH
    e-Handbook 1.3.5.12. ControlError for fewer than two values or no spread.
    """
    given = [Fraction(number(value, f"Value {i}", ControlError)) for i, value in enumerate(values, 1)]
    if len(given) < 2:
        raise ControlError("One value has no neighbour.", code="too_few")
    mean, variance = mean_and_variance(given)
    if variance == 0:
        raise ControlError("All values are equal, so nothing can be said of neighbours.", code="no_spread")
    together = sum(((a - mean) * (b - mean) for a, b in pairwise(given)), Fraction(0))
    return settle(together / (variance * (len(given) - 1)))


@own_context
def ewma(
    values: Sequence[Decimal], target: Decimal, sd: Decimal, lam: Decimal | float, L: Decimal | float
) -> list[EwmaPoint]:
    """One point a value: z = lam x + (1 - lam) z, starting from `target`, with the limits that hold at that point.

    Limits: target -/+ L sd sqrt(lam / (2 - lam) (1 - (1 - lam)^(2 i))), i from 1; they widen towards the steady ones.
    NIST/SEMATECH e-Handbook, 6.3.2.4. ControlError unless 0 < lam <= 1, sd > 0 and L > 0.
    """
    given = [number(value, f"Value {i}", ControlError) for i, value in enumerate(values, 1)]
    center = number(target, "The target", ControlError)
    sigma = positive(sd, "The standard deviation", ControlError)
    weight = setting(lam, "The weight", ControlError)
    width = setting(L, "The width of the limits", ControlError)
    if weight > 1:
        raise ControlError(f"The weight must not be more than 1, but is {weight}.", code="weight")
    points, average, forgotten = [], center, Decimal(1)
    for value in given:
        average = weight * value + (1 - weight) * average
        forgotten *= (1 - weight) ** 2
        reach = width * sigma * WORKING.sqrt(weight / (2 - weight) * (1 - forgotten))
        points.append(EwmaPoint(settle(average), settle(center - reach), settle(center + reach)))
    return points
