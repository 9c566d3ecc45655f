"""Uncertainty of a change, against the published examples of the GUM (JCGM 100:2008)."""

import math
import random
import statistics
from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import UncertaintyError
from apps.calc.exact import mean_and_variance, root
from apps.calc.uncertainty import INFINITE, change_uncertainty, coverage_factor, effective_dof

from .support import refusal, steady


def test_twenty_temperatures():
    # GUM 4.4.3: mean 100.145, s = 1.489 (1.48884), s of the mean 0.333.
    values = (
        "96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07 100.33 100.42 100.68 100.95 101.11 101.20 "
        "101.57 101.84 102.36 102.72"
    )
    mean, variance = mean_and_variance([Fraction(x) for x in values.split()])
    assert mean == Fraction("100.145")
    assert round(float(root(variance)), 4) == 1.4888
    assert round(float(root(variance / 20)), 4) == 0.3329


def test_the_product_of_three():
    # GUM G.4.1: parts of 0.25, 0.57 and 0.82 % from 10, 5 and 15 repeats: combined 1.03, dof 19.0 (18.9987), U 2.2.
    parts = [(D("0.25"), 9), (D("0.57"), 4), (D("0.82"), 14)]
    combined = root(sum((Fraction(u) ** 2 for u, _ in parts), Fraction(0)))
    dof = effective_dof(combined, parts)
    assert round(combined, 2) == D("1.03")
    assert round(dof, 4) == D("18.9987")
    assert round(coverage_factor(D(19)) * combined, 1) == D("2.2")
    # The GUM goes on with 19; the whole number below is 18, with a slightly larger factor.
    assert coverage_factor(dof) == coverage_factor(D(18)) > coverage_factor(D(19))


def test_the_end_gauge():
    # GUM H.1.6: parts of 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 degrees of freedom; prints 32 nm and 16.7.
    parts = [(D(25), 18), (D("9.7"), D("25.6")), (D("2.9"), 50), (D("16.6"), 2)]
    combined = root(sum((Fraction(u) ** 2 for u, _ in parts), Fraction(0)))
    assert round(combined) == 32
    assert effective_dof(D("31.66"), parts).quantize(D("0.1")) == D("16.7")


# GUM table G.2, column 95 % (printed to two decimals).
@pytest.mark.parametrize(
    ("dof", "t"),
    [
        (1, "12.71"),
        (2, "4.30"),
        (3, "3.18"),
        (4, "2.78"),
        (5, "2.57"),
        (6, "2.45"),
        (7, "2.36"),
        (8, "2.31"),
        (9, "2.26"),
        (10, "2.23"),
        (20, "2.09"),
        (50, "2.01"),
        (100, "1.984"),
        ("Infinity", "1.960"),
    ],
)
def test_the_t_table(dof, t):
    assert round(coverage_factor(D(dof)), -D(t).as_tuple().exponent) == D(t)


def test_the_weight_standard():
    # GUM 7.2.4: u = 0.35 mg with nine degrees of freedom, k = 2.26, U = 0.79 mg.
    assert round(coverage_factor(D(9)), 2) == D("2.26")
    assert round(coverage_factor(D(9)) * D("0.35"), 2) == D("0.79")


def test_two_readings_leave_one_degree_of_freedom():
    assert effective_dof(D(2), [(D(2), 1)]) == 1
    assert effective_dof(D(0), [(D(2), 3)]) == 3
    assert effective_dof(D(2), []) == INFINITE


def test_degrees_of_freedom_are_cut_to_whole_numbers():
    assert coverage_factor(D("6.999")) == coverage_factor(D(6)) > coverage_factor(D(7))


# Resolution only, u = d / sqrt 12: worked from the GUM's formulas, the first confirmed by four million random draws.
@pytest.mark.parametrize(
    ("before", "after", "division", "independent", "half", "full"),
    [
        ("500", "485", "1", 0.08043, 0.05689, 0.00173),
        ("500", "485", "0.5", 0.04022, 0.02844, 0.00087),
        ("250", "242", "1", 0.16071, 0.11367, 0.00370),
        ("350", "343", "1", 0.11548, 0.08167, 0.00165),
        ("500", "500", "1", 0.08165, 0.05774, 0.00000),
        ("254", "246.4", "1", 0.15834, 0.11199, 0.00340),
    ],
)
def test_single_readings_carry_the_division_of_the_rule(before, after, division, independent, half, full):
    for r, u in ((D(0), independent), (D("0.5"), half), (D(1), full)):
        result = change_uncertainty([D(before)], [D(after)], D(division), r)
        assert round(float(result.u), 5) == u
        assert result.dof == INFINITE
        assert round(result.k, 2) == D("1.96")


def test_the_division_of_the_rule_agrees_with_random_draws():
    draw = random.Random(1897)
    changes = [100 * ((485 + draw.uniform(-0.5, 0.5)) / (500 + draw.uniform(-0.5, 0.5)) - 1) for _ in range(60_000)]
    u = change_uncertainty([D(500)], [D(485)], D(1)).u
    assert statistics.stdev(changes) == pytest.approx(float(u), rel=0.01)


def test_repeat_readings_worked_through():
    # Own construction by the GUM's formulas: parts 0.0560607 and 0.0577350 (dof 2), 0.0280304 and 0.0288675 (rule).
    before, after = [D("500.0"), D("500.5"), D("499.5")], [D("485.5"), D("485.0"), D("486.0")]
    result = change_uncertainty(before, after, D("0.5"))
    assert round(result.u, 7) == D("0.0899732")
    assert round(result.dof, 4) == D("6.2446")
    assert round(result.k, 4) == D("2.4469")
    assert round(result.U, 5) == D("0.22016")
    assert float(result.u) == pytest.approx(math.hypot(0.0560607, 0.0577350, 0.0280304, 0.0288675), rel=1e-6)


def test_the_same_rule_before_and_after_helps():
    before, after = [D("500.0"), D("500.5"), D("499.5")], [D("485.5"), D("485.0"), D("486.0")]
    results = [change_uncertainty(before, after, D("0.5"), D(r)) for r in ("-1", "0", "0.5", "1")]
    us = [result.u for result in results]
    assert us == sorted(us, reverse=True)
    assert all(result.dof >= 2 for result in results)  # never fewer than either mean has


def test_no_uncertainty_is_left_when_everything_cancels():
    result = change_uncertainty([D(500)], [D(500)], D(1), D(1))
    assert (result.u, result.U) == (0, 0)


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (([], [D(1)], D(1)), "no_readings"),
        (([D(1)], [], D(1)), "no_readings"),
        (([D(1)], [D(1)], D(0)), "not_positive"),
        (([D(1)], [D(0)], D(1)), "not_positive"),
        (([D(1)], [D("NaN")], D(1)), "not_finite"),
        (([D("sNaN")], [D(1)], D(1)), "not_finite"),
        (([D(1)], [D(1)], D("Infinity")), "not_finite"),
        (([D(1)], [D(1)], D(1), D("1.01")), "correlation"),
        (([D(1)], [D(1)], D(1), D("NaN")), "not_finite"),
        (([D("1E+40")], [D(1)], D(1)), "out_of_range"),
        (([1.0], [D(1)], D(1)), "not_exact"),
    ],
)
def test_no_statement_without_sound_readings(args, code):
    error = refusal(change_uncertainty, *args)
    assert isinstance(error, UncertaintyError)
    assert error.code == code


@pytest.mark.parametrize(
    ("call", "args", "code"),
    [
        (effective_dof, (D(-1), [(D(1), 3)]), "negative"),
        (effective_dof, (D(1), [(D(1), 0)]), "dof"),
        (effective_dof, (D(1), [(D(0), 3)]), "not_positive"),
        (effective_dof, (D("NaN"), []), "not_finite"),
        (coverage_factor, (D("0.9"),), "dof"),
        (coverage_factor, (D("NaN"),), "not_finite"),
        (coverage_factor, (D("-Infinity"),), "not_finite"),
    ],
)
def test_the_parts_must_be_sound(call, args, code):
    assert refusal(call, *args).code == code


readings = st.lists(st.decimals(200, 500, places=1), min_size=2, max_size=5)


@given(readings, readings, st.sampled_from(["0.5", "1", "3.175"]), st.decimals(-1, 1, places=2))
@steady
def test_it_agrees_with_the_formulas_in_floating_point(before, after, division, r):
    from scipy import stats

    a, b, d = statistics.mean(map(float, before)), statistics.mean(map(float, after)), float(division)
    repeat_a = statistics.variance(map(float, before)) / len(before)
    repeat_b = statistics.variance(map(float, after)) / len(after)
    u_a, u_b = math.sqrt(repeat_a + d * d / 12), math.sqrt(repeat_b + d * d / 12)
    squared = (100 / a) ** 2 * (u_b**2 + (b / a) ** 2 * u_a**2 - 2 * b / a * float(r) * u_a * u_b)
    result = change_uncertainty(before, after, D(division), r)
    assert float(result.u) == pytest.approx(math.sqrt(max(squared, 0)), rel=1e-6, abs=1e-6)
    spread = (100 * b / a**2) ** 4 * repeat_a**2 / (len(before) - 1) + (100 / a) ** 4 * repeat_b**2 / (len(after) - 1)
    if spread > 1e-12:
        smallest = min(len(side) - 1 for side, s in ((before, repeat_a), (after, repeat_b)) if s > 0)
        assert float(result.dof) == pytest.approx(max(squared**2 / spread, smallest), rel=1e-6)
    k = 1.959963984540054 if result.dof == INFINITE else stats.t.ppf(0.975, math.floor(result.dof))
    assert float(result.k) == pytest.approx(k, rel=1e-9)
    assert float(result.U) == pytest.approx(float(result.k * result.u), rel=1e-12)


@given(readings, readings, st.decimals(0, 1, places=2))
@steady
def test_the_unit_changes_nothing(before, after, r):
    inches = change_uncertainty([x * D("25.4") for x in before], [x * D("25.4") for x in after], D("25.4"), r)
    assert inches == change_uncertainty(before, after, D(1), r)
