"""Since when a specimen may be measured: worked by hand on a clock, and against a walk minute by minute."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal as D
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.conditioning import (
    D1776_2004,
    D1776_2015,
    ISO_139,
    ISO_139_ALTERNATIVE,
    AirReading,
    Atmosphere,
    Weighing,
    earliest_measurement,
    equal_mass,
)
from apps.calc.errors import ConditioningError
from apps.calc.schedule import conditioning_for

from .support import refusal, steady

MIDNIGHT = datetime(2026, 3, 2, tzinfo=UTC)


def at(text):
    """ "09:40" as that moment of the day; hours may run on past 24."""
    hours, minutes = text.split(":")
    return MIDNIGHT + timedelta(hours=int(hours), minutes=int(minutes))


def air(begin, end, *, out=(), left_out=(), every=10):
    """Readings every ten minutes; `out` at 24 degrees, `left_out` not written down."""
    record, moment = [], at(begin)
    while moment <= at(end):
        text = f"{int((moment - MIDNIGHT).total_seconds()) // 3600:02}:{moment.minute:02}"
        if text not in left_out:
            record.append(AirReading(moment, D(24 if text in out else 20), D(65)))
        moment += timedelta(minutes=every)
    return record


def cleared(record, since="09:00", hours=4, **other):
    rules = {"excursions": "restart", "gaps": "restart", "limits": ISO_139, "longest_gap": timedelta(minutes=30)}
    return earliest_measurement(since=at(since), rest=timedelta(hours=hours), record=record, **{**rules, **other})


def told(spans):
    return [(f"{span.since:%H:%M}", f"{span.until:%H:%M}") for span in spans]


def test_four_quiet_hours():
    clearance = cleared(air("08:00", "14:00"))
    assert clearance.ready_at == at("13:00")
    assert told(clearance.spans) == [("13:00", "14:00")]
    assert (clearance.expected_at, clearance.excursions, clearance.gaps) == (None, [], [])
    assert clearance.ready(at("13:00")) and clearance.ready(at("14:00"))
    assert not clearance.ready(at("12:59")) and not clearance.ready(at("14:01"))


def test_not_yet_and_when_it_will_be():
    clearance = cleared(air("08:00", "12:00"))
    assert (clearance.ready_at, clearance.expected_at) == (None, at("13:00"))
    assert cleared(air("08:00", "08:50")).expected_at == at("13:00")  # seen ten minutes ago
    assert cleared(air("08:00", "08:20")).expected_at is None  # seen forty minutes ago
    assert cleared([]).expected_at is None
    assert cleared(air("08:00", "12:00", out=["12:00"])).expected_at is None


# Out of limits at 11:00 only, so outside from 10:50 to 11:10: two hours less ten minutes had counted.
@pytest.mark.parametrize(
    ("rule", "ready"),
    [("restart", "15:10"), ("extend", "13:20"), ("disclose", "13:00")],
)
def test_what_becomes_of_an_excursion(rule, ready):
    clearance = cleared(air("08:00", "16:00", out=["11:00"]), excursions=rule)
    assert clearance.ready_at == at(ready)
    assert told(clearance.excursions) == [("10:50", "11:10")]
    assert clearance.gaps == []


# Nothing written down from 10:40 to 11:30.
@pytest.mark.parametrize(("rule", "ready"), [("restart", "15:30"), ("extend", "13:50"), ("disclose", "13:00")])
def test_what_becomes_of_a_gap_in_the_logger(rule, ready):
    clearance = cleared(air("08:00", "16:00", left_out=["10:50", "11:00", "11:10", "11:20"]), gaps=rule)
    assert clearance.ready_at == at(ready)
    assert told(clearance.gaps) == [("10:40", "11:30")]
    assert clearance.excursions == []


def test_half_an_hour_between_readings_is_no_gap():
    assert cleared(air("08:00", "16:00", left_out=["10:50", "11:00"])).gaps == []


def test_of_two_rules_the_stricter_holds():
    record = air("08:00", "16:00", out=["11:30"], left_out=["10:50", "11:00", "11:10", "11:20"])
    clearance = cleared(record, excursions="disclose", gaps="extend")
    # The gap is an excursion too; of 10:40 to 11:40 the gap's 50 minutes do not count, the last ten do.
    assert (told(clearance.excursions), told(clearance.gaps)) == ([("10:40", "11:40")], [("10:40", "11:30")])
    assert clearance.ready_at == at("13:50")


# Conditioned at 13:00; then outside from 15:00 to 15:40.
@pytest.mark.parametrize(
    ("rule", "spans"),
    [
        ("restart", [("13:00", "15:00"), ("19:40", "21:00")]),
        ("extend", [("13:00", "15:00"), ("16:20", "21:00")]),  # rests as long again
        ("disclose", [("13:00", "21:00")]),
    ],
)
def test_cloth_that_was_conditioned_and_left_alone(rule, spans):
    clearance = cleared(air("08:00", "21:00", out=["15:10", "15:20", "15:30"]), excursions=rule)
    assert told(clearance.spans) == spans
    assert clearance.ready(at("15:20")) is (rule == "disclose")
    assert clearance.ready_at == at("13:00")


def test_cloth_that_was_outside_all_night_rests_in_full():
    record = air("08:00", "21:00", out=[f"{h}:{m:02}" for h in (14, 15, 16) for m in range(0, 60, 10)])
    assert told(cleared(record, hours=2, excursions="extend").spans) == [("11:00", "13:50"), ("19:00", "21:00")]


def test_the_record_must_reach_back_to_the_arrival():
    late = air("10:00", "16:00")
    assert cleared(late).ready_at == at("14:00")
    assert told(cleared(late).gaps) == [("09:00", "10:00")]
    assert cleared(late, gaps="disclose").ready_at == at("13:00")
    assert cleared(air("09:20", "16:00")).ready_at == at("13:00")
    assert told(cleared(air("09:20", "16:00", out=["09:20"])).excursions) == [("09:00", "09:30")]


def test_humidity_counts_and_the_edge_lies_inside():
    for temperature, humidity, inside in [
        ("22", "69", True),
        ("18", "61", True),
        ("22.1", "65", False),
        ("20", "60.9", False),
    ]:
        record = [AirReading(at("09:00"), D(temperature), D(humidity)), AirReading(at("09:30"), D(20), D(65))]
        assert (cleared(record).excursions == []) is inside


def test_the_atmospheres_of_the_standards():
    # ISO 139:2005 as quoted in public; D1776 from memory.
    figures = [(a.temperature, a.temperature_tolerance, a.humidity, a.humidity_tolerance) for a in ATMOSPHERES]
    assert figures == [(20, 2, 65, 4), (23, 2, 50, 4), (21, 1, 65, 2), (21, 2, 65, 5)]
    assert all(a.source for a in ATMOSPHERES)


ATMOSPHERES = [ISO_139, ISO_139_ALTERNATIVE, D1776_2004, D1776_2015]


@pytest.mark.parametrize(
    ("fibre", "ready"),
    [("100 % polyester", "11:00"), ("50 % cotton 50 % polyester", "15:00"), ("merino", "17:00"), ("", "17:00")],
)
def test_the_slowest_fibre_decides(fibre, ready):
    hours = conditioning_for(fibre).hours
    assert cleared(air("08:00", "20:00"), hours=hours).ready_at == at(ready)


def test_an_hour_lost_to_summer_time_is_not_rested():
    berlin = ZoneInfo("Europe/Berlin")
    since = datetime(2026, 3, 28, 22, 0, tzinfo=berlin)  # clocks go from 2 to 3 at night
    record = [AirReading(since + timedelta(hours=h), D(20), D(65)) for h in range(14)]
    clearance = earliest_measurement(
        since=since,
        rest=timedelta(hours=8),
        record=record,
        limits=ISO_139,
        excursions="restart",
        gaps="restart",
        longest_gap=timedelta(hours=2),
    )
    assert clearance.ready_at.astimezone(berlin).hour == 7  # by the clock on the wall nine hours
    assert clearance.ready(datetime(2026, 3, 29, 7, 0, tzinfo=berlin))


def test_a_lab_without_time_zones():
    naive = [AirReading(r.at.replace(tzinfo=None), r.temperature, r.humidity) for r in air("08:00", "14:00")]
    clearance = earliest_measurement(
        since=datetime(2026, 3, 2, 9),
        rest=timedelta(hours=4),
        record=naive,
        limits=ISO_139,
        excursions="restart",
        gaps="restart",
        longest_gap=timedelta(minutes=30),
    )
    assert clearance.ready_at == datetime(2026, 3, 2, 13)
    assert refusal(cleared, naive).code == "time_zone"


@pytest.mark.parametrize(
    ("other", "code"),
    [
        ({"excursions": "ignore"}, "rule"),
        ({"gaps": None}, "rule"),
        ({"hours": 0}, "times"),
        ({"longest_gap": timedelta(0)}, "times"),
        ({"limits": Atmosphere(D(20), D(-1), D(65), D(4))}, "tolerance"),
        ({"limits": Atmosphere(D(20), D(2), D("NaN"), D(4))}, "not_finite"),
        ({"limits": Atmosphere(20.0, D(2), D(65), D(4))}, "not_exact"),
        ({"record": [AirReading(at("09:00"), D("NaN"), D(65))]}, "not_finite"),
        ({"record": [AirReading(at("09:00"), D(20), 65.0)]}, "not_exact"),
        ({"record": [AirReading("09:00", D(20), D(65))]}, "time_zone"),
    ],
)
def test_a_record_must_be_sound(other, code):
    record = other.pop("record", air("08:00", "14:00"))
    error = refusal(cleared, record, **other)
    assert isinstance(error, ConditioningError)
    assert error.code == code


def by_the_minute(since, rest, minutes, rules, longest_gap):
    """The conditioned minutes, walking along: `minutes` maps a minute to whether the air was in limits then."""
    seen = sorted(minutes)
    effects = {}

    def note(begin, end, *faults):
        for minute in range(begin, end):
            effects[minute] = next((rule for rule in ("restart", "extend", "disclose") if rule in faults), None)

    for before, after in pairwise(seen):
        outside, unseen = not (minutes[before] and minutes[after]), after - before > longest_gap
        note(before, after, outside and rules[0], unseen and rules[1])
    if seen and seen[0] > since:
        note(since, seen[0], not minutes[seen[0]] and rules[0], seen[0] - since > longest_gap and rules[1])
    rested, lost, ready = 0, 0, []
    for minute in range(since, seen[-1] if seen else since):
        effect = effects[minute]
        if effect == "restart":
            rested = lost = 0
        elif effect == "extend":
            if rested >= rest or lost:
                lost += 1
                rested = max(0, rest - lost)
        else:
            lost = 0
            rested += 1
        if effect not in ("restart", "extend") and rested > rest:
            ready.append(minute)
    return ready


kinds = st.sampled_from(["restart", "extend", "disclose"])


@given(
    st.dictionaries(st.integers(0, 90), st.sampled_from([True, True, True, True, False]), max_size=25),
    st.integers(0, 40),
    st.integers(1, 30),
    kinds,
    kinds,
    st.integers(2, 12),
)
@steady
def test_it_agrees_with_a_walk_minute_by_minute(minutes, since, rest, excursions, gaps, longest_gap):
    record = [AirReading(MIDNIGHT + timedelta(minutes=m), D(20 if ok else 25), D(65)) for m, ok in minutes.items()]
    clearance = earliest_measurement(
        since=MIDNIGHT + timedelta(minutes=since),
        rest=timedelta(minutes=rest),
        record=record,
        limits=ISO_139,
        excursions=excursions,
        gaps=gaps,
        longest_gap=timedelta(minutes=longest_gap),
    )
    ready = by_the_minute(since, rest, minutes, (excursions, gaps), longest_gap)
    found = [
        minute
        for minute in range(since, max(minutes, default=0) + 1)
        if any(span.since <= MIDNIGHT + timedelta(minutes=minute) < span.until for span in clearance.spans)
    ]
    assert found == ready
    assert clearance.ready_at is None or clearance.ready_at >= MIDNIGHT + timedelta(minutes=since + rest)


# Weighings every two hours; the masses are our own, the rule is ISO 139's (from memory).
def weighed(*rows):
    return [Weighing(at(moment), D(mass)) for moment, mass in rows]


def test_equal_mass():
    found = equal_mass(weighed(("09:00", "100.00"), ("11:00", "101.20"), ("13:00", "101.40"), ("15:00", "101.41")))
    assert found.at == at("13:00")
    assert round(found.change, 4) == D("0.1976")
    assert equal_mass(weighed(("09:00", "100.00"), ("11:00", "101.20"))) is None
    assert equal_mass(weighed(("09:00", "100.00"))) is None
    assert equal_mass([]) is None


def test_the_difference_must_be_less_than_a_quarter_of_a_percent():
    assert equal_mass(weighed(("09:00", "100"), ("11:00", "100.25"))) is None
    assert equal_mass(weighed(("09:00", "100"), ("11:00", "100.2499"))).at == at("11:00")
    assert equal_mass(weighed(("09:00", "100"), ("11:00", "99.7501"))).change == D("-0.2499")
    assert equal_mass(weighed(("09:00", "100"), ("11:00", "100.4")), within=D("0.5")).at == at("11:00")


def test_weighings_too_near_together_prove_nothing():
    soon = weighed(("09:00", "100"), ("10:59", "100.1"))
    assert equal_mass(soon) is None
    assert equal_mass(soon, apart=timedelta(hours=1)).at == at("10:59")
    # At 12:00 the newest that is two hours old is that of 10:00, not of 11:00.
    assert equal_mass(weighed(("09:00", "100"), ("10:00", "103"), ("11:00", "104"), ("12:00", "104.1"))) is None
    assert equal_mass(weighed(("12:00", "104.1"), ("10:00", "104"), ("09:00", "100"))).at == at("12:00")


@pytest.mark.parametrize(
    ("args", "other", "code"),
    [
        (weighed(("09:00", "0")), {}, "not_positive"),
        (weighed(("09:00", "NaN")), {}, "not_finite"),
        ([Weighing(at("09:00"), 100.0)], {}, "not_exact"),
        (weighed(("09:00", "100")), {"apart": timedelta(0)}, "times"),
        (weighed(("09:00", "100")), {"within": D(0)}, "not_positive"),
        ([Weighing(at("09:00"), D(1)), Weighing(datetime(2026, 3, 2), D(1))], {}, "time_zone"),
    ],
)
def test_weighings_must_be_sound(args, other, code):
    error = refusal(equal_mass, args, **other)
    assert isinstance(error, ConditioningError)
    assert error.code == code


@given(st.lists(st.tuples(st.integers(0, 600), st.decimals(99, 101, places=2)), max_size=8, unique_by=lambda w: w[0]))
@steady
def test_the_first_pair_that_agrees(rows):
    found = equal_mass([Weighing(MIDNIGHT + timedelta(minutes=m), mass) for m, mass in rows])
    rows.sort()
    agreeing = []
    for minute, mass in rows:
        before = [other for then, other in rows if then <= minute - 120]
        if before and abs(mass / before[-1] - 1) < D("0.0025"):
            agreeing.append(MIDNIGHT + timedelta(minutes=minute))
    assert (found and found.at) == (agreeing[0] if agreeing else None)
