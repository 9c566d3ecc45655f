"""How many specimens: our own table, recomputed with scipy below; the plan is that of ASTM D2905 with t for z."""

import math
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import SamplingError
from apps.calc.sampling import half_width, specimens_needed

from .support import refusal, steady


@pytest.mark.parametrize(
    ("sd", "error", "at_95", "at_90"),
    [
        ("0.3", "0.5", 4, 4),
        ("0.5", "0.5", 7, 5),
        ("0.6", "0.5", 9, 6),  # stepping n = (t s / E)^2 swings between 8, 9 and 10 here
        ("0.8", "0.5", 13, 9),
        ("1.0", "0.5", 18, 13),
        ("1.0", "1.0", 7, 5),
        ("1.5", "1.0", 12, 9),
    ],
)
def test_the_table(sd, error, at_95, at_90):
    assert specimens_needed(D(sd), D(error)) == at_95
    assert specimens_needed(D(sd), D(error), 0.90) == at_90


def test_cloth_without_spread_still_takes_two():
    assert specimens_needed(D(0), D("0.5")) == 2


@pytest.mark.parametrize(
    ("args", "code"),
    [
        ((D("-0.1"), D(1)), "negative_spread"),
        ((D(1), D(0)), "not_positive"),
        ((D(1), D("1E-9")), "too_many"),
        ((D(1), D(1), 1.0), "not_a_probability"),
        ((D(1), D(1), 0.0), "not_a_probability"),
        ((D(1), D(1), float("nan")), "not_a_probability"),
        ((D("NaN"), D(1)), "not_finite"),
        ((D(1), D("sNaN")), "not_finite"),
        ((D("1E+40"), D(1)), "out_of_range"),
        ((0.5, D(1)), "not_exact"),
    ],
)
def test_no_number_follows_from_unsound_figures(args, code):
    error = refusal(specimens_needed, *args)
    assert isinstance(error, SamplingError)
    assert error.code == code


@given(st.decimals("0.01", 3, places=2), st.decimals("0.3", 3, places=2), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
@steady
def test_it_is_the_smallest_sufficient_number(sd, error, confidence):
    from scipy import stats

    def needed(n):
        return (stats.t.ppf(1 - (1 - confidence) / 2, n - 1) * float(sd / error)) ** 2

    n = specimens_needed(sd, error, confidence)
    assert n >= 2
    assert n >= needed(n) - 1e-9
    assert all(m < needed(m) + 1e-9 for m in range(2, n))
    assert n >= math.floor((stats.norm.ppf(1 - (1 - confidence) / 2) * float(sd / error)) ** 2)


def test_the_half_width_of_three_specimens():
    # Changes -3.0, -3.4, -2.6: s = 0.4, t = 4.3027 with two degrees of freedom.
    assert round(half_width(D("0.4"), 3), 4) == D("0.9937")


def test_the_interval_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook 1.3.5.2, ZARR13.DAT: 195 values, mean 9.261460, s 0.022789; 9.258242 to 9.264679.
    width = half_width(D("0.022789"), 195)
    assert abs(D("9.261460") - width - D("9.258242")) <= D("0.000001")
    assert abs(D("9.261460") + width - D("9.264679")) <= D("0.000001")


@pytest.mark.parametrize(
    ("args", "code"),
    [
        ((D("-0.1"), 3), "negative_spread"),
        ((D(1), 1), "specimens"),
        ((D(1), 0), "specimens"),
        ((D(1), 2.0), "specimens"),
        ((D(1), True), "specimens"),
        ((D(1), 10**7), "specimens"),
        ((D(1), 3, 1.0), "not_a_probability"),
        ((D("NaN"), 3), "not_finite"),
        ((0.5, 3), "not_exact"),
    ],
)
def test_no_half_width_without_sound_figures(args, code):
    error = refusal(half_width, *args)
    assert isinstance(error, SamplingError)
    assert error.code == code


@given(st.decimals("0.05", 3, places=2), st.decimals("0.3", 3, places=2), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
@steady
def test_the_number_needed_is_the_first_with_the_precision(sd, error, confidence):
    n = specimens_needed(sd, error, confidence)
    assert half_width(sd, n, confidence) <= error
    assert n == 2 or half_width(sd, n - 1, confidence) > error
