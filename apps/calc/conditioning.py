"""Since when a specimen is conditioned, from the record of the room's air or by weighing it.

Moments are what the records hold, all with a time zone or all without; nothing here asks the clock.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import groupby, pairwise
from typing import Final, Literal

from .errors import ConditioningError
from .exact import number, own_context, positive, settle

Rule = Literal["restart", "extend", "disclose"]
RULES: Final[tuple[Rule, ...]] = ("disclose", "extend", "restart")  # from the mildest to the strictest


@dataclass(frozen=True, slots=True)
class Atmosphere:
    """A standard atmosphere: degrees Celsius and percent relative humidity, each with its tolerance.

    A reading on the edge of a tolerance lies inside.
    """

    temperature: Decimal
    temperature_tolerance: Decimal
    humidity: Decimal
    humidity_tolerance: Decimal
    source: str = ""

    def holds(self, reading: "AirReading") -> bool:
        """Whether the reading lies within both tolerances."""
        return (
            abs(reading.temperature - self.temperature) <= self.temperature_tolerance
            and abs(reading.humidity - self.humidity) <= self.humidity_tolerance
        )


def _atmosphere(source: str, *figures: str) -> Atmosphere:
    temperature, its_tolerance, humidity, tolerance = (Decimal(figure) for figure in figures)
    return Atmosphere(temperature, its_tolerance, humidity, tolerance, source)


ISO_139: Final = _atmosphere("ISO 139:2005, standard atmosphere", "20", "2", "65", "4")
ISO_139_ALTERNATIVE: Final = _atmosphere("ISO 139:2005, alternative, by agreement", "23", "2", "50", "4")
D1776_2004: Final = _atmosphere("ASTM D1776-04, from memory", "21", "1", "65", "2")
D1776_2015: Final = _atmosphere("ASTM D1776-15 and later, from memory", "21", "2", "65", "5")


@dataclass(frozen=True, slots=True)
class AirReading:
    """What the logger wrote down: degrees Celsius and percent relative humidity."""

    at: datetime
    temperature: Decimal
    humidity: Decimal


@dataclass(frozen=True, slots=True)
class Span:
    """From one moment to another; in UTC where the records have a time zone."""

    since: datetime
    until: datetime


@dataclass(frozen=True, slots=True)
class Clearance:
    """When the specimen may be measured: during the `spans`, the first of which begins at `ready_at`.

    A span ends where the air left the limits, or where the record ends. While the specimen is not conditioned at the
    end of the record, `expected_at` is when it will be if the air stays as it is; None where that is out of limits.
    `excursions` and `gaps` are all those of the record, whatever the rule makes of them: what a report discloses.
    """

    spans: list[Span]
    expected_at: datetime | None
    excursions: list[Span]
    gaps: list[Span]

    @property
    def ready_at(self) -> datetime | None:
        """The earliest moment; None while there is none."""
        return self.spans[0].since if self.spans else None

    def ready(self, at: datetime) -> bool:
        """Whether the record proves that the specimen is conditioned at this moment."""
        return any(span.since <= at <= span.until for span in self.spans)


@dataclass(frozen=True, slots=True)
class Weighing:
    """The specimen's mass in grams at a moment."""

    at: datetime
    mass_g: Decimal


@dataclass(frozen=True, slots=True)
class Equilibrium:
    """The weighing that showed equal mass, and its `change` from the one it is compared with, in percent of that."""

    at: datetime
    change: Decimal


@own_context
def earliest_measurement(
    *,
    since: datetime,
    rest: timedelta,
    record: Iterable[AirReading],
    limits: Atmosphere,
    excursions: Rule,
    gaps: Rule,
    longest_gap: timedelta,
) -> Clearance:
    """When a specimen that came into the room at `since` has rested there for `rest`, as the `record` proves.

    `rest` is the time for the fibre (`schedule.conditioning_for`: the longest of a blend, the longest of all when it
    is not known). The air between two readings is taken to be within the `limits` when both are and they lie no more
    than `longest_gap` apart. From a reading outside, the excursion lasts from the reading before to the reading after;
    readings further apart are a gap, which is an excursion too when the air is outside at either end. What becomes of
    such a time is a rule for each of the two: "restart" begins the rest anew after it; "extend" does not count it, and
    cloth already conditioned rests as long again as it lasted; "disclose" counts it all the same, to be told in the
    report. The stricter rule holds where both apply. Before the first reading the air is as in that reading.
    ConditioningError for times not above zero, an unknown rule, readings that are not finite, or moments with and
    without time zones together.
    """
    for name, rule in (("excursions", excursions), ("gaps", gaps)):
        if rule not in RULES:
            raise ConditioningError(f"The rule for {name} must be restart, extend or disclose.", code="rule")
    if rest <= timedelta(0) or longest_gap <= timedelta(0):
        raise ConditioningError("The time of rest and the longest gap must be more than nothing.", code="times")
    _check(limits)
    begun, readings = _moment(since, since), _in_order(since, record)
    stretches = _stretches(begun, readings, limits, longest_gap)

    def what_becomes_of(stretch: _Stretch) -> Rule | None:
        rules = [excursions] * stretch.outside + [gaps] * stretch.unseen
        return max(rules, key=RULES.index, default=None)

    clock = _Clock(rest)
    for rule_for, alike in groupby(stretches, key=what_becomes_of):
        (together,) = _joined(stretch.span for stretch in alike)
        clock.run(together, rule_for)
    return Clearance(
        clock.spans,
        _expected(clock, begun, readings, limits, longest_gap),
        _joined(stretch.span for stretch in stretches if stretch.outside),
        _joined(stretch.span for stretch in stretches if stretch.unseen),
    )


@own_context
def equal_mass(
    weighings: Iterable[Weighing], *, apart: timedelta = timedelta(hours=2), within: Decimal = Decimal("0.25")
) -> Equilibrium | None:
    """The first weighing that shows the specimen in equilibrium with the air; None while there is none.

    Two successive weighings at least `apart` differ by less than `within` percent of the earlier mass; a weighing made
    sooner is compared with the newest that is long enough ago. ISO 139: 2 h and 0.25 % (from memory). ConditioningError
    for times or limits not above zero, masses not above zero, or moments with and without time zones together.
    """
    if apart <= timedelta(0):
        raise ConditioningError("The time between two weighings must be more than nothing.", code="times")
    limit = positive(within, "The allowed difference of mass", ConditioningError)
    given = list(weighings)
    made = sorted(
        (_moment(w.at, given[0].at), positive(w.mass_g, "The mass of the specimen", ConditioningError)) for w in given
    )
    for n, (at, mass) in enumerate(made):
        earlier = [before for then, before in made[:n] if at - then >= apart]
        if earlier and abs(mass - earlier[-1]) * 100 < limit * earlier[-1]:
            return Equilibrium(at, settle(100 * (mass - earlier[-1]) / earlier[-1]))
    return None


@dataclass(frozen=True, slots=True)
class _Stretch:
    """From one reading to the next: whether the air was `outside` the limits at either end, or long `unseen`."""

    span: Span
    outside: bool
    unseen: bool


class _Clock:
    """How long the specimen has rested, and the spans during which it was conditioned."""

    def __init__(self, rest: timedelta) -> None:
        self.rest = rest
        self.counted = timedelta(0)
        self.spans: list[Span] = []

    @property
    def done(self) -> bool:
        return self.counted >= self.rest

    def run(self, span: Span, rule: Rule | None) -> None:
        """Let the time of `span` count, or not, as the rule has it; None and "disclose" count it."""
        if rule == "restart":
            self.counted = timedelta(0)
        elif rule == "extend":
            if self.done:
                self.counted = max(timedelta(0), self.rest - (span.until - span.since))
        elif self.done:
            self.spans[-1] = Span(self.spans[-1].since, span.until)
        else:
            ready_at = span.since + self.rest - self.counted
            self.counted = min(self.rest, self.counted + (span.until - span.since))
            if self.done:
                self.spans.append(Span(ready_at, span.until))


def _check(limits: Atmosphere) -> None:
    number(limits.temperature, "The temperature of the atmosphere", ConditioningError)
    number(limits.humidity, "The humidity of the atmosphere", ConditioningError)
    for tolerance in (limits.temperature_tolerance, limits.humidity_tolerance):
        if number(tolerance, "A tolerance of the atmosphere", ConditioningError) < 0:
            raise ConditioningError("A tolerance of the atmosphere must not be negative.", code="tolerance")


def _moment(at: datetime, like: datetime) -> datetime:
    """In UTC, where hours are always as long as they say; without a time zone as it is."""
    if not isinstance(at, datetime) or (at.tzinfo is None) is not (like.tzinfo is None):
        raise ConditioningError("Give all moments with a time zone, or all without.", code="time_zone")
    return at if at.tzinfo is None else at.astimezone(UTC)


def _in_order(since: datetime, record: Iterable[AirReading]) -> list[AirReading]:
    readings = [
        AirReading(
            _moment(reading.at, since),
            number(reading.temperature, "A temperature of the record", ConditioningError),
            number(reading.humidity, "A humidity of the record", ConditioningError),
        )
        for reading in record
    ]
    return sorted(readings, key=lambda reading: reading.at)


def _stretches(
    since: datetime, readings: list[AirReading], limits: Atmosphere, longest_gap: timedelta
) -> list[_Stretch]:
    earlier = [reading for reading in readings if reading.at <= since]
    later = readings[len(earlier) :]
    if not earlier and later:
        first = later[0]
        earlier = [AirReading(since, first.temperature, first.humidity)]
    return [
        _Stretch(
            Span(max(since, before.at), after.at),
            outside=not (limits.holds(before) and limits.holds(after)),
            unseen=after.at - before.at > longest_gap,
        )
        for before, after in pairwise([*earlier[-1:], *later])
    ]


def _joined(spans: Iterable[Span]) -> list[Span]:
    """Spans that follow on one another made into one."""
    joined: list[Span] = []
    for span in spans:
        if joined and joined[-1].until == span.since:
            joined[-1] = Span(joined[-1].since, span.until)
        else:
            joined.append(span)
    return joined


def _expected(
    clock: _Clock, since: datetime, readings: list[AirReading], limits: Atmosphere, longest_gap: timedelta
) -> datetime | None:
    """When the rest will be over if the air stays as it was last seen."""
    if clock.done or not readings or not limits.holds(readings[-1]) or since - readings[-1].at > longest_gap:
        return None
    return max(since, readings[-1].at) + clock.rest - clock.counted
