"""Student's t and the F distribution, the tables that the statistics share."""

import math
from decimal import Decimal

from .errors import CalcError


def t_quantile(dof: float, tail: float) -> Decimal:
    """The t value with probability `tail` beyond it, for `dof` degrees of freedom (math.inf: the normal value).

    From scipy's special functions. CalcError where the tail is too thin for them.
    """
    from scipy.special import ndtri, stdtrit  # type: ignore[import-untyped]  # loaded late: it costs start-up time

    value = -float(ndtri(tail) if math.isinf(dof) else stdtrit(dof, tail))
    if not math.isfinite(value):
        raise CalcError("The probability asked for is too close to 0 or 1. Use for example 0.95.", code="tail")
    return Decimal(repr(value))


def f_tail(over: int, under: int, f: Decimal) -> float:
    """The probability of a ratio of variances beyond `f`, with `over` and `under` degrees of freedom."""
    from scipy.special import fdtrc  # loaded late: it costs start-up time

    return float(fdtrc(over, under, float(f)))
