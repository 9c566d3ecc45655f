"""Every group of random sheets, as calc has it: both averagings, both ties, several steps."""

import random
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.calc.errors import CalcError
from apps.calc.lengths import parse_length, parse_percent
from apps.sheets.figures import decimals, sums
from apps.sheets.readings import combine
from apps.sheets.values import UNITS, Parsed, parse_value
from apps.sheets.wrong import printable
from tests.sheets.support import as_csv, by_calc, calculate, of_text, rows

pytestmark = [pytest.mark.once, pytest.mark.filterwarnings("error::RuntimeWarning")]

AVERAGINGS, TIES = ("ratio_of_means", "mean_of_changes"), ("even", "away")
STEPS = ("0.1", "0.5", "0.05", "1", "0.25", "0.2", "0.0001", "5", "0.30")
# originals and readings that give many exact ties, many different quotients, and everything between
KINDS = {
    "template": ("mm", ["250"], ["245", "245.5", "246", "247.5", "250", "250.5", "243.875"]),
    "even sums": ("mm", ["200", "400", "100", "500"], ["196", "195.5", "390", "101", "99.9", "490.25"]),
    "plain": ("mm", ["249", "250", "251", "250.5", "249.3"], ["244", "243.7", "251", "238", "245,5", "199"]),
    "centimetres": ("cm", ["25", "24.9", "25,05"], ["24.4", "24.35", "25", "23.875"]),
    "inches": ("in", ["9 5/8", "10", "9.85", "9-27/32"], ["9 1/2", "9 5/8", "3/8", "9.6", "9 63/64"]),
    "very fine": ("mm", ["250", "250.0000001"], ["244.0000003", "243.9999999999", "245"]),
    "percent": ("pct", ["0", "0.0"], ["-2.5", "-3", "0", "1.5", "−2.25", "-2,75", "–2,125 %", "+0.125", "0.1"]),
}


def a_sheet(chance: random.Random, groups: int) -> list[tuple[str, ...]]:
    lines = []
    for number in range(groups):
        unit, originals, readings = KINDS[chance.choice(list(KINDS))]
        direction = chance.choice(["length", "width"])
        marks = [(str(s), str(p)) for s in range(chance.randint(1, 5)) for p in range(chance.randint(1, 4))]
        stages = chance.sample(range(1, 6), chance.randint(1, 3))
        gaps = chance.choice([0, 0, 0.2])
        for stage in (0, *stages):
            for specimen, pair in marks:
                if chance.random() >= gaps:
                    value = chance.choice(readings if stage else originals)
                    lines.append((f"S{number}", specimen, direction, pair, str(stage), value, unit))
    if chance.random() < 0.3:
        chance.shuffle(lines)
    return lines


@pytest.mark.parametrize("tie", TIES)
@pytest.mark.parametrize("averaging", AVERAGINGS)
def test_every_group_of_large_sheets(averaging, tie):
    chance = random.Random(f"{averaging} {tie}")
    for step in STEPS:
        lines = a_sheet(chance, 80)
        assert rows(calculate(as_csv(lines), averaging, tie, step)) == by_calc(lines, averaging, tie, step)


@settings(max_examples=80)
@given(
    st.randoms(use_true_random=False),
    st.integers(1, 4),
    st.sampled_from(AVERAGINGS),
    st.sampled_from(TIES),
    st.sampled_from(STEPS),
)
def test_any_small_sheet(chance, groups, averaging, tie, step):
    lines = a_sheet(chance, groups) or [("S", "1", "length", "1", "0", "250", "mm")]
    assert rows(calculate(as_csv(lines), averaging, tie, step)) == by_calc(lines, averaging, tie, step)


lengths = st.decimals("0.0001", "99999", places=4).map(str)


@settings(max_examples=80)
@given(
    st.lists(st.tuples(lengths, lengths, st.sampled_from("123")), min_size=1, max_size=8),
    st.sampled_from(AVERAGINGS),
    st.sampled_from(TIES),
    st.sampled_from(STEPS),
)
def test_any_lengths_whatever_they_do(pairs, averaging, tie, step):
    """From a tenth of a micrometre to a hundred metres: where whole numbers do not reach, calc does."""
    lines = []
    for number, (before, after, specimen) in enumerate(pairs):
        lines.append(("S", specimen, "length", str(number), "0", before, "mm"))
        lines.append(("S", specimen, "length", str(number), "1", after, "mm"))
    assert rows(calculate(as_csv(lines), averaging, tie, step)) == by_calc(lines, averaging, tie, step)


def test_sums_too_large_for_floating_point():
    lines = []
    for number in range(40):
        for stage, value in (("0", "999999.999999"), ("1", f"99999{number % 7}.{number:06d}")):
            lines.append(("S", str(number % 3), "length", str(number), stage, value, "mm"))
    for averaging in AVERAGINGS:
        assert rows(calculate(as_csv(lines), averaging)) == by_calc(lines, averaging)
    whole = np.array([2**53, 1, 1, 5], dtype=np.int64)
    assert sums(np.array([1, 1, 1, 0]), whole, 2).tolist() == [5, 2**53 + 2]


def test_a_reading_under_a_nanometre():
    lines = of_text("S 1 length 1 0 0.0000001 mm\nS 1 length 1 1 0.0000003 mm")
    for averaging in AVERAGINGS:
        assert rows(calculate(as_csv(lines), averaging)) == by_calc(lines, averaging)


def test_a_spread_exactly_between_two_digits():
    """Three specimens at -2 - a, -2 and -2 + a have a spread of exactly a."""
    lines = []
    for number in range(1, 400, 2):
        apart = number * Decimal("0.00005") + Decimal("0.01")
        for specimen, change in enumerate((-2 - apart, Decimal(-2), -2 + apart)):
            lines.append((f"S{number}", str(specimen), "length", "1", "1", str(change), "pct"))
    assert rows(calculate(as_csv(lines))) == by_calc(lines)


def test_codes_too_many_for_one_number():
    many = 2**40
    codes = np.array([0, many - 1, 0, many - 1]), np.array([0, 0, many - 1, many - 1])
    assert len(set(combine([(part, many) for part in codes]).tolist())) == 4


def test_ties_need_calc_seldom():
    """Where all pairs were equally long before, ties are common and settled by whole numbers."""
    chance, lines = random.Random(7), []
    for sample in range(300):
        for specimen in "123":
            for pair in "123"[: chance.randint(1, 3)]:
                lines.append((f"S{sample}", specimen, "length", pair, "0", "250", "mm"))
                lines.append((f"S{sample}", specimen, "length", pair, "1", str(chance.randint(480, 500) / 2), "mm"))
    results = calculate(as_csv(lines), "mean_of_changes")
    assert rows(results) == by_calc(lines, "mean_of_changes")
    assert results.through_calc < 15


@given(st.integers(-(10**12), 10**12), st.integers(0, 6))
def test_whole_numbers_as_decimals(number, digits):
    text = decimals(np.array([number]), digits)[0]
    assert text == f"{Decimal(number).scaleb(-digits):.{digits}f}"


texts = st.one_of(
    st.from_regex(r"[0-9]{1,6}([.,][0-9]{1,8})?", fullmatch=True),
    st.from_regex(r"[ +\-−]?[0-9]{0,5}[.,]{0,2}[0-9]{0,5}[ \"]?", fullmatch=True),
    st.from_regex(r"[0-9]{0,2}[ \-][0-9]{1,2}/[0-9]{1,2}", fullmatch=True),
    st.text(max_size=20),
    st.sampled_from(["", "1e3", "NaN", "inf", "0", "0.0", "١٢", "1_000", "0x10", "250,125", "1000000", "1000000.1"]),
)


@settings(max_examples=200)
@given(st.lists(texts, min_size=1, max_size=12, unique=True))
def test_values_are_read_as_calc_reads_them(typed):
    of_label = np.repeat(np.arange(len(typed)), len(UNITS))
    of_unit = np.tile(np.arange(len(UNITS)), len(typed))
    parsed = Parsed(typed, of_label, of_unit)
    for place, (label, unit) in enumerate(zip(of_label.tolist(), of_unit.tolist(), strict=True)):
        text = typed[label]
        try:
            expected = 100 + parse_percent(text) if UNITS[unit] == "pct" else parse_length(text, UNITS[unit])
        except CalcError as fault:
            assert parsed.sentences[place] == printable(fault.sentence) or not text.strip()
            continue
        assert place not in parsed.sentences
        found = parsed.exact.get(place, Decimal(int(parsed.whole[place])))
        assert found == parse_value(text, UNITS[unit]) == expected.scaleb(6)
