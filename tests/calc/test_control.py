"""Control charts, against the worked examples of the NIST handbook and of Montgomery's text book."""

import itertools
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.control import ewma, individuals
from apps.calc.errors import ControlError

from .support import refusal, steady

# NIST/SEMATECH e-Handbook 6.3.2.2, individuals chart.
NIST_IMR = "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
# NIST/SEMATECH e-Handbook 6.3.2.4: values, and the averages it prints (the first is the start).
NIST_EWMA = "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
NIST_AVERAGES = (
    "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 "
    "51.94 51.99"
)
# D. C. Montgomery, Introduction to Statistical Quality Control, table 9.1 (values from memory, confirmed by the
# averages and limits printed with them).
MONTGOMERY = (
    "9.45 7.99 9.29 11.66 12.16 10.18 8.04 11.46 9.20 10.34 9.03 11.47 10.51 9.40 10.08 9.37 10.62 10.31 8.52 10.84 "
    "10.90 9.33 12.29 11.50 10.60 11.08 10.38 11.62 11.31 10.52"
)


def decimals(text):
    return [D(x) for x in text.split()]


def test_the_individuals_chart_of_the_nist_handbook():
    limits = individuals(decimals(NIST_IMR))
    assert limits.center == D("50.81")
    assert round(limits.mr_bar, 4) == D("1.8778")
    assert (round(limits.upper, 4), round(limits.lower, 4)) == (D("55.8041"), D("45.8159"))


def test_the_ewma_chart_of_the_nist_handbook():
    points = ewma(decimals(NIST_EWMA), D(50), D("2.0539"), 0.3, 3)
    # The handbook carries rounded averages along, so its last digit may be one off.
    for point, printed in zip(points, decimals(NIST_AVERAGES), strict=True):
        assert abs(point.value - printed) <= D("0.01")
    assert round(points[-1].upper, 4) == D("52.5884")
    assert round(points[-1].lower, 4) == D("47.4116")  # the handbook prints 47.4115, cut off
    assert all(point.lower < point.value < point.upper for point in points[1:])


def test_the_ewma_chart_of_montgomery():
    points = ewma(decimals(MONTGOMERY), D(10), D(1), D("0.1"), D("2.7"))
    assert [points[i].value for i in (0, 1)] == [D("9.945"), D("9.7495")]
    assert [round(points[i].value, 4) for i in (28, 29)] == [D("10.6468"), D("10.6341")]
    assert [round(points[i].upper, 4) for i in (0, 1, 29)] == [D("10.2700"), D("10.3632"), D("10.6189")]
    assert [i for i, p in enumerate(points, 1) if not p.lower <= p.value <= p.upper] == [29, 30]


def test_a_weight_of_one_is_a_chart_of_single_values():
    points = ewma(decimals("1 2 4"), D(2), D("0.5"), 1, 3)
    assert [p.value for p in points] == [1, 2, 4]
    assert {(p.lower, p.upper) for p in points} == {(D("0.5"), D("3.5"))}


def test_a_chart_without_points_is_empty():
    assert ewma([], D(10), D(1), 0.1, 2.7) == []


@pytest.mark.parametrize("values", [[], [D(1)]])
def test_one_value_does_not_move(values):
    error = refusal(individuals, values)
    assert isinstance(error, ControlError)
    assert error.code == "too_few"


@pytest.mark.parametrize("bad", [D("NaN"), D("sNaN"), D("-Infinity"), D("1E+99"), 1.5, "1", None])
def test_a_value_that_is_no_value_is_named(bad):
    assert "Value 2" in str(refusal(individuals, [D(1), bad]))
    assert "Value 2" in str(refusal(ewma, [D(1), bad], D(1), D(1), 0.2, 3))
    assert isinstance(refusal(ewma, [D(1)], bad, D(1), 0.2, 3), ControlError)
    assert isinstance(refusal(ewma, [D(1)], D(1), bad, 0.2, 3), ControlError)


@pytest.mark.parametrize("bad", [0, -1, D(0), float("nan"), float("inf"), "0.2", None, True])
def test_weight_and_width_are_above_zero(bad):
    assert isinstance(refusal(ewma, [D(1)], D(1), D(1), bad, 3), ControlError) or bad is True
    assert isinstance(refusal(ewma, [D(1)], D(1), D(1), 0.2, bad), ControlError)


def test_the_weight_is_at_most_one():
    assert refusal(ewma, [D(1)], D(1), D(1), 1.01, 3).code == "weight"


@given(st.lists(st.decimals(-10, 10, places=2), min_size=2, max_size=15), st.sampled_from(["0.1", "0.25", "1"]))
@steady
def test_charts_move_with_their_values(values, lam):
    limits = individuals(values)
    shifted = individuals([3 * value + 7 for value in values])
    for name in ("center", "lower", "upper"):
        assert abs(getattr(shifted, name) - (3 * getattr(limits, name) + 7)) < D("1E-24")
    assert limits.upper - limits.center == pytest.approx(limits.center - limits.lower)
    assert float(limits.mr_bar) == pytest.approx(
        sum(abs(float(b - a)) for a, b in itertools.pairwise(values)) / (len(values) - 1)
    )
    points = ewma(values, D(1), D("0.5"), D(lam), 3)
    weights = [float(lam) * (1 - float(lam)) ** age for age in range(len(values))]
    wanted = sum(w * float(x) for w, x in zip(weights, reversed(values), strict=True)) + (1 - float(lam)) ** len(values)
    assert float(points[-1].value) == pytest.approx(wanted, abs=1e-9)
    widths = [point.upper - point.lower for point in points]
    assert widths == sorted(widths)
    steady_width = 6 * 0.5 * (float(lam) / (2 - float(lam))) ** 0.5
    assert float(widths[-1]) <= steady_width * (1 + 1e-12)
