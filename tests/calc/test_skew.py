"""Skew from diagonals: squares of 250 mm sheared on paper, the diagonals by Pythagoras."""

import math
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import SkewError
from apps.calc.rounding import round_to
from apps.calc.skew import from_diagonals

from .support import refusal, steady


@pytest.mark.parametrize(
    ("shear", "ac", "bd", "skew", "rounded_diagonals", "rounded_skew"),
    [
        (2, "357.1064", "350.0357", "1.9998", ("357", "350"), "1.98"),
        (5, "362.5", "344.8279", "4.9969", ("362", "345"), "4.81"),
        (10, "371.6517", "336.3406", "9.9750", ("372", "336"), "10.17"),
    ],
)
def test_sheared_squares(shear, ac, bd, skew, rounded_diagonals, rounded_skew):
    moved = 250 * shear / 100
    assert float(ac) == pytest.approx(math.hypot(250 + moved, 250), abs=5e-5)
    assert float(bd) == pytest.approx(math.hypot(250 - moved, 250), abs=5e-5)
    assert round_to(from_diagonals(D(ac), D(bd)), D("0.0001")) == D(skew)
    assert round_to(from_diagonals(D(bd), D(ac)), D("0.0001")) == -D(skew)
    assert round_to(from_diagonals(*map(D, rounded_diagonals)), D("0.01")) == D(rounded_skew)


def test_one_millimetre_of_a_diagonal_is_more_than_a_tenth_of_a_percent():
    assert round_to(from_diagonals(D("354.5534"), D("353.5534")), D("0.01")) == D("0.28")
    assert round_to(from_diagonals(D(363), D(345)), D("0.01")) == D("5.08")


def test_equal_diagonals_are_no_skew():
    assert from_diagonals(D("353.6"), D("353.60")) == 0


@pytest.mark.parametrize("bad", [D(0), D(-1), D("NaN"), D("sNaN"), D("Infinity"), D("1E+99"), 353.6, None])
def test_a_diagonal_is_a_length(bad):
    assert isinstance(refusal(from_diagonals, bad, D(350)), SkewError)
    assert isinstance(refusal(from_diagonals, D(350), bad), SkewError)


@given(st.decimals(1, 1000, places=1), st.decimals(1, 1000, places=1), st.sampled_from([D("25.4"), D("0.1")]))
@steady
def test_sign_bound_and_unit(ac, bd, factor):
    skew = from_diagonals(ac, bd)
    assert (skew > 0) is (ac > bd)
    assert abs(skew) < 200
    assert from_diagonals(ac * factor, bd * factor) == skew
    assert from_diagonals(bd, ac) == skew.copy_negate()
