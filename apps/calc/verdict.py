"""Pass or fail against limits, by the decision rule that was agreed (ILAC-G8:09/2019; JCGM 106:2012)."""

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from .errors import VerdictError
from .exact import number, own_context

Rule = Literal["simple", "guarded"]
State = Literal["pass", "conditional pass", "conditional fail", "fail"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """`lower_limit` and `upper_limit` are the acceptance limits in percent (None where there is no limit);
    `p_conform` is the probability that the true change lies within the limits, None without an uncertainty."""

    state: State
    lower_limit: Decimal | None
    upper_limit: Decimal | None
    p_conform: float | None


@own_context
def judge(value: Decimal, lower: Decimal | None, upper: Decimal | None, u: Decimal | None, rule: Rule) -> Verdict:
    """The verdict on `value` (percent: the reported one, unless the rule says unrounded) against signed limits.

    "Not more than 3 % shrinkage" is the lower limit -3. A value on a limit lies inside. `u` is the standard
    uncertainty in percent; the guard band is w = 2u.
    simple: pass or fail at the limits. guarded: pass inside both by at least w, conditional pass inside by less,
    conditional fail outside by at most w, fail beyond. p_conform supposes a normal distribution (JCGM 106, clause 7).
    VerdictError for no limit at all, a lower above the upper, a guarded rule without uncertainty, or limits so close
    that the guard bands leave nothing to accept (2w more than their distance).
    """
    y = number(value, "The value to judge", VerdictError)
    low = None if lower is None else number(lower, "The lower limit", VerdictError)
    high = None if upper is None else number(upper, "The upper limit", VerdictError)
    spread = Decimal(0) if u is None else number(u, "The uncertainty", VerdictError)
    _refuse_nonsense(low, high, spread, rule)
    p_conform = _p_conform(y, low, high, spread) if spread else None
    if rule == "simple":
        return Verdict("pass" if _room(y, low, high) >= 0 else "fail", low, high, p_conform)
    band = 2 * spread
    return Verdict(
        _guarded_state(_room(y, low, high), band),
        None if low is None else low + band,
        None if high is None else high - band,
        p_conform,
    )


def _refuse_nonsense(low: Decimal | None, high: Decimal | None, spread: Decimal, rule: str) -> None:
    if rule not in ("simple", "guarded"):
        raise VerdictError('The decision rule must be "simple" or "guarded".', code="rule")
    if low is None and high is None:
        raise VerdictError("There is no limit to judge against. Agree a limit with the customer.", code="no_limits")
    if low is not None and high is not None and low > high:
        raise VerdictError(
            f"The lower limit {low} lies above the upper limit {high}. Swap them.", code="limits_swapped"
        )
    if spread < 0:
        raise VerdictError(f"The uncertainty must not be negative, but is {spread}.", code="negative_uncertainty")
    if rule == "guarded" and spread == 0:
        raise VerdictError(
            "The guarded rule needs an uncertainty. Give one, or agree the simple rule.", code="needs_uncertainty"
        )
    if rule == "guarded" and low is not None and high is not None and 4 * spread > high - low:
        raise VerdictError(
            f"With an uncertainty of {spread} the guard bands leave nothing between {low} and {high}. "
            "Agree wider limits or the simple rule, or test more specimens.",
            code="no_acceptance_zone",
        )


def _room(y: Decimal, low: Decimal | None, high: Decimal | None) -> Decimal:
    """How far inside the nearest limit; negative outside."""
    rooms = []
    if low is not None:
        rooms.append(y - low)
    if high is not None:
        rooms.append(high - y)
    return min(rooms)


def _guarded_state(room: Decimal, band: Decimal) -> State:
    if room >= band:
        return "pass"
    if room >= 0:
        return "conditional pass"
    return "conditional fail" if -room <= band else "fail"


def _p_conform(y: Decimal, low: Decimal | None, high: Decimal | None, u: Decimal) -> float:
    above_low = math.inf if low is None else float((y - low) / u)
    below_high = math.inf if high is None else float((high - y) / u)
    # Each case subtracts small tails only, so that neither a probability near 0 nor one near 1 loses its digits.
    if above_low < 0:
        return _tail(-above_low) - _tail(below_high)
    if below_high < 0:
        return _tail(-below_high) - _tail(above_low)
    return 1.0 - _tail(above_low) - _tail(below_high)


def _tail(z: float) -> float:
    """The part of a normal distribution beyond z standard deviations."""
    return 0.5 * math.erfc(z / math.sqrt(2))
