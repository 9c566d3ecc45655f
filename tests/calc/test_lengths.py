"""Lengths as typed. The table of accepted and refused texts is the lab's own rule; the inch is NIST SP 811, B.8."""

from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import LengthError
from apps.calc.lengths import format_length, parse_length

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
