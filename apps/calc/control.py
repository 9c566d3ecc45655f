"""Control charts for the check fabric: individuals, and the exponentially weighted average."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from .errors import ControlError
from .exact import WORKING, number, own_context, positive, setting, settle

# The mean range of two normal values in standard deviations, to the three decimals of the printed tables
# (NIST/SEMATECH e-Handbook 6.3.2.2; ISO 7870-2); exactly it is 2/sqrt(pi) = 1.12838.
D2_OF_TWO = Decimal("1.128")


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
