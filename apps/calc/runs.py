"""Run rules: patterns on a chart that chance seldom makes, although no point lies beyond the limits."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Final

from .errors import ControlError
from .exact import number, own_context, positive


@dataclass(frozen=True, slots=True)
class Signal:
    """A pattern found: the name of its `rule` and the points that make it, counted from 0; the last completes it."""

    rule: str
    points: range


@dataclass(frozen=True, slots=True)
class Rule:
    """What is looked for among so many points in a row, in words and on their distances from the centre in sigma."""

    words: str
    length: int
    holds: Callable[[Sequence[Decimal]], bool]


def _beyond(sigmas: int, least: int) -> Callable[[Sequence[Decimal]], bool]:
    """At least so many of the points, the newest among them, beyond so many sigma on one side."""

    def holds(points: Sequence[Decimal]) -> bool:
        side = 1 if points[-1] > 0 else -1
        far = [side * point > sigmas for point in points]
        return far[-1] and sum(far) >= least

    return holds


def _steady(points: Sequence[Decimal]) -> bool:
    steps = [later - earlier for earlier, later in pairwise(points)]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _to_and_fro(points: Sequence[Decimal]) -> bool:
    steps = [later - earlier for earlier, later in pairwise(points)]
    return all(one * other < 0 for one, other in pairwise(steps))


RULES: Final[dict[str, Rule]] = {
    "one beyond 3 sigma": Rule("One point lies beyond a control limit.", 1, _beyond(3, 1)),
    "two of three beyond 2 sigma": Rule("Two of three points lie beyond 2 sigma on one side.", 3, _beyond(2, 2)),
    "four of five beyond 1 sigma": Rule("Four of five points lie beyond 1 sigma on one side.", 5, _beyond(1, 4)),
    "eight on one side": Rule("Eight points in a row lie on one side of the centre.", 8, _beyond(0, 8)),
    "nine on one side": Rule("Nine points in a row lie on one side of the centre.", 9, _beyond(0, 9)),
    "six rising or falling": Rule("Six points in a row rise or fall all the way.", 6, _steady),
    "fourteen to and fro": Rule("Fourteen points in a row go up and down in turn.", 14, _to_and_fro),
    "fifteen within 1 sigma": Rule(
        "Fifteen points in a row lie within 1 sigma: too quiet.", 15, lambda points: all(abs(p) <= 1 for p in points)
    ),
    "eight beyond 1 sigma": Rule(
        "Eight points in a row lie beyond 1 sigma, on both sides.",
        8,
        lambda points: all(abs(p) > 1 for p in points) and min(points) < 0 < max(points),
    ),
}
# The four zone tests of the Western Electric handbook (1956), and the eight of L. S. Nelson (1984); from memory.
WESTERN_ELECTRIC: Final = (
    "one beyond 3 sigma",
    "two of three beyond 2 sigma",
    "four of five beyond 1 sigma",
    "eight on one side",
)
NELSON: Final = (
    "one beyond 3 sigma",
    "nine on one side",
    "six rising or falling",
    "fourteen to and fro",
    "two of three beyond 2 sigma",
    "four of five beyond 1 sigma",
    "fifteen within 1 sigma",
    "eight beyond 1 sigma",
)


@own_context
def run_rules(
    values: Sequence[Decimal], center: Decimal, sigma: Decimal, rules: Collection[str] = WESTERN_ELECTRIC
) -> list[Signal]:
    """Every pattern of the named `rules` (keys of RULES) in the `values`, in order of the point that completes it.

    `sigma` is a third of the way from the `center` to a control limit; all in the values' unit, in order of time. A
    point on a line lies within it, and one on the centre on neither side. Of several points on one side the newest is
    among those beyond. ControlError for an unknown rule, a sigma not above zero, or a value that is not finite.
    """
    middle = number(center, "The centre", ControlError)
    unit = positive(sigma, "The standard deviation", ControlError)
    distances = [(number(value, f"Value {i}", ControlError) - middle) / unit for i, value in enumerate(values, 1)]
    unknown = [name for name in rules if name not in RULES]
    if unknown:
        raise ControlError(f'There is no rule "{unknown[0]}". Choose from: {", ".join(RULES)}.', code="rule")
    return [
        Signal(name, range(end - RULES[name].length, end))
        for end in range(1, len(distances) + 1)
        for name in rules
        if end >= RULES[name].length and RULES[name].holds(distances[end - RULES[name].length : end])
    ]
