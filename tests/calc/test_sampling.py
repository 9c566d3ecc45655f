"""How many specimens: our own table, recomputed with scipy below; the plan is that of ASTM D2905 with t for z."""

import math
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import SamplingError
from apps.calc.sampling import specimens_needed

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
