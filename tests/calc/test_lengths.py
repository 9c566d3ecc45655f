"""Lengths as typed. The table of accepted and refused texts is the lab's own rule; the inch is NIST SP 811, B.8."""

from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.change import Pair, dimensional_change
from apps.calc.errors import LengthError, PercentError
from apps.calc.lengths import (
    format_as_typed,
    format_fraction,
    format_length,
    in_parts,
    parse_length,
    parse_percent,
)

from .support import refusal, steady

ACCEPTED = [
    ("350", "mm", "350"),
    (" 350 ", "mm", "350"),
    ("\u00a0350\t", "mm", "350"),
    ("243.5", "mm", "243.5"),
    ("243,5", "mm", "243.5"),
    ("243,55", "mm", "243.55"),
    ("1,2345", "mm", "1.2345"),
    ("1.234", "mm", "1.234"),
    ("007", "mm", "7"),
    ("0.1", "mm", "0.1"),
    ("0" * 29 + "350", "mm", "350"),
    ("1000000", "mm", "1000000"),
    ("9.6", "cm", "96"),
    ("9,6", "cm", "96"),
    ("35,125", "cm", "351.25"),
    ("100000", "cm", "1000000"),
    ("9.6", "in", "243.84"),
    ("9,6", "in", "243.84"),
    ("9,625", "in", "244.475"),
    ('9.6"', "in", "243.84"),
    ("9 5/8", "in", "244.475"),
    ("9  5/8", "in", "244.475"),
    ("9-5/8", "in", "244.475"),
    ("3/8", "in", "9.525"),
    ('9 5/8"', "in", "244.475"),
    ('9 5/8 "', "in", "244.475"),
    ("9 4/8", "in", "241.3"),
    ("0 1/2", "in", "12.7"),
    ("9 63/64", "in", "253.603125"),
]

REFUSED = [
    ("", "mm", "empty"),
    ("   ", "in", "empty"),
    ("0", "mm", "zero"),
    ("0.00", "cm", "zero"),
    ("-5", "mm", "sign"),
    ("+5", "mm", "sign"),
    ("\N{MINUS SIGN}5", "mm", "sign"),
    ("1e3", "mm", "not_a_length"),
    ("1E3", "mm", "not_a_length"),
    ("1_000", "mm", "not_a_length"),
    ("350mm", "mm", "not_a_length"),
    ("350 mm", "mm", "not_a_length"),
    ("10 in", "in", "not_a_length"),
    ("10''", "in", "not_a_length"),
    ('350"', "mm", "not_a_length"),
    ("1,234", "mm", "thousand"),
    ("0,500", "mm", "thousand"),
    ("1,234,5", "mm", "not_a_length"),
    ("1.234,5", "mm", "not_a_length"),
    ("1'234", "mm", "not_a_length"),
    (".5", "in", "not_a_length"),
    ("5.", "mm", "not_a_length"),
    (",5", "cm", "not_a_length"),
    ("24 3", "mm", "not_a_length"),
    ("nan", "mm", "not_a_length"),
    ("Infinity", "mm", "not_a_length"),
    ("0x10", "mm", "not_a_length"),
    ("\u0663\u0665\u0660", "mm", "not_a_length"),  # Arabic-Indic 350
    ("\uff13\uff15\uff10", "mm", "not_a_length"),  # full-width 350
    ("9\u215d", "in", "not_a_length"),  # the single character for 5/8
    ("9\u00b2", "mm", "not_a_length"),
    ("9 5/8", "mm", "fraction_unit"),
    ("1/2", "cm", "fraction_unit"),
    ("9 8/8", "in", "fraction"),
    ("9 9/8", "in", "fraction"),
    ("9 0/8", "in", "fraction"),
    ("5/0", "in", "fraction"),
    ("1/3", "in", "fraction"),
    ("9 5/10", "in", "fraction"),
    ("9 1/1", "in", "fraction"),
    ("9 1/128", "in", "fraction"),
    ("-5/8", "in", "not_a_length"),
    ("9 -5/8", "in", "not_a_length"),
    ("9--5/8", "in", "not_a_length"),
    ("9.5 1/8", "in", "not_a_length"),
    ("9 5/", "in", "not_a_length"),
    ("/8", "in", "not_a_length"),
    ("1/2/4", "in", "not_a_length"),
    ('"', "in", "not_a_length"),
    ("1000001", "mm", "too_large"),
    ("4006381333931", "mm", "too_large"),  # a bar code scanned into the field
    ("9" * 33, "mm", "too_long"),
]


@pytest.mark.parametrize(("text", "unit", "mm"), ACCEPTED)
def test_it_reads_what_the_bench_types(text, unit, mm):
    assert parse_length(text, unit) == D(mm)


@pytest.mark.parametrize(("text", "unit", "code"), REFUSED)
def test_it_refuses_what_could_be_a_slip(text, unit, code):
    error = refusal(parse_length, text, unit)
    assert isinstance(error, LengthError)
    assert error.code == code


def test_the_thousand_is_asked_back_with_both_readings():
    assert "Write 1234 or 1.234." in str(refusal(parse_length, "1,234", "mm"))


@pytest.mark.parametrize("unit", ["", "MM", "m", "pct", None, 3, ["mm"]])
def test_an_unknown_unit_is_refused(unit):
    assert refusal(parse_length, "350", unit).code == "unit"
    assert refusal(format_length, D(350), unit).code == "unit"


@pytest.mark.parametrize("text", [None, 350, D(350), b"350"])
def test_a_length_is_typed_as_text(text):
    assert refusal(parse_length, text, "mm").code == "not_text"


# NIST SP 811 (2008), B.8: one inch is 25.4 mm exactly; multiples worked out by hand.
@pytest.mark.parametrize(
    ("text", "mm"),
    [("10", "254.0"), ("18", "457.2"), ("20", "508.0"), ("24", "609.6"), ("1/8", "3.175"), ("1/16", "1.5875")],
)
def test_inches_are_exact(text, mm):
    assert parse_length(text, "in") == D(mm)


@pytest.mark.parametrize(
    ("mm", "unit", "places", "text"),
    [
        ("243.50", "mm", None, "243.5"),
        ("350", "mm", None, "350"),
        ("1000", "mm", None, "1000"),
        ("1E+3", "mm", None, "1000"),
        ("243.5", "cm", None, "24.35"),
        ("254", "in", None, "10"),
        ("244.475", "in", None, "9.625"),
        ("240", "in", None, "9.448819"),  # 240 / 25.4 = 9.44881889...
        ("240", "in", 2, "9.45"),
        ("240", "mm", 1, "240.0"),
        ("2.5", "mm", 0, "2"),  # a tie goes to the even digit
        ("3.5", "mm", 0, "4"),
    ],
)
def test_it_writes_a_length_back_in_its_unit(mm, unit, places, text):
    assert format_length(D(mm), unit, places) == text


@pytest.mark.parametrize(
    "mm", [D("NaN"), D("sNaN"), D("Infinity"), D("-1"), D(0), D("1E+400"), D("1E-400"), 2.5, "3", None, True]
)
def test_only_a_length_is_written(mm):
    refusal(format_length, mm, "mm")


@pytest.mark.parametrize("places", [-1, 13])
def test_decimal_places_are_few(places):
    assert refusal(format_length, D(1), "mm", places).code == "places"
    assert format_length(D(1), "mm", 12) == "1.000000000000"


@given(st.integers(1, 10**9), st.sampled_from(["mm", "cm", "in"]))
@steady
def test_a_written_length_reads_back_the_same(millionths, unit):
    text = format(D(millionths).scaleb(-6), "f")
    mm = parse_length(text, unit)
    assert parse_length(format_length(mm, unit), unit) == mm
    assert D(format_length(mm, unit)) == D(text)


@given(st.integers(0, 999), st.integers(1, 6), st.data())
@steady
def test_fractions_of_an_inch_are_exact(whole, power, data):
    under = 2**power
    over = data.draw(st.integers(1, under - 1))
    exact = (whole + Fraction(over, under)) * Fraction(254, 10)
    for text in (f"{whole} {over}/{under}", f'{whole}-{over}/{under}"'):
        assert Fraction(parse_length(text, "in")) == exact


@given(st.text(alphabet="0123456789.,/-+ \"'eE_mincx\u00bd\u0663", max_size=12), st.sampled_from(["mm", "cm", "in"]))
@steady
def test_any_text_gives_a_length_or_a_sentence(text, unit):
    try:
        mm = parse_length(text, unit)
    except LengthError:
        return
    assert 0 < mm <= 1_000_000
    assert set(text.strip()) <= set('0123456789.,/- "')


@pytest.mark.parametrize(
    ("mm", "parts", "text"),
    [
        ("244.475", 64, "9 5/8"),
        ("244.475", 8, "9 5/8"),
        ("241.3", 64, "9 1/2"),  # typed as 9 4/8
        ("9.525", 64, "3/8"),
        ("254", 64, "10"),
        ("253.603125", 64, "9 63/64"),
        ("253.603125", 16, "10"),
        ("25.796875", 32, "1"),  # 1 1/64 lies half way: the even part
        ("26.590625", 32, "1 1/16"),  # 1 3/64 lies half way between 1/32 and 2/32
        ("0.1", 64, "0"),
    ],
)
def test_inches_are_written_as_fractions(mm, parts, text):
    assert format_fraction(D(mm), parts) == text


@pytest.mark.parametrize("parts", [0, 1, 3, 10, 128, True, None])
def test_a_rule_is_divided_by_halving(parts):
    assert refusal(format_fraction, D(254), parts).code == "fraction"


@pytest.mark.parametrize(
    ("mm", "unit", "typed", "text"),
    [
        ("244.475", "in", "9 5/8", "9 5/8"),
        ("244.475", "in", "9-5/8", "9 5/8"),
        ("244.475", "in", "9.625", "9.625"),
        ("244.475", "mm", "9 5/8", "244.475"),
        ("243.84", "in", "9 5/8", "9.6"),  # no 64th of an inch: nothing is rounded to one
        ("244.475", "in", "", "9.625"),
        ("96", "cm", "9,6", "9.6"),
    ],
)
def test_a_length_is_written_as_it_was_typed(mm, unit, typed, text):
    assert format_as_typed(D(mm), unit, typed) == text


@pytest.mark.parametrize("mm", [D("NaN"), D("sNaN"), D("Infinity"), D("-1"), D(0), D("1E+400"), 2.5, "3", None])
def test_only_a_length_is_written_as_a_fraction(mm):
    refusal(format_fraction, mm)
    refusal(format_as_typed, mm, "in", "9 5/8")


@given(st.integers(0, 999), st.integers(1, 6), st.data())
@steady
def test_a_typed_fraction_reads_back_the_same(whole, power, data):
    under = 2**power
    over = data.draw(st.integers(1, under - 1))
    typed = f"{whole} {over}/{under}" if whole else f"{over}/{under}"
    mm = parse_length(typed, "in")
    written = format_as_typed(mm, "in", typed)
    assert parse_length(written, "in") == mm
    assert "/" in written
    lowest = Fraction(over, under)
    assert written.endswith(f"{lowest.numerator}/{lowest.denominator}")


@given(st.decimals("0.1", 2000, places=2), st.sampled_from([2, 4, 8, 16, 32, 64]))
@steady
def test_a_fraction_is_the_nearest_one(mm, parts):
    text = format_fraction(mm, parts)
    back = parse_length(text, "in") if text != "0" else D(0)
    assert abs(back - mm) <= D("25.4") / parts / 2


# Direct readings of a shrinkage scale: the lab's own rule.
PERCENTS = [
    ("-2.5", "-2.5"),
    ("\u22122,5", "-2.5"),
    ("\u20132.5", "-2.5"),  # what a phone's keyboard makes of a hyphen
    ("- 2.5", "-2.5"),
    ("+1.0", "1.0"),
    ("1.0", "1.0"),
    ("2,125", "2.125"),
    (" -3.0 % ", "-3.0"),
    ("-3%", "-3"),
    ("-2.37", "-2.37"),
    ("0", "0"),
    ("-0", "0"),
    ("-0.0", "0.0"),
    ("+0.0", "0.0"),
    ("-99.9", "-99.9"),
    ("007", "7"),
]


@pytest.mark.parametrize(("text", "percent"), PERCENTS)
def test_it_reads_a_shrinkage_scale(text, percent):
    assert str(parse_percent(text)) == percent


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("%", "not_a_percent"),
        ("-", "not_a_percent"),
        ("--2", "not_a_percent"),
        ("+-2", "not_a_percent"),
        ("2-", "not_a_percent"),
        ("-.5", "not_a_percent"),
        ("-5.", "not_a_percent"),
        ("-2 1/2", "not_a_percent"),
        ("-1e1", "not_a_percent"),
        ("NaN", "not_a_percent"),
        ("-2.5 mm", "not_a_percent"),
        ("-2.5%%", "not_a_percent"),
        ("1,234.5", "not_a_percent"),
        ("\u0662", "not_a_percent"),
        ("-2.5\x00", "not_a_percent"),
        ("-100", "out_of_bounds"),
        ("100.0", "out_of_bounds"),
        ("-250", "out_of_bounds"),
        ("9" * 33, "too_long"),
        (None, "not_text"),
        (2.5, "not_text"),
    ],
)
def test_it_refuses_what_no_scale_shows(text, code):
    error = refusal(parse_percent, text)
    assert isinstance(error, PercentError)
    assert isinstance(error, LengthError)
    assert error.code == code


def test_the_bench_is_asked_which_way_a_bare_figure_goes():
    error = refusal(parse_percent, "2,5", signed=True)
    assert error.code == "sign"
    assert "Write \u22122.5 for shrinkage or +2.5 for growth." in str(error)
    assert parse_percent("0.0", signed=True) == 0
    assert parse_percent("-2.5", signed=True) == D("-2.5")
    assert parse_percent("+2.5", signed=True) == D("2.5")


@given(st.decimals("-99.99", "99.99", places=2), st.sampled_from([".", ","]), st.sampled_from("-\u2212\u2013"))
@steady
def test_a_percent_reading_is_a_pair_of_a_hundred(percent, mark, minus):
    text = str(percent).replace(".", mark).replace("-", minus)
    assert parse_percent(text) == percent
    assert dimensional_change(D(100), 100 + parse_percent(text)) == percent
    assert Pair("A1", D(100), 100 + percent).after > 0


@given(st.text(alphabet="0123456789.,+-\u2212\u2013% e/\u0663", max_size=10), st.booleans())
@steady
def test_any_text_gives_a_percent_or_a_sentence(text, signed):
    try:
        percent = parse_percent(text, signed=signed)
    except PercentError as error:
        assert str(error).endswith((".", "?"))
        return
    assert -100 < percent < 100
    assert not (percent == 0 and percent.is_signed())


@pytest.mark.parametrize(
    ("text", "parts", "written"),
    [
        ("9 5", 8, "9 5/8"),
        ("9-5", 8, "9 5/8"),
        ("9 13", 16, "9 13/16"),
        ("9 0", 8, "9"),
        (" 9 ", 8, "9"),
        ("9 1/2", 8, "9 1/2"),
        ('9 5"', 8, "9 5/8"),
        ("0 3", 8, "0 3/8"),
    ],
)
def test_parts_of_an_inch_are_written_out(text, parts, written):
    assert in_parts(text, parts) == written
    assert parse_length(written, "in") > 0


@pytest.mark.parametrize(
    ("text", "parts", "code"),
    [("9 8", 8, "parts"), ("9 16", 16, "parts"), ("9.5", 8, "decimals"), ("9 5/16", 8, "finer"), ("9", 3, "fraction")],
)
def test_parts_that_the_rule_has_not(text, parts, code):
    assert refusal(in_parts, text, parts).code == code
