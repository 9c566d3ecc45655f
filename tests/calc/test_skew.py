"""Skew: squares of 250 mm sheared on paper, the diagonals by Pythagoras. Twist: a published figure of the trade."""

import math
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import SkewError
from apps.calc.rounding import round_to
from apps.calc.skew import from_diagonals, from_displacement, garment_twist

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


def test_lines_drawn_on_a_sheared_square():
    # 250 mm square, upper edge moved sideways by 5 %: both ends of the line lie 12.5 mm off.
    assert from_displacement(D("12.5"), D("12.5"), D(250), D(250)) == 5
    assert from_displacement(D(-10), D(-15), D(250), D(250)) == -5
    assert from_displacement(D(10), D(-10), D(250), D(250)) == 0  # bowed, not skewed
    assert from_displacement(D(0), D(0), D(250), D(251)) == 0


@pytest.mark.parametrize("shear", [1, 2, 5, 10])
def test_the_two_options_agree_on_a_sheared_square(shear):
    moved = D(250 * shear) / 100
    diagonals = [D(str(math.hypot(250 + sign * float(moved), 250))) for sign in (1, -1)]
    by_lines = from_displacement(moved, moved, D(250), D(250))
    assert by_lines == shear
    # The diagonals give 100 x sin of nearly the angle whose tangent the displacement gives.
    assert float(from_diagonals(*diagonals)) == pytest.approx(shear, rel=0.003)


def test_a_published_spirality():
    # onlineclothingstudy.com 2012: the seam lies half an inch off over eight inches, printed as 6.25 %.
    assert garment_twist(D("0.5"), D(8)) == D("6.25")
    assert garment_twist(D("12.7"), D("203.2")) == D("6.25")
    assert garment_twist(D("-0.5"), D(8)) == D("-6.25")


def test_a_seam_on_the_fold_has_no_twist():
    assert garment_twist(D(0), D(600)) == 0
    assert not garment_twist(D("-0.0"), D(600)).is_signed()


BAD_LENGTHS = [D("NaN"), D("sNaN"), D("Infinity"), D("1E+99"), 250.0, "250", None]


@pytest.mark.parametrize("bad", [*BAD_LENGTHS, D(0), D(-1)])
def test_an_edge_is_a_length(bad):
    assert isinstance(refusal(from_displacement, D(1), D(1), bad, D(250)), SkewError)
    assert isinstance(refusal(from_displacement, D(1), D(1), D(250), bad), SkewError)
    assert isinstance(refusal(garment_twist, D(1), bad), SkewError)


@pytest.mark.parametrize("bad", BAD_LENGTHS)
def test_a_displacement_is_a_distance(bad):
    assert "AA'" in str(refusal(from_displacement, bad, D(1), D(250), D(250)))
    assert "DD'" in str(refusal(from_displacement, D(1), bad, D(250), D(250)))
    assert "AA'" in str(refusal(garment_twist, bad, D(250)))


def test_lengths_that_were_mixed_up_are_asked_back():
    assert refusal(from_displacement, D(250), D(250), D(12), D(12)).code == "too_far"
    assert refusal(garment_twist, D(600), D(20)).code == "too_far"
    assert refusal(garment_twist, D(-600), D(600)).code == "too_far"


@given(
    st.decimals(-50, 50, places=1),
    st.decimals(-50, 50, places=1),
    st.decimals(200, 700, places=1),
    st.sampled_from([D("25.4"), D("0.1")]),
)
@steady
def test_displacements_keep_sign_and_unit(aa, dd, edge, factor):
    skew = from_displacement(aa, dd, edge, edge + 1)
    assert float(skew) == pytest.approx(100 * float(aa + dd) / float(2 * edge + 1), abs=1e-9)
    assert from_displacement(aa * factor, dd * factor, edge * factor, (edge + 1) * factor) == skew
    assert from_displacement(-aa, -dd, edge, edge + 1) == skew.copy_negate()
    twist = garment_twist(aa, edge)
    assert (twist > 0, twist < 0) == (aa > 0, aa < 0)
    assert garment_twist(aa * factor, edge * factor) == twist
