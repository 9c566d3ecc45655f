"""The earliest possible finish: worked by hand on a calendar, and what must always hold."""

from datetime import datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import ScheduleError
from apps.calc.schedule import HOURS, LONGEST, WorkingHours, conditioning_for, earliest_finish

from .support import refusal, steady

DAY = WorkingHours(time(8), time(17))
MONDAY = datetime(2026, 3, 2, 8, 0)
PLAIN = {
    "start": MONDAY,
    "cycles": 1,
    "measured_after": (1,),
    "wash": timedelta(minutes=60),
    "dry": timedelta(minutes=60),
    "dries_alone": False,
    "conditioning": timedelta(hours=4),
    "hours": DAY,
}


def plan(**other):
    return earliest_finish(**{**PLAIN, **other})


def test_one_cycle_within_a_day_and_a_night():
    """08:00 conditioning, 12:00 read, wash to 13:00, dry to 14:00, condition to 18:00, read when the lab opens."""
    done = plan()
    assert [(step.what, step.begins.hour, step.ends.hour) for step in done.steps] == [
        ("conditioning", 8, 12),
        ("first reading", 12, 12),
        ("wash 1", 12, 13),
        ("drying 1", 13, 14),
        ("conditioning after cycle 1", 14, 18),
        ("reading after cycle 1", 8, 8),
    ]
    assert done.finish == datetime(2026, 3, 3, 8, 0)


def test_a_cycle_that_is_not_measured_needs_no_conditioning():
    three = plan(cycles=3, measured_after=(1, 3))
    assert [step.what for step in three.steps if "conditioning" in step.what] == [
        "conditioning",
        "conditioning after cycle 1",
        "conditioning after cycle 3",
    ]
    # Tuesday 08:00 wash 2, dry 2, wash 3, dry 3 to 12:00, conditioning to 16:00.
    assert three.finish == datetime(2026, 3, 3, 16, 0)


def test_the_last_cycle_is_always_measured():
    assert plan(cycles=3, measured_after=(1,)).finish == plan(cycles=3, measured_after=(1, 3)).finish


def test_no_wash_begins_that_would_end_after_closing():
    late = plan(start=datetime(2026, 3, 2, 12, 30))
    wash = next(step for step in late.steps if step.what == "wash 1")
    assert wash.begins == datetime(2026, 3, 3, 8, 0)


def test_what_comes_on_friday_evening_begins_on_monday():
    assert plan(start=datetime(2026, 3, 6, 17, 30)).steps[0].begins == datetime(2026, 3, 9, 8, 0)


def test_conditioning_goes_on_over_the_week_end():
    done = plan(start=datetime(2026, 3, 6, 16, 0), conditioning=timedelta(hours=8))
    assert done.steps[0].ends == datetime(2026, 3, 7, 0, 0)
    assert done.steps[1].begins == datetime(2026, 3, 9, 8, 0)


def test_line_drying_goes_on_overnight_where_a_dryer_would_not():
    hung = plan(dry=timedelta(hours=16), dries_alone=True)
    assert next(step for step in hung.steps if step.what == "drying 1").ends == datetime(2026, 3, 3, 5, 0)
    refusal(plan, dry=timedelta(hours=16))


def test_a_lab_that_works_on_saturday():
    six = WorkingHours(time(8), time(17), range(6))
    assert plan(start=datetime(2026, 3, 6, 17, 30), hours=six).steps[0].begins == datetime(2026, 3, 7, 8, 0)


# Hours from ASTM D1776 table 2 as the catalogue has them (from memory of the standard; the lab confirms them).
@pytest.mark.parametrize(
    ("fibre", "hours", "why"),
    [
        ("100 % cotton", 6, "cotton"),
        ("65% polyester 35% COTTON", 6, "cotton, the slowest of the blend"),
        ("Polyester", 2, "polyester"),
        ("recycled polyester", 2, "polyester"),
        ("50/50 acetate and nylon", 4, "acetate, the slowest of the blend"),
        ("wool 80, polyamide 20", 8, "wool, the slowest of the blend"),
        ("", LONGEST, "fibre not known: the longest time"),
        ("  100 % ", LONGEST, "fibre not known: the longest time"),
        ("95 % polyester, 5 % zylofil", LONGEST, "“zylofil” is not in the table: the longest time"),
        ("Bäumwolle 🧵", LONGEST, "“bäumwolle” is not in the table: the longest time"),
    ],
)
def test_conditioning_by_fibre(fibre, hours, why):
    found = conditioning_for(fibre)
    assert (found.hours, found.why) == (hours, why)
    assert found.source and found.confidence == "M"


def test_a_very_long_word_does_not_make_a_very_long_reason():
    assert len(conditioning_for("q" * 10_000).why) < 80


BAD = [
    ({"cycles": 0}, "cycles"),
    ({"cycles": 51, "measured_after": ()}, "cycles"),
    ({"measured_after": (2,)}, "measured_after"),
    ({"measured_after": (0,)}, "measured_after"),
    ({"wash": timedelta(minutes=-1)}, "length"),
    ({"conditioning": timedelta(days=8)}, "length"),
    ({"wash": timedelta(hours=9, minutes=1)}, "no_room"),
    ({"hours": WorkingHours(time(17), time(8))}, "hours"),
    ({"hours": WorkingHours(time(8), time(17), ())}, "hours"),
    ({"hours": WorkingHours(time(8), time(17), (7,))}, "hours"),
]


@pytest.mark.parametrize(("other", "code"), BAD)
def test_what_cannot_be_planned(other, code):
    error = refusal(plan, **other)
    assert isinstance(error, ScheduleError)
    assert error.code == code


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1)),
    st.integers(1, 12),
    st.sets(st.integers(1, 12)),
    st.integers(0, 540),
    st.integers(0, 540),
    st.booleans(),
    st.integers(0, 48),
    st.sets(st.integers(0, 6), min_size=1),
)
@steady
def test_what_always_holds(start, cycles, measured, wash, dry, alone, hours, days):
    measured = {cycle for cycle in measured if cycle <= cycles}
    working = WorkingHours(time(8), time(17), frozenset(days))
    done = earliest_finish(
        start=start,
        cycles=cycles,
        measured_after=measured,
        wash=timedelta(minutes=wash),
        dry=timedelta(minutes=dry),
        dries_alone=alone,
        conditioning=timedelta(hours=hours),
        hours=working,
    )
    assert done.steps[0].begins >= start
    for before, step in zip(done.steps, done.steps[1:], strict=False):
        assert step.begins >= before.ends
        assert step.begins.weekday() in days
        assert time(8) <= step.begins.time() <= time(17)
        if step.what.startswith("wash"):
            assert step.ends.date() == step.begins.date()
            assert step.ends.time() <= time(17)
    assert done.finish == done.steps[-1].ends
    assert sum(step.what.startswith("wash") for step in done.steps) == cycles


def test_a_longer_way_never_ends_sooner():
    ends = [plan(cycles=n, measured_after=()).finish for n in range(1, 20)]
    assert ends == sorted(ends)
    assert set(HOURS.values()) == {2, 4, 6, 8}
