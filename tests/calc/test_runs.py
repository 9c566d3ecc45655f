"""Run rules: each on a chart drawn for it, and all against counting by the words of the rule.

The Western Electric zone tests (1956) and Nelson's eight (1984), from memory.
"""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import ControlError
from apps.calc.runs import NELSON, RULES, WESTERN_ELECTRIC, Signal, run_rules

from .support import refusal, steady


def found(text, rules):
    """Values in sigma about 0; the last point of every signal, counted from 1."""
    return [signal.points[-1] + 1 for signal in run_rules([D(x) for x in text.split()], D(0), D(1), rules)]


DRAWN = [
    ("one beyond 3 sigma", "0 3 -3 3.01 0 -3.5", [4, 6]),
    ("two of three beyond 2 sigma", "2.1 0 2.1 0 0 2.1 -2.1 -2.1 2.1", [3, 8]),
    ("four of five beyond 1 sigma", "1.1 1.1 0 1.1 1.1 0 0 -1.1 -1.1 -1.1 -1.1 1", [5, 11]),
    ("four of five beyond 1 sigma", "-2 -2 -2 -2 -2 -2 0 -2", [5, 6, 8]),
    ("eight on one side", "0.1 0.1 0.1 0.1 0.1 0.1 0.1 0.1 0.1 0 0.1", [8, 9]),
    ("nine on one side", "-1 -1 -1 -1 -1 -1 -1 -1 -1 -1 1", [9, 10]),
    ("six rising or falling", "0 1 2 3 4 5 6 6 5 4 3 2 1", [6, 7, 13]),
    ("fourteen to and fro", "0 1 0 1 0 1 0 1 0 1 0 1 0 1 0 0", [14, 15]),
    ("fifteen within 1 sigma", "1 -1 0 1 -1 0 1 -1 0 1 -1 0 1 -1 0 1.1", [15]),
    ("eight beyond 1 sigma", "1.1 -1.1 1.1 -1.1 2 -2 1.1 -1.1 1 3", [8]),
    ("eight beyond 1 sigma", "2 2 2 2 2 2 2 2", []),  # on one side only
]


@pytest.mark.parametrize(("rule", "chart", "ends"), DRAWN)
def test_each_rule_on_its_chart(rule, chart, ends):
    assert found(chart, [rule]) == ends


def test_a_signal_names_its_rule_and_its_points():
    chart = [D(50), D("52.1"), D("49.9"), D("52.1")]
    assert run_rules(chart, D(50), D(1)) == [Signal("two of three beyond 2 sigma", range(1, 4))]
    assert RULES["two of three beyond 2 sigma"].words.endswith("on one side.")


def test_the_two_sets():
    assert len(WESTERN_ELECTRIC) == 4
    assert len(NELSON) == 8
    assert set(WESTERN_ELECTRIC) | set(NELSON) == set(RULES)
    assert run_rules([], D(0), D(1)) == []


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (([D(1)], D(0), D(0)), "not_positive"),
        (([D(1)], D(0), D(-1)), "not_positive"),
        (([D("NaN")], D(0), D(1)), "not_finite"),
        (([D(1)], D("Infinity"), D(1)), "not_finite"),
        (([1.0], D(0), D(1)), "not_exact"),
        (([D(1)], D(0), D(1), ["seven of nine"]), "rule"),
    ],
)
def test_a_chart_must_be_sound(args, code):
    error = refusal(run_rules, *args)
    assert isinstance(error, ControlError)
    assert error.code == code


def by_the_words(values, rule):
    """The last points (from 0) of what the rule describes, written apart from the code."""
    ends = []
    for i in range(len(values)):
        for sign in (1, -1):
            v = [sign * x for x in values[: i + 1]]
            up = len(v) >= 6 and all(v[-k] > v[-k - 1] for k in range(1, 6))
            turns = [(v[k] - v[k - 1]) * (v[k - 1] - v[k - 2]) for k in range(len(v) - 12, len(v))] if i >= 13 else []
            holds = {
                "one beyond 3 sigma": v[-1] > 3,
                "two of three beyond 2 sigma": i >= 2 and v[-1] > 2 and max(v[-2], v[-3]) > 2,
                "four of five beyond 1 sigma": i >= 4 and v[-1] > 1 and sum(x > 1 for x in v[-5:]) > 3,
                "eight on one side": i >= 7 and min(v[-8:]) > 0,
                "nine on one side": i >= 8 and min(v[-9:]) > 0,
                "six rising or falling": up,
                "fourteen to and fro": i >= 13 and max(turns) < 0,
                "fifteen within 1 sigma": i >= 14 and max(map(abs, v[-15:])) <= 1,
                "eight beyond 1 sigma": i >= 7
                and min(map(abs, v[-8:])) > 1
                and any(x > 0 for x in v[-8:])
                and any(x < 0 for x in v[-8:]),
            }[rule]
            if holds:
                ends.append(i)
                break
    return ends


TENTHS = (0, 5, 10, 11, -5, -10, -11, 20, 21, -21, 30, 31, -31)
runs = st.lists(st.sampled_from([D(tenths) / 10 for tenths in TENTHS]), max_size=20)
long_runs = st.lists(st.sampled_from([D("0.4"), D("-0.4"), D("0.6"), D("1.2"), D("-1.2")]), min_size=8, max_size=20)


@given(runs | long_runs, st.sampled_from(list(RULES)), st.sampled_from([(D(0), D(1)), (D("-2.5"), D("0.4"))]))
@steady
def test_it_agrees_with_the_words_of_the_rule(values, rule, place):
    center, sigma = place
    signals = run_rules([center + sigma * value for value in values], center, sigma, [rule])
    assert [signal.points[-1] for signal in signals] == by_the_words(values, rule)
    assert all(len(signal.points) == RULES[rule].length for signal in signals)
