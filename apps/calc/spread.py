"""How much values scatter, and whether the one furthest from the others is an outlier."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from .errors import SpreadError
from .exact import WORKING, mean_and_variance, number, own_context, probability, root, settle
from .quantiles import t_quantile

# The NIST/SEMATECH e-Handbook (1.3.5.17.1) advises against the test for six values or fewer.
SURE_FROM = 7


@dataclass(frozen=True, slots=True)
class Grubbs:
    """The statistic `g` of the value at `index` (from 0), the `critical` value, and whether g exceeds it.

    `note` says in a sentence when there are too few values to tell much; empty from seven values on.
    """

    g: Decimal
    critical: Decimal
    index: int
    is_outlier: bool
    note: str = ""


@own_context
def mean_and_sd(values: Sequence[Decimal]) -> tuple[Decimal, Decimal]:
    """The mean and the sample standard deviation (n - 1), in the values' unit, from exact sums.

    SpreadError for fewer than two values or one that is not finite.
    """
    given = [Fraction(number(value, f"Value {i}", SpreadError)) for i, value in enumerate(values, 1)]
    if len(given) < 2:
        raise SpreadError(f"A spread shows only among two values or more; here are {len(given)}.", code="too_few")
    mean, variance = mean_and_variance(given)
    return settle(mean), root(variance)


@own_context
def grubbs(values: Sequence[Decimal], alpha: float = 0.05) -> Grubbs:
    """Grubbs' two-sided test for one outlier, at significance `alpha`; of two equally far values the first.

    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1; the two-sided set is the one of ISO 5725-2. With three
    values hardly anything can be an outlier: g cannot exceed 1.1547 and the 5 % limit is 1.1543; the `note` says so,
    and says up to six values that the test is weak. A finding is a reason to look for a cause, never to drop a value.
    SpreadError for fewer than three values or no spread.
    """
    given = [Fraction(number(value, f"Value {i}", SpreadError)) for i, value in enumerate(values, 1)]
    level = probability(alpha, "The significance level", SpreadError)
    n = len(given)
    if n < 3:
        raise SpreadError(f"An outlier shows only among three values or more; here are {n}.", code="too_few")
    mean, variance = mean_and_variance(given)
    if variance == 0:
        raise SpreadError("All values are equal, so none of them can be an outlier.", code="no_spread")
    distances = [abs(value - mean) for value in given]
    furthest = max(distances)
    g = root(furthest**2 / variance)
    t_squared = t_quantile(n - 2, level / (2 * n)) ** 2
    critical = settle((n - 1) * WORKING.sqrt(t_squared / (n - 2 + t_squared) / n))
    return Grubbs(g, critical, distances.index(furthest), g > critical, _note(n))


def _note(n: int) -> str:
    if n == 3:
        return "Three values are too few to tell: only two nearly equal ones would show the third as an outlier."
    return f"{n} values are few: the test sees only a very distant one." if n < SURE_FROM else ""
