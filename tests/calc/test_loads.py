"""Ballast for a load, worked by hand; 1.8 kg with 130 g pieces is the usual load of AATCC TM135 (from memory)."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import LoadError
from apps.calc.loads import MakeUp, make_up

from .support import refusal, steady


@pytest.mark.parametrize(
    ("masses", "target", "tolerance", "piece", "pieces", "total", "within"),
    [
        (["240"], "1800", "100", "130", 12, "1800", True),
        (["200", "210"], "1800", "100", "130", 11, "1840", True),  # 10 would be 1710
        (["305"], "1800", "100", "130", 11, "1735", True),  # 11 and 12 lie equally near: the fewer
        (["304.9"], "1800", "100", "130", 12, "1864.9", True),
        (["1800"], "1800", "100", "130", 0, "1800", True),
        (["1900"], "1800", "100", "130", 0, "1900", True),
        (["1735.1"], "1800", "60", "130", 0, "1735.1", False),
        (["240"], "1800", "0", "130", 12, "1800", True),
        (["240"], "1800", "100", "1000", 2, "2240", False),
        (["240"], "2000", "100", "50", 35, "1990", True),
    ],
)
def test_the_nearest_number_of_pieces(masses, target, tolerance, piece, pieces, total, within):
    made = make_up([D(m) for m in masses], D(target), D(tolerance), D(piece))
    assert made == MakeUp(pieces, pieces * D(piece), D(total), within)


def test_specimens_that_alone_are_too_heavy_are_refused():
    error = refusal(make_up, [D(1000), D("900.1")], D(1800), D(100), D(130))
    assert isinstance(error, LoadError)
    assert error.code == "too_heavy"
    assert "1900.1 g" in str(error)


def test_the_specimen_with_the_wrong_mass_is_named():
    assert "specimen 2" in str(refusal(make_up, [D(240), D(0)], D(1800), D(100), D(130)))


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (([], D(1800), D(100), D(130)), "no_specimens"),
        (([D(240), D(0)], D(1800), D(100), D(130)), "not_positive"),
        (([D(240)], D(0), D(100), D(130)), "not_positive"),
        (([D(240)], D(1800), D(-1), D(130)), "tolerance"),
        (([D(240)], D(1800), D(100), D(0)), "not_positive"),
        (([D("NaN")], D(1800), D(100), D(130)), "not_finite"),
        (([D(240)], D("sNaN"), D(100), D(130)), "not_finite"),
        (([D(240)], D(1800), D("Infinity"), D(130)), "not_finite"),
        (([D(240)], D(1800), D(100), D("1E-99")), "out_of_range"),
        (([240.0], D(1800), D(100), D(130)), "not_exact"),
    ],
)
def test_a_load_needs_sound_masses(args, code):
    error = refusal(make_up, *args)
    assert isinstance(error, LoadError)
    assert error.code == code


grams = st.decimals("0.1", 900, places=1)


@given(st.lists(grams, min_size=1, max_size=5), grams, st.decimals(0, 200, places=1), st.decimals(20, 200, places=1))
@steady
def test_no_other_number_of_pieces_is_nearer(masses, target, tolerance, piece):
    specimens = sum(masses)
    if specimens > target + tolerance:
        assert refusal(make_up, masses, target, tolerance, piece).code == "too_heavy"
        return
    made = make_up(masses, target, tolerance, piece)
    by_distance = min(range(60), key=lambda n: (abs(specimens + n * piece - target), n))
    assert made.pieces == by_distance
    assert made.total_g == specimens + made.pieces * piece == specimens + made.ballast_g
    assert made.within is (abs(made.total_g - target) <= tolerance)
