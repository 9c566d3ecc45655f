"""Where the change is going from cycle to cycle: a planning aid, never part of a report.

Cloth relaxes most in the first washes, so the change after cycle n is followed by F (1 - exp(-k n)): nothing before
washing, F in the end, the same share of what is left with every cycle.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from itertools import pairwise

from .errors import ProgressError
from .exact import WORKING, number, own_context, positive, settle
from .uncertainty import coverage_factor

_SEARCHING, _FITTING = 24, 45  # digits while looking for the best rate, and from there on
_FITTED = Context(prec=25)  # digits of what was fitted
_GRID = 120  # places where the curve is tried before the best is refined
_STRAIGHT = Decimal("1E-5")  # k times the last cycle: bent less than this is a straight line
_AT_ONCE = Decimal(40)  # k times the first cycle: nothing is left to move after it
_BETTER = 1 + Decimal("1E-15")  # a curve must explain so much more than a straight line or a constant
_MOST_CYCLES = 100_000
_PARAMETERS = 2


@dataclass(frozen=True, slots=True)
class Step:
    """From one measured cycle to the next: the further change in points of percent, and that for each cycle."""

    since: int
    until: int
    change: Decimal
    per_cycle: Decimal


@dataclass(frozen=True, slots=True)
class Approach:
    """The final change in percent with standard uncertainty `u` and expanded `U` (t at 95 % for `dof`).

    `share` is the part of the remaining way that each cycle goes (1 - exp(-k)); `k`, a cycle's rate, has `u_k`;
    `scatter` is the standard deviation about the curve. All uncertainty comes from that scatter. 25 digits.
    """

    final: Decimal
    u: Decimal
    U: Decimal
    dof: int
    k: Decimal
    u_k: Decimal
    share: Decimal
    scatter: Decimal

    @property
    def tells(self) -> bool:
        """Whether the final change is known to better than its own size."""
        return abs(self.final) > self.U


@dataclass(frozen=True, slots=True)
class Progress:
    """The steps so far and, where the readings allow it, the approach; `reason` says in a sentence why not."""

    steps: list[Step]
    approach: Approach | None
    reason: str


@own_context
def follow(changes: Mapping[int, Decimal]) -> Progress:
    """The steps and the approach of the `changes` (percent) after their cycles, with a sentence where there is none.

    ProgressError for a cycle that is no whole number from 1 or a change that is not finite.
    """
    points = _points(changes)
    try:
        return Progress(_steps(points), _approach(points), "")
    except ProgressError as none:
        return Progress(_steps(points), None, none.sentence)


@own_context
def steps(changes: Mapping[int, Decimal]) -> list[Step]:
    """What each measured cycle added, from 0 before washing: differences of the changes, in points of percent.

    They are parts of the original length. ProgressError as `follow`.
    """
    return _steps(_points(changes))


@own_context
def approach(changes: Mapping[int, Decimal]) -> Approach:
    """The least-squares fit of F (1 - exp(-k n)) to the `changes` (percent) after cycles n, all weighing the same.

    Standard uncertainties from the curvature at the best fit (the usual linear approximation, as NIST StRD certifies
    them); the uncertainty of each change itself is not in them. With three points one degree of freedom is left and U
    is 12.7 u; `tells` says whether that leaves anything known. ProgressError, with the reason, for fewer than three
    cycles ("too_few"), for the same change after each ("no_spread"), when the change still goes on in a straight line
    or faster ("not_approaching"), and when it goes no further after the first cycle ("settled").
    """
    return _approach(_points(changes))


@own_context
def cycles_until(found: Approach, within: Decimal) -> int:
    """The first cycle after which the curve lies no more than `within` (points of percent) from its final change.

    ProgressError for a distance not above zero.
    """
    distance = positive(within, "The distance from the final change", ProgressError)
    if abs(found.final) <= distance:
        return 1
    with localcontext(prec=_FITTING):
        exact = (abs(found.final) / distance).ln() / found.k
        cycles = int(exact)
        # The last digits of k must not cost a cycle.
        return max(1, cycles if exact - cycles <= Decimal("1E-20") else cycles + 1)


_Points = list[tuple[int, Decimal]]


def _points(changes: Mapping[int, Decimal]) -> _Points:
    for cycle in changes:
        if isinstance(cycle, bool) or not isinstance(cycle, int) or not 1 <= cycle <= _MOST_CYCLES:
            raise ProgressError("Cycles are counted from 1.", code="cycle")
    return [
        (cycle, number(changes[cycle], f"The change after cycle {cycle}", ProgressError)) for cycle in sorted(changes)
    ]


def _steps(points: _Points) -> list[Step]:
    return [
        Step(since, until, settle(after - before), settle((after - before) / (until - since)))
        for (since, before), (until, after) in pairwise([(0, Decimal(0)), *points])
    ]


def _approach(points: _Points) -> Approach:
    if len(points) <= _PARAMETERS:
        raise ProgressError(
            f"A final change can be told from three measured cycles or more; here are {len(points)}.", code="too_few"
        )
    if len({change for _, change in points}) == 1:
        raise ProgressError("The change is the same after every cycle: nothing has moved since.", code="no_spread")
    with localcontext(WORKING, prec=_FITTING):
        return _told(points, _best_rate(points))


def _best_rate(points: _Points) -> Decimal:
    """The k of the least sum of squares, F following from it."""
    low, high = _STRAIGHT / points[-1][0], _AT_ONCE / points[0][0]
    ratio = ((high / low).ln() / _GRID).exp()
    with localcontext(prec=_SEARCHING):
        rates = [low * ratio**i for i in range(_GRID + 1)]
        explained = [_explained(points, k) for k in rates]
    best = explained.index(max(explained))
    cycles, y = [Decimal(n) for n, _ in points], [y for _, y in points]
    straight = _products(cycles, y) ** 2 / _products(cycles, cycles)  # what is explained as k goes to 0
    at_once = sum(y, Decimal(0)) ** 2 / len(y)  # and as it grows
    inside = explained[best] > max(straight, at_once) * _BETTER
    if best == 0 or (not inside and straight > at_once):
        raise ProgressError(
            "The change goes on as fast as before, or to and fro: no final value is in sight. Measure further cycles.",
            code="not_approaching",
        )
    if best == _GRID or not inside:
        raise ProgressError(
            "After the first measured cycle the change goes no further, only to and fro or back: it has settled.",
            code="settled",
        )
    return _refined(points, rates[best - 1], rates[best + 1])


def _refined(points: _Points, low: Decimal, high: Decimal) -> Decimal:
    """Where the explained sum of squares stops growing between two rates, by halving."""
    while high - low > high * Decimal("1E-35"):
        middle = (low + high) / 2
        if _slope(points, middle) > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _left(points: _Points, k: Decimal) -> list[Decimal]:
    """exp(-k n) for each cycle n: the part of the way that is left."""
    each = (-k).exp()
    return [each**n for n, _ in points]


def _explained(points: _Points, k: Decimal) -> Decimal:
    """What the curve of rate k explains of the sum of squares: (sum y g)^2 / sum g^2 with g = 1 - exp(-k n)."""
    g = [1 - e for e in _left(points, k)]
    return _products((y for _, y in points), g) ** 2 / _products(g, g)


def _slope(points: _Points, k: Decimal) -> Decimal:
    """A number with the sign of the derivative of `_explained`."""
    left = _left(points, k)
    g, y = [1 - e for e in left], [y for _, y in points]
    h = [n * e for (n, _), e in zip(points, left, strict=True)]
    yg = _products(y, g)
    return yg * (_products(y, h) * _products(g, g) - yg * _products(g, h))


def _told(points: _Points, k: Decimal) -> Approach:
    left, y = _left(points, k), [y for _, y in points]
    g = [1 - e for e in left]
    final = _products(y, g) / _products(g, g)
    if final <= -100:
        raise ProgressError(
            "The curve runs towards a length of nothing: no final value is in sight. Measure further cycles.",
            code="not_approaching",
        )
    by_k = [final * n * e for (n, _), e in zip(points, left, strict=True)]
    determinant = _products(g, g) * _products(by_k, by_k) - _products(g, by_k) ** 2
    dof = len(points) - _PARAMETERS
    off = [b - final * a for a, b in zip(g, y, strict=True)]
    variance = _products(off, off) / dof
    u = (variance * _products(by_k, by_k) / determinant).sqrt()
    return Approach(
        final=_FITTED.plus(final),
        u=_FITTED.plus(u),
        U=_FITTED.plus(coverage_factor(Decimal(dof)) * u),
        dof=dof,
        k=_FITTED.plus(k),
        u_k=_FITTED.plus((variance * _products(g, g) / determinant).sqrt()),
        share=_FITTED.plus(1 - (-k).exp()),
        scatter=_FITTED.plus(variance.sqrt()),
    )


def _products(one: Iterable[Decimal], other: Iterable[Decimal]) -> Decimal:
    return sum((a * b for a, b in zip(one, other, strict=True)), Decimal(0))
