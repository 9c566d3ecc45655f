"""How many specimens a wanted precision needs, and what precision a number of them gives."""

from decimal import Decimal

from .errors import SamplingError
from .exact import WORKING, number, own_context, positive, probability, settle
from .quantiles import t_quantile

_MOST = 1_000_000


@own_context
def specimens_needed(sd: Decimal, error: Decimal, confidence: float = 0.95) -> int:
    """The smallest n >= 2 with n >= (t sd / error)^2, t two-sided at `confidence` for n - 1 degrees of freedom.

    `sd` is the standard deviation of specimen results, `error` the allowed half-width of their mean, same unit.
    The plan of ASTM D2905-97 (withdrawn 2008; formula from memory) with t in place of the normal value; stepping
    n = (t sd / error)^2 instead can swing for ever. SamplingError for a negative spread, an error not above zero, a
    confidence outside 0..1, or more than a million specimens.
    """
    spread = number(sd, "The standard deviation", SamplingError)
    half_width = positive(error, "The allowed error", SamplingError)
    tail = (1 - probability(confidence, "The confidence", SamplingError)) / 2
    if spread < 0:
        raise SamplingError(f"The standard deviation must not be negative, but is {spread}.", code="negative_spread")
    ratio = spread / half_width

    def enough(n: int) -> bool:
        return n >= (t_quantile(n - 1, tail) * ratio) ** 2

    if not enough(_MOST):
        raise SamplingError(
            "That would take more than a million specimens. Allow a larger error or a lower confidence.",
            code="too_many",
        )
    # More specimens always help (n grows, t falls), so the first sufficient number can be found by halving.
    low, high = 2, _MOST
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle + 1, high)
    return low


@own_context
def half_width(sd: Decimal, specimens: int, confidence: float = 0.95) -> Decimal:
    """How far the mean of `specimens` results may lie from the true one: t sd / sqrt(n), two-sided, unit of `sd`.

    The other way round of `specimens_needed`; any text book, e.g. NIST/SEMATECH e-Handbook 1.3.5.2. SamplingError for
    a negative spread, fewer than two specimens, more than a million, or a confidence outside 0..1.
    """
    spread = number(sd, "The standard deviation", SamplingError)
    if spread < 0:
        raise SamplingError(f"The standard deviation must not be negative, but is {spread}.", code="negative_spread")
    if isinstance(specimens, bool) or not isinstance(specimens, int) or not 2 <= specimens <= _MOST:
        raise SamplingError("A precision can be told of two specimens up to a million.", code="specimens")
    tail = (1 - probability(confidence, "The confidence", SamplingError)) / 2
    return settle(t_quantile(specimens - 1, tail) * spread / WORKING.sqrt(Decimal(specimens)))
