"""Dates and times as loggers write them. Pure."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from enum import StrEnum


class Dates(StrEnum):
    """Which of day and month comes first where the year does not."""

    SEEN = ""  # as can be seen in the file
    DAY_FIRST = "day"
    MONTH_FIRST = "month"


class NoMoment(Exception):
    """This is no moment; the sentence says why."""


MOMENT = re.compile(
    r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})(?:,?[T ]\s*)(\d{1,2})[:.](\d{2})(?:[:.](\d{2})(?:[.,](\d{1,9}))?)?"
    r"\s*([AP]\.?M\.?)?\s*(Z|UTC|GMT|[+-]\d{2}:?\d{2})?",
    re.ASCII | re.IGNORECASE,
)


def date_order(texts: Iterable[str], told: Dates) -> Dates | None:
    """Day or month first: as told, or as a day above twelve gives away. None where it cannot be seen."""
    if told:
        return told
    unsure = False
    for text in texts:
        match = MOMENT.fullmatch(text)
        if not match or len(match[1]) == 4 or match[2] == ".":
            continue
        first, second = int(match[1]), int(match[3])
        if first > 12:
            return Dates.DAY_FIRST
        if second > 12:
            return Dates.MONTH_FIRST
        unsure = True
    return None if unsure else Dates.DAY_FIRST


def read_moment(text: str, order: Dates, clock: tzinfo) -> datetime:
    """The moment in UTC. `clock` is where the logger's clock stood, unless the text says so itself."""
    match = MOMENT.fullmatch(text)
    if not match:
        raise NoMoment(
            "This is no date and time. Write it as 2026-03-02 14:05." if text else "The date and time are missing."
        )
    first, dot, second, third, hour, minute, seconds, fraction, half, offset = match.groups()
    if len(first) == 4:
        year, month, day = first, second, third
    elif order == Dates.MONTH_FIRST and dot != ".":
        month, day, year = first, second, third
    else:
        day, month, year = first, second, third
    if len(year) not in (2, 4):
        raise NoMoment("This is no date and time. Write it as 2026-03-02 14:05.")
    try:
        moment = datetime(
            int(year) + (2000 if len(year) == 2 else 0),
            int(month),
            int(day),
            _hour(int(hour), half),
            int(minute),
            int(seconds or 0),
            int(f"{fraction or 0:0<6}"[:6]),
        )
        return (moment.replace(tzinfo=_zone(offset)) if offset else _on_clock(moment, clock)).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise NoMoment("There is no such date or time.") from error


def _hour(hour: int, half: str | None) -> int:
    if not half:
        return hour
    if not 1 <= hour <= 12:
        raise ValueError("no such hour of half a day")
    return hour % 12 + (12 if half[0] in "pP" else 0)


def _zone(offset: str) -> tzinfo:
    if offset[0] not in "+-":
        return UTC
    ahead = timedelta(hours=int(offset[1:3]), minutes=int(offset[-2:]))
    return timezone(-ahead if offset[0] == "-" else ahead)


def _on_clock(moment: datetime, clock: tzinfo) -> datetime:
    placed = moment.replace(tzinfo=clock)
    if placed.utcoffset() != placed.replace(fold=1).utcoffset():
        if placed.astimezone(UTC).astimezone(clock).replace(tzinfo=None) == moment:
            raise NoMoment("This hour comes twice on the night the clocks go back. Export the file in UTC.")
        raise NoMoment("This hour is left out on the night the clocks go forward. Is the file in UTC?")
    return placed
