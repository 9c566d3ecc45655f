"""Grubbs' test, against the NIST handbook and the table of ISO 5725-2."""

import statistics
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import CalcError, SpreadError
from apps.calc.spread import grubbs

from .support import refusal, steady


def test_the_mass_spectrometer_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook 1.3.5.17.1: prints G = 2.4687 (cut off) and rejects 245.57.
    values = [D(x) for x in ["199.31", "199.53", "200.19", "200.82", "201.92", "201.95", "202.18", "245.57"]]
    result = grubbs(values)
    assert float(result.g) == pytest.approx(2.468765, abs=1e-6)
    assert float(result.critical) == pytest.approx(2.126645, abs=1e-6)
    assert (result.index, result.is_outlier) == (7, True)
    # The handbook's one-sided 5 % value is 2.032: the two-sided one at twice the level.
    assert round(float(grubbs(values, alpha=0.10).critical), 3) == 2.032


# Two-sided critical values at 5 % and 1 %, the set ISO 5725-2 uses (from memory, recomputed from the t distribution).
@pytest.mark.parametrize(
    ("n", "five", "one"),
    [
        (3, 1.1543, 1.1547),
        (4, 1.4813, 1.4963),
        (5, 1.7150, 1.7637),
        (6, 1.8871, 1.9728),
        (7, 2.0200, 2.1391),
        (8, 2.1266, 2.2744),
        (9, 2.2150, 2.3868),
        (10, 2.2900, 2.4821),
    ],
)
def test_critical_values(n, five, one):
    values = [D(i) for i in range(n)]
    assert float(grubbs(values).critical) == pytest.approx(five, abs=6e-5)
    assert float(grubbs(values, alpha=0.01).critical) == pytest.approx(one, abs=6e-5)


def test_of_two_equally_far_values_the_first():
    assert grubbs([D(1), D(0), D(2), D(1)]).index == 1


@pytest.mark.parametrize("values", [[], [D(1)], [D(1), D(9)]])
def test_two_values_say_nothing(values):
    assert refusal(grubbs, values).code == "too_few"


def test_equal_values_say_nothing():
    error = refusal(grubbs, [D("-2.5"), D("-2.50"), D("-2.5")])
    assert isinstance(error, SpreadError)
    assert error.code == "no_spread"


@pytest.mark.parametrize("alpha", [0, 1, -0.1, 2, float("nan"), float("inf"), None, "0.05", True])
def test_the_level_is_a_probability(alpha):
    assert refusal(grubbs, [D(1), D(2), D(4)], alpha).code == "not_a_probability"


def test_a_level_too_small_to_calculate_is_a_sentence():
    assert isinstance(refusal(grubbs, [D(1), D(2), D(4)], 1e-320), CalcError)


@pytest.mark.parametrize("bad", [D("NaN"), D("sNaN"), D("Infinity"), D("1E+99"), 1.5, None])
def test_a_value_that_is_no_value_is_named(bad):
    assert "Value 2" in str(refusal(grubbs, [D(1), bad, D(4)]))


@given(st.lists(st.decimals(-20, 20, places=2), min_size=3, max_size=12), st.sampled_from([0.01, 0.05, 0.1]))
@steady
def test_it_agrees_with_scipy_and_statistics(values, alpha):
    from scipy import stats

    if len(set(values)) == 1:
        assert refusal(grubbs, values, alpha).code == "no_spread"
        return
    result = grubbs(values, alpha)
    n, mean, sd = len(values), statistics.mean(values), statistics.stdev(values)
    distances = [abs(value - mean) for value in values]
    assert float(result.g) == pytest.approx(float(max(distances) / sd), rel=1e-12)
    assert float(distances[result.index]) == pytest.approx(float(max(distances)), rel=1e-12)
    t = stats.t.ppf(1 - alpha / (2 * n), n - 2)
    assert float(result.critical) == pytest.approx((n - 1) / n**0.5 * (t**2 / (n - 2 + t**2)) ** 0.5, rel=1e-9)
    assert result.is_outlier is (result.g > result.critical)
    assert float(result.g) <= (n - 1) / n**0.5 + 1e-12
    moved = grubbs([7 * value + 3 for value in values], alpha)
    assert (float(moved.g), moved.index) == (pytest.approx(float(result.g), rel=1e-12), result.index)
