"""The earliest possible finish of a test, from conditioning, wash and drying times and the lab's working hours.

A planning aid: it takes for granted that a machine and a pair of hands are free at once, so no true finish comes
before it. Times are on the lab's own clock, without a time zone; a change to summer time is not reckoned with.
"""

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Final

from .errors import ScheduleError

D1776: Final = "ASTM D1776 table 2, from memory of the standard, not seen"
OURS: Final = "the lab's own caution"
MOST_CYCLES: Final = 50
MOST_DAYS: Final = 366

# Hours of conditioning and the fibres that take so long (ASTM D1776 table 2). The last row is told there by its
# moisture regain, under 5 % at 65 % relative humidity; elastane and polypropylene are ours to put there.
TABLE: Final[dict[int, tuple[str, ...]]] = {
    8: (
        *("wool", "worsted", "merino", "lambswool", "cashmere", "mohair", "alpaca", "camel", "angora", "silk"),
        *("viscose", "rayon", "modal"),
    ),
    6: ("cotton", "linen", "flax", "hemp", "ramie", "jute"),
    4: ("acetate", "triacetate"),
    2: ("polyester", "pes", "pet", "polyamide", "nylon", "acrylic", "elastane", "spandex", "polypropylene"),
}
HOURS: Final[dict[str, int]] = {fibre: hours for hours, fibres in TABLE.items() for fibre in fibres}
LONGEST: Final = max(TABLE)
# Words that stand beside a fibre and say nothing about how long it takes.
BESIDE: Final = frozenset(
    (
        *("and", "with", "of", "the", "virgin", "recycled", "organic", "combed", "carded"),
        *("ring", "spun", "pure", "fine", "pima", "egyptian"),
    )
)


@dataclass(frozen=True)
class Conditioning:
    """How long cloth rests in the standard atmosphere before it is read; `why` names the fibre that decides."""

    hours: int
    why: str
    source: str
    confidence: str  # H high, M medium, L low


@dataclass(frozen=True)
class WorkingHours:
    """When there are people in the lab. `days`: 0 is Monday."""

    opens: time
    closes: time
    days: Collection[int] = (0, 1, 2, 3, 4)


@dataclass(frozen=True)
class Step:
    what: str
    begins: datetime
    ends: datetime


@dataclass(frozen=True)
class Plan:
    steps: list[Step]

    @property
    def finish(self) -> datetime:
        return self.steps[-1].ends


def conditioning_for(fibre: str) -> Conditioning:
    """The conditioning of a fibre content as it was written down ("65 % cotton, 35 % polyester").

    A blend takes the longest of its fibres; nothing written, or a fibre that is not in the table, the longest of all.
    """
    words = [word for word in re.findall(r"[^\W\d_]+", fibre.casefold()) if word not in BESIDE]
    strange = [word for word in words if word not in HOURS]
    if not words:
        return Conditioning(LONGEST, "fibre not known: the longest time", OURS, "M")
    if strange:
        return Conditioning(LONGEST, f"“{strange[0][:30]}” is not in the table: the longest time", OURS, "M")
    slowest = max(words, key=lambda word: HOURS[word])
    why = slowest if len(set(words)) == 1 else f"{slowest}, the slowest of the blend"
    return Conditioning(HOURS[slowest], why, D1776, "M")


def earliest_finish(
    *,
    start: datetime,
    cycles: int,
    measured_after: Collection[int],
    wash: timedelta,
    dry: timedelta,
    dries_alone: bool,
    conditioning: timedelta,
    hours: WorkingHours,
) -> Plan:
    """The shortest way from `start` to the last reading.

    Conditioning before the first reading, then wash and drying for each cycle, and after each measured cycle
    conditioning again. Somebody is there when a step begins and when a machine ends; conditioning and, with
    `dries_alone`, drying go on through the night. Reading itself is taken to need no time.
    ScheduleError for cycles outside 1 to 50, a measured cycle outside them, negative times, or hours in which a wash
    never fits.
    """
    _check(cycles, measured_after, (wash, dry, conditioning), hours)
    steps: list[Step] = []

    def add(what: str, length: timedelta, *, attended: bool) -> None:
        since = steps[-1].ends if steps else start
        begins = _next_moment(since, length if attended else timedelta(0), hours)
        steps.append(Step(what, begins, begins + length))

    add("conditioning", conditioning, attended=False)
    add("first reading", timedelta(0), attended=True)
    for cycle in range(1, cycles + 1):
        add(f"wash {cycle}", wash, attended=True)
        add(f"drying {cycle}", dry, attended=not dries_alone)
        if cycle in measured_after or cycle == cycles:
            add(f"conditioning after cycle {cycle}", conditioning, attended=False)
            add(f"reading after cycle {cycle}", timedelta(0), attended=True)
    return Plan(steps)


def _next_moment(since: datetime, length: timedelta, hours: WorkingHours) -> datetime:
    """The first moment from `since` on at which a step of this length fits between opening and closing."""
    for ahead in range(MOST_DAYS):
        day = since.date() + timedelta(days=ahead)
        if day.weekday() not in hours.days:
            continue
        begins = max(since, datetime.combine(day, hours.opens))
        if begins + length <= datetime.combine(day, hours.closes):
            return begins
    raise ScheduleError("A step does not fit between opening and closing time. Check the lab's hours.", code="no_room")


def _check(cycles: int, measured_after: Collection[int], lengths: Collection[timedelta], hours: WorkingHours) -> None:
    if not 1 <= cycles <= MOST_CYCLES:
        raise ScheduleError(f"Between 1 and {MOST_CYCLES} cycles.", code="cycles")
    if any(not 1 <= cycle <= cycles for cycle in measured_after):
        raise ScheduleError(f"Measured after cycles between 1 and {cycles}.", code="measured_after")
    if any(length < timedelta(0) or length > timedelta(days=7) for length in lengths):
        raise ScheduleError("A step takes between nothing and a week. Check the lab's times.", code="length")
    if hours.opens >= hours.closes:
        raise ScheduleError("The lab must open before it closes. Check the lab's hours.", code="hours")
    if not hours.days or any(day not in range(7) for day in hours.days):
        raise ScheduleError("The lab works on at least one day of the week.", code="hours")
