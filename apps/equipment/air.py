"""The air of a conditioning room: tolerance, times outside it, gaps in the log. Pure: no database, no clock.

A reading says how it was at its moment. Between two readings that lie no further apart than the room's longest pause
the air is taken to have been as the earlier one says; a longer pause is a gap, and nothing is said about it.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise

from apps.calc.conditioning import AirReading, Atmosphere
from apps.equipment.figures import plain

TEMPERATURE, HUMIDITY = "temperature", "humidity"
UNITS = {TEMPERATURE: "°C", HUMIDITY: "% RH"}
# What a room can be: anything outside is a slip of the pen, two figures swapped, or a logger's word for a fault.
REACH = {TEMPERATURE: (Decimal(-40), Decimal(60)), HUMIDITY: (Decimal(0), Decimal(100))}
LONGEST_PAUSE = timedelta(minutes=60)

_PLUS_MINUS = r"\s*([0-9]{1,3}(?:\.[0-9]+)?)\s*(?:±|\+/-)\s*([0-9]{1,2}(?:\.[0-9]+)?)\s*"
_BAND = re.compile(rf"{_PLUS_MINUS}°\s*C\s*[,;]{_PLUS_MINUS}%(?:\s*r\.?\s*h\.?)?\s*", re.ASCII | re.IGNORECASE)


def read_band(text: str, source: str) -> Atmosphere | None:
    """An atmosphere as people write it: "21 ± 2 °C, 65 ± 5 % RH"; None where it is written otherwise."""
    match = _BAND.fullmatch(text)
    return Atmosphere(*(Decimal(figure) for figure in match.groups()), source) if match else None


def words(band: Atmosphere) -> str:
    figures = (band.temperature, band.temperature_tolerance, band.humidity, band.humidity_tolerance)
    return "{} ± {} °C, {} ± {} % RH".format(*(plain(figure) for figure in figures))


def limits(band: Atmosphere, quantity: str) -> tuple[Decimal, Decimal]:
    """The lowest and the highest that are still inside."""
    middle, either_way = {
        TEMPERATURE: (band.temperature, band.temperature_tolerance),
        HUMIDITY: (band.humidity, band.humidity_tolerance),
    }[quantity]
    return middle - either_way, middle + either_way


def figure_of(reading: AirReading, quantity: str) -> Decimal:
    return reading.temperature if quantity == TEMPERATURE else reading.humidity


@dataclass(frozen=True)
class Excursion:
    """A time outside the tolerance, told apart for temperature and humidity and for above and below.

    From the first reading outside to the last; `back` is the reading after it that lay inside, None when there is none
    or a gap comes first.
    """

    quantity: str
    above: bool
    since: datetime
    last: datetime
    back: datetime | None
    worst: Decimal
    limit: Decimal
    readings: int

    @property
    def unit(self) -> str:
        return UNITS[self.quantity]


@dataclass(frozen=True)
class Gap:
    """A time without readings, longer than the pause that is allowed."""

    since: datetime
    until: datetime

    @property
    def words(self) -> str:
        """How long: 45 min, 2 h 05 min, 3 days 4 h."""
        minutes = round((self.until - self.since).total_seconds() / 60)
        hours, rest = divmod(minutes, 60)
        if hours < 1:
            return f"{rest} min"
        if hours < 48:
            return f"{hours} h {rest:02} min"
        return f"{hours // 24} days {hours % 24} h"


@dataclass(frozen=True)
class Span:
    """The readings between two moments in short; nothing is known of it where `readings` is 0."""

    since: datetime
    until: datetime
    readings: int
    outside: int
    temperature: tuple[Decimal, Decimal] | None
    humidity: tuple[Decimal, Decimal] | None


def excursions(readings: Sequence[AirReading], band: Atmosphere, longest: timedelta = LONGEST_PAUSE) -> list[Excursion]:
    """Every time outside the band, oldest first. `readings` run from old to new."""
    found = [each for quantity in UNITS for each in _excursions_of(quantity, readings, band, longest)]
    return sorted(found, key=lambda each: (each.since, each.quantity))


def _excursions_of(
    quantity: str, readings: Sequence[AirReading], band: Atmosphere, longest: timedelta
) -> Iterator[Excursion]:
    low, high = limits(band, quantity)
    run: list[AirReading] = []
    side = 0  # 1 above the tolerance, -1 below it, 0 inside
    for reading in readings:
        now = (figure_of(reading, quantity) > high) - (figure_of(reading, quantity) < low)
        broken = bool(run) and reading.at - run[-1].at > longest
        if run and (broken or now != side):
            yield _excursion(quantity, run, side, band, None if broken or now else reading.at)
            run = []
        if now:
            run.append(reading)
        side = now
    if run:
        yield _excursion(quantity, run, side, band, None)


def _excursion(
    quantity: str, run: Sequence[AirReading], side: int, band: Atmosphere, back: datetime | None
) -> Excursion:
    values = [figure_of(reading, quantity) for reading in run]
    low, high = limits(band, quantity)
    return Excursion(
        quantity=quantity,
        above=side > 0,
        since=run[0].at,
        last=run[-1].at,
        back=back,
        worst=max(values) if side > 0 else min(values),
        limit=high if side > 0 else low,
        readings=len(run),
    )


def gaps(
    readings: Sequence[AirReading], since: datetime, until: datetime, longest: timedelta = LONGEST_PAUSE
) -> list[Gap]:
    """Pauses longer than allowed between `since` and `until`, before the first and after the last reading too."""
    moments = [since, *(reading.at for reading in readings if since <= reading.at <= until), until]
    return [Gap(before, after) for before, after in pairwise(moments) if after - before > longest]


def spans(readings: Sequence[AirReading], edges: Iterable[datetime], band: Atmosphere) -> list[Span]:
    """The readings in short between each edge and the next; a reading on an edge belongs to the later span."""
    found, place = [], 0
    for since, until in pairwise(edges):
        within = []
        while place < len(readings) and readings[place].at < until:
            if readings[place].at >= since:
                within.append(readings[place])
            place += 1
        found.append(_span(since, until, within, band))
    return found


def _span(since: datetime, until: datetime, within: Sequence[AirReading], band: Atmosphere) -> Span:
    outside = sum(not band.holds(reading) for reading in within)
    reach: dict[str, tuple[Decimal, Decimal] | None] = dict.fromkeys(UNITS)
    for quantity in UNITS:
        if values := [figure_of(reading, quantity) for reading in within]:
            reach[quantity] = (min(values), max(values))
    return Span(since, until, len(within), outside, reach[TEMPERATURE], reach[HUMIDITY])
