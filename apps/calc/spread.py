"""Is the value furthest from the others an outlier?"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from .errors import SpreadError
from .exact import WORKING, mean_and_variance, number, own_context, probability, root, settle
from .quantiles import t_quantile


@dataclass(frozen=True, slots=True)
class Grubbs:
    """The statistic `g` of the value at `index` (from 0), the `critical` value, and whether g exceeds it."""

    g: Decimal
    critical: Decimal
    index: int
    is_outlier: bool


@own_context
def grubbs(values: Sequence[Decimal], alpha: float = 0.05) -> Grubbs:
    """Grubbs' two-sided test for one outlier, at significance `alpha`; of two equally far values the first.

    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1; the two-sided set is the one of ISO 5725-2. With three
    values hardly anything can be an outlier: g cannot exceed 1.1547 and the 5 % limit is 1.1543. A finding is a reason
    to look for a cause, never to drop a value. SpreadError for fewer than three values or no spread.
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
    return Grubbs(g, critical, distances.index(furthest), g > critical)
