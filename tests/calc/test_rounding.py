"""The one rounding, against published vectors and an independent integer implementation."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.rounding import compare, format_change, round_to

from .support import published, refusal, steady

# ISO 80000-1:2009, annex B (from memory; the paid text was not read).
ISO_80000_1 = [
    ("12.223", "0.1", "12.2", "12.2"),
    ("12.251", "0.1", "12.3", "12.3"),
    ("12.275", "0.1", "12.3", "12.3"),
    ("1222.3", "10", "1220", "1220"),
    ("1225.1", "10", "1230", "1230"),
    ("1227.5", "10", "1230", "1230"),
    ("12.25", "0.1", "12.2", "12.3"),
    ("12.35", "0.1", "12.4", "12.4"),
    ("1225.0", "10", "1220", "1230"),
    ("1235.0", "10", "1240", "1240"),
]

# ASTM E29 rounding method: examples of a highway agency's manual quoting it; 6025 and 6075 to 50 are from memory.
ASTM_E29 = [
    ("45.71", "0.1", "45.7"),
    ("45.74", "0.1", "45.7"),
    ("45.76", "0.1", "45.8"),
    ("45.79", "0.1", "45.8"),
    ("45.7500", "0.1", "45.8"),
    ("45.4500", "0.1", "45.4"),
    ("45.45001", "0.1", "45.5"),
    ("45.45099", "0.1", "45.5"),
    ("6025", "50", "6000"),
    ("6075", "50", "6100"),
]

# NIST SP 811 (2008), B.7.1.
NIST_SP_811 = [
    ("6.9749515", "0.01", "6.97"),
    ("6.9749515", "0.1", "7.0"),
    ("6.9749515", "0.0001", "6.9750"),
    ("6.9749515", "0.000001", "6.974952"),
    ("6.9749505", "0.000001", "6.974950"),
]

# IS 2:1960 (as quoted on concretebasics.org) and the CICC data book 2.05, type 2 (even).
OTHERS = [
    ("4.36", "1", "4"),
    ("2.355", "1", "2"),
    ("15.205", "0.1", "15.2"),
    ("9.625", "1", "10"),
    ("2.651", "0.1", "2.7"),
    ("0.3552", "0.01", "0.36"),
    ("12.545001", "0.01", "12.55"),
    ("123.55", "0.1", "123.6"),
    ("123.325", "0.05", "123.30"),
    ("123.376", "0.05", "123.40"),
]


@pytest.mark.parametrize(("value", "step", "even", "away"), ISO_80000_1)
def test_iso_80000_1_rules_a_and_b(value, step, even, away):
    assert str(round_to(D(value), D(step), "even")) == even
    assert str(round_to(D(value), D(step), "away")) == away
    assert str(round_to(-D(value), D(step), "even")) == "-" + even
    assert str(round_to(-D(value), D(step), "away")) == "-" + away  # rule B: larger in magnitude


@pytest.mark.parametrize(("value", "step", "rounded"), ASTM_E29 + NIST_SP_811 + OTHERS)
def test_published_examples_of_rounding_to_even(value, step, rounded):
    assert str(round_to(D(value), D(step))) == rounded


def test_the_lumber_standard_rounds_inches_to_even_millimetres():
    rows = published("nist_ps20_table3")["inches_and_mm"]
    assert len(rows) == 29
    for inches, mm in rows:
        assert round_to(D(inches) * D("25.4"), D(1)) == D(mm), inches
    assert round_to(D("7.5") * D("25.4"), D(1), "away") == 191  # the one row that tells the tie rules apart


# Textile changes to 0.5 %: divide, round, multiply (IS 2:1960); ties worked out by hand.
@pytest.mark.parametrize(
    ("value", "even", "away"),
    [
        ("-2.25", "-2.0", "-2.5"),
        ("-2.75", "-3.0", "-3.0"),
        ("-5.7143", "-5.5", "-5.5"),
        ("-0.25", "0.0", "-0.5"),
        ("0.25", "0.0", "0.5"),
        ("-0.2499", "0.0", "0.0"),
        ("6.25", "6.0", "6.5"),
        ("35", "35.0", "35.0"),
    ],
)
def test_half_percent_steps(value, even, away):
    assert str(round_to(D(value), D("0.5"), "even")) == even
    assert str(round_to(D(value), D("0.5"), "away")) == away


@pytest.mark.parametrize("value", ["-0", "-0.0", "-0.04", "-0.05", "0", "0E-500", "-1E-29"])
def test_minus_zero_is_never_shown(value):
    assert str(round_to(D(value), D("0.1"))) == "0.0"


def test_the_result_has_the_decimals_of_the_step():
    assert str(round_to(D("2"), D("0.1"))) == "2.0"
    assert str(round_to(D("2"), D("0.10"))) == "2.00"
    assert str(round_to(D("35.2"), D("1"))) == "35"
    assert str(round_to(D("35.2"), D("5"))) == "35"
    assert str(round_to(D("1225.1"), D("1E+1"))) == "1230"
    assert str(round_to(D("7.3"), D("0.25"))) == "7.25"


def test_it_rounds_once_however_many_digits_there_are():
    zeros, nines = "0" * 40, "9" * 40
    assert round_to(D(f"2.25{zeros}1"), D("0.1")) == D("2.3")
    assert round_to(D(f"-2.25{zeros}1"), D("0.1")) == D("-2.3")
    assert round_to(D(f"2.24{nines}"), D("0.1"), "away") == D("2.2")


@pytest.mark.parametrize("step", [D(0), D("-0.1"), D("NaN"), D("sNaN"), D("Infinity"), D("1E-99"), 0.1, None])
def test_a_step_that_is_no_step_is_refused(step):
    refusal(round_to, D("2.25"), step)


@pytest.mark.parametrize(
    "value", [D("NaN"), D("-sNaN"), D("-Infinity"), D("1E+4000"), D("1E-4000"), 2.25, "2.25", None, False]
)
def test_a_value_that_is_no_value_is_refused(value):
    refusal(round_to, value, D("0.1"))
    refusal(format_change, value)


def test_an_unknown_tie_rule_is_refused():
    assert refusal(round_to, D("2.25"), D("0.1"), "up").code == "tie"


@given(
    st.integers(-(10**24), 10**24),
    st.integers(0, 12),
    st.integers(1, 10**6),
    st.integers(0, 8),
    st.sampled_from(["even", "away"]),
)
@steady
def test_it_agrees_with_rounding_in_integers(units, decimals, step_units, step_decimals, tie):
    value, step = D(units).scaleb(-decimals), D(step_units).scaleb(-step_decimals)
    top, bottom = abs(units) * 10**step_decimals, step_units * 10**decimals
    if tie == "away":
        multiple = (2 * top + bottom) // (2 * bottom)
    else:
        multiple = -((bottom - 2 * top) // (2 * bottom))
        if 2 * top % bottom == 0 and (2 * top // bottom) % 2 == 1:
            multiple = top // bottom + (top // bottom) % 2
    wanted = (-1 if units < 0 else 1) * multiple * step_units
    rounded = round_to(value, step, tie)
    assert rounded == D(wanted).scaleb(-step_decimals)
    assert rounded.as_tuple().exponent == step.as_tuple().exponent
    assert not (rounded == 0 and rounded.is_signed())


@given(
    st.decimals(-100, 100, places=4), st.sampled_from(["0.1", "0.5", "0.25", "1"]), st.sampled_from(["even", "away"])
)
@steady
def test_rounding_is_odd_nearest_and_settled(value, step, tie):
    rounded = round_to(value, D(step), tie)
    assert abs(rounded - value) <= D(step) / 2
    assert round_to(rounded, D(step), tie) == rounded
    assert round_to(-value, D(step), tie) == -rounded


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("-2.5", "\u22122.5"),
        ("2.0", "+2.0"),
        ("0.0", "0.0"),
        ("-0.0", "0.0"),
        ("-0", "0"),
        ("0.00", "0.00"),
        ("35", "+35"),
        ("-1E+1", "\u221210"),
        ("-12.25", "\u221212.25"),
    ],
)
def test_a_change_is_printed_with_its_sign(value, text):
    assert format_change(D(value)) == text


@given(st.decimals(-50, 50, places=3))
@steady
def test_a_printed_change_reads_back_and_never_holds_a_hyphen(value):
    text = format_change(round_to(value, D("0.1")))
    assert "-" not in text
    assert D(text.replace("\u2212", "-")) == round_to(value, D("0.1"))
    assert text[0] in "+\u2212" or text == "0.0"


# ASTM E29-13: the same shrinkage against "not more than 3.0 %", by the absolute and the rounding method; the last two
# columns round ties to even and away from zero. Worked by hand.
@pytest.mark.parametrize(
    ("shrinkage", "absolute", "even", "away"),
    [
        ("2.95", True, True, True),
        ("3.00", True, True, True),
        ("3.000000001", False, True, True),
        ("3.04", False, True, True),
        ("3.05", False, True, False),  # 3.0 or 3.1
        ("3.0500001", False, False, False),
        ("3.06", False, False, False),
    ],
)
def test_the_method_of_comparing_changes_the_verdict(shrinkage, absolute, even, away):
    for value, limit, which in ((D(shrinkage), D("3.0"), "upper"), (-D(shrinkage), D("-3.0"), "lower")):
        assert compare(value, limit, which, "absolute") is absolute
        assert compare(value, limit, which, "rounding") is even
        assert compare(value, limit, which, "rounding", tie="away") is away
        assert compare(value, limit, which, "rounding", D("0.1"), "even") is even


def test_the_step_is_the_last_place_of_the_limit_as_it_is_written():
    assert compare(D("-3.4"), D(-3), "lower", "rounding")  # 3 means whole percents
    assert not compare(D("-3.4"), D("-3.0"), "lower", "rounding")
    assert not compare(D("-3.04"), D("-3.00"), "lower", "rounding")
    assert compare(D(34), D("3E+1"), "upper", "rounding")
    assert compare(D("-0.04"), D("0.0"), "lower", "rounding")
    assert compare(D("0.4"), 0, "upper", "rounding")
    assert compare(D("-3.24"), D("-3.0"), "lower", "rounding", D("0.5"))


@pytest.mark.parametrize(
    ("args", "code"),
    [
        ((D(1), D(1), "both", "absolute"), "which"),
        ((D(1), D(1), "upper", "exact"), "method"),
        ((D(1), D(1), None, None), "which"),
        ((D("NaN"), D(1), "upper", "absolute"), "not_finite"),
        ((D(1), D("sNaN"), "upper", "rounding"), "not_finite"),
        ((D(1), D("Infinity"), "upper", "rounding"), "not_finite"),
        ((1.0, D(1), "upper", "absolute"), "not_exact"),
        ((D(1), "1", "upper", "absolute"), "not_exact"),
        ((D(1), D(1), "upper", "rounding", D(0)), "not_positive"),
        ((D(1), D(1), "upper", "rounding", D("0.1"), "up"), "tie"),
    ],
)
def test_nothing_is_compared_with_an_unsound_limit(args, code):
    assert refusal(compare, *args).code == code


@given(
    st.decimals(-20, 20, places=3),
    st.decimals(-20, 20, places=1),
    st.sampled_from(["upper", "lower"]),
    st.sampled_from(["even", "away"]),
)
@steady
def test_comparing_hangs_together(value, limit, which, tie):
    inside = value <= limit if which == "upper" else value >= limit
    assert compare(value, limit, which, "absolute", tie=tie) is inside
    rounded = compare(value, limit, which, "rounding", D("0.1"), tie)
    assert rounded is compare(round_to(value, D("0.1"), tie), limit, which, "absolute")
    assert rounded or not inside  # with a limit on the step, rounding is never the stricter method
    if abs(value - limit) > D("0.05"):
        assert rounded is inside
    other = {"upper": "lower", "lower": "upper"}[which]
    assert compare(-value, -limit, other, "rounding", D("0.1"), tie) is rounded
