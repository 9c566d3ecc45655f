"""How a specimen rests before it is read. Rows in, words out: no query, no clock."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.utils import timezone

from apps.calc import conditioning
from apps.calc.conditioning import AirReading, Atmosphere, Span
from apps.calc.schedule import Conditioning
from apps.measuring.models import RackStay, Weighing

MASS, LOG, CLOCK = "mass", "log", "clock"
BASIS = {
    MASS: "shown by equal mass",
    LOG: "shown by the log of the air",
    CLOCK: "by the hours alone, no log of the air is kept",
}


@dataclass(frozen=True)
class Air:
    """The record of a room and what it must hold to; empty where nobody keeps one."""

    record: Sequence[AirReading]
    limits: Atmosphere
    longest: timedelta


@dataclass(frozen=True)
class Rest:
    """How a specimen stands at a moment. `ready_at`: conditioned from then on; else `expected_at`, if the air stays.

    `basis` says what shows it. `log_ends`: the last reading of the air, where that is too long ago. `excursions` and
    `gaps` are those of its time on the rack, which a report discloses.
    """

    need: Conditioning
    stay: RackStay | None = None
    ready: bool = False
    ready_at: datetime | None = None
    expected_at: datetime | None = None
    basis: str = ""
    log_ends: datetime | None = None
    excursions: Sequence[Span] = field(default=())
    gaps: Sequence[Span] = field(default=())

    @property
    def words(self) -> str:
        """What people see: conditioning since 09:40, may be measured from 13:40."""
        if self.stay is None:
            return f"not on the rack yet; {self.need.hours} h in the room's air ({self.need.why})"
        if self.ready and self.ready_at:
            return f"conditioned since {clock_time(self.ready_at)}"
        since = f"conditioning since {clock_time(self.stay.since)}"
        if self.expected_at:
            return f"{since}, may be measured from {clock_time(self.expected_at)}"
        if self.log_ends:
            return f"{since}; the log of the air ends {clock_time(self.log_ends)}: bring it up to date"
        return f"{since}; the air is out of its limits, and its hours do not run"


def rest_of(
    stay: RackStay | None,
    need: Conditioning,
    *,
    air: Air | None,
    excursions: conditioning.Rule,
    gaps: conditioning.Rule,
    weighings: Iterable[Weighing],
    at: datetime,
) -> Rest:
    """How it stands at this moment: by equal mass, by the log, or by the clock where there is no log."""
    if stay is None or stay.since > at:
        return Rest(need)
    hours = timedelta(hours=need.hours)
    clearance = None
    if air and air.record:
        clearance = conditioning.earliest_measurement(
            since=stay.since,
            rest=hours,
            record=[reading for reading in air.record if reading.at <= at],
            limits=air.limits,
            excursions=excursions,
            gaps=gaps,
            longest_gap=air.longest,
        )
    found = {"excursions": clearance.excursions, "gaps": clearance.gaps} if clearance else {}
    weighed = [conditioning.Weighing(w.at, w.mass_g) for w in weighings if stay.since <= w.at <= at]
    if weighed and (equal := conditioning.equal_mass(weighed)):
        return Rest(need, stay, True, equal.at, None, MASS, **found)
    if clearance is None:
        over = stay.since + hours
        return Rest(need, stay, over <= at, over if over <= at else None, over, CLOCK)
    span = next((span for span in reversed(clearance.spans) if _holds(span, at, air)), None)
    expected = clearance.expected_at
    if expected and expected <= at:  # the log is a little behind
        return Rest(need, stay, True, expected, None, LOG, **found)
    last = max((reading.at for reading in air.record if reading.at <= at), default=None)
    ends = last if last and not span and at - last > air.longest else None
    return Rest(need, stay, span is not None, span.since if span else None, expected, LOG, ends, **found)


def _holds(span: Span, at: datetime, air: Air) -> bool:
    """Whether it is conditioned at the moment, or was at the last reading, which is not long ago."""
    return span.since <= at <= span.until or span.until == air.record[-1].at.astimezone(span.until.tzinfo) <= at <= (
        span.until + air.longest
    )


def clock_time(moment: datetime) -> str:
    """09:40 on the lab's clock, with the day where it is another than today's reader may think."""
    return f"{timezone.localtime(moment):%d %b %H:%M}"
