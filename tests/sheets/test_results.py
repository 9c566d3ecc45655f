"""What a sheet comes to: which pairs count, in which order the rows stand, what is said about them."""

import pytest

from tests.sheets.support import as_csv, by_calc, calculate, of_text, rows

pytestmark = pytest.mark.once

# Published before and after, with what calc gives to four digits and what is reported (see tests/calc/test_change.py).
PUBLISHED = """
    textilepad.com/2022           35   32      cm  -8.5714  -8.6
    textilelearner/2013           35   33      cm  -5.7143  -5.7
    template/question/page        12.5 12.25   in  -2.0000  -2.0
    template/article              12.5 12-1/8  in  -3.0000  -3.0
    quiltingboard/36/in           36   35      in  -2.7778  -2.8
    quiltingboard/42/in           42   41      in  -2.3810  -2.4
    fqmxn/90                      90   86,4    cm  -4.0000  -4.0
    fqmxn/80                      80   78.6    cm  -1.7500  -1.8
    our/own/growth                35   35.7    cm   2.0000   2.0
    our/own/none                  250  250.0   mm   0.0000   0.0
"""


def test_published_examples():
    lines, expected = [], []
    for sample, before, after, unit, change, reported in of_text(PUBLISHED):
        for stage, value in (("0", before), ("1", after)):
            lines.append((sample, "1", "length", "1", stage, value.replace("12-1/8", "12 1/8"), unit))
        expected.append((sample, "length", 1, 1, 1, change, "", reported))
    assert rows(calculate(as_csv(lines))) == expected


def garments() -> list[tuple[str, ...]]:
    """Our own, by exact fractions: the averaging changes the reported digit."""
    figures = {"A": ("700", "680"), "B": ("650", "640"), "C": ("725", "700")}
    return [
        ("G", name, "length", "1", stage, pair[int(stage)], "mm") for name, pair in figures.items() for stage in "01"
    ]


def test_the_averaging_changes_the_reported_digit():
    mean, ratio = (rows(calculate(as_csv(garments()), how)) for how in ("mean_of_changes", "ratio_of_means"))
    assert mean == [("G", "length", 1, 3, 3, "-2.6146", "0.9777", "-2.6")]
    assert ratio == [("G", "length", 1, 3, 3, "-2.6506", "0.9777", "-2.7")]


def test_ties_and_steps():
    lines = of_text("T 1 length 1 0 80 cm\nT 1 length 1 1 78.6 cm")  # -1.75, exactly between -1.7 and -1.8
    for tie, step, reported in (
        ("even", "0.1", "-1.8"), ("away", "0.1", "-1.8"), ("even", "0.5", "-2.0"), ("away", "0.5", "-2.0"),
        ("even", "1", "-2"), ("even", "0.05", "-1.75"), ("even", "0.50", "-2.00"), ("even", "0,5", "-2.0"),
    ):  # fmt: skip
        assert rows(calculate(as_csv(lines), tie=tie, step=step))[0][-1] == reported
    up = of_text("T 1 length 1 0 8 in\nT 1 length 1 1 8.5 in")  # +6.25, between +6.2 and +6.3 (a published spirality)
    assert [rows(calculate(as_csv(up), tie=tie))[0][-1] for tie in ("even", "away")] == ["6.2", "6.3"]


def test_nothing_is_ever_minus_zero():
    lines = of_text("Z 1 length 1 0 250 mm\nZ 1 length 1 1 249.9 mm")
    assert rows(calculate(as_csv(lines)))[0][5:] == ("-0.0400", "", "0.0")
    tiny = of_text(
        "Z 1 length 1 0 25000 mm\nZ 1 length 1 1 24999.99 mm\nZ 1 width 1 1 -0.00001 pct\nZ 1 width 2 1 -0 pct"
    )
    assert [row[5:] for row in rows(calculate(as_csv(tiny)))] == [("0.0000", "", "0.0"), ("0.0000", "", "0.0")]


def test_rows_stand_in_the_order_of_the_sheet():
    """Also where the first row of a group does not count."""
    lines = of_text("""
        B 1 width  1 3 240 mm
        B 1 width  1 0 250 mm
        A 1 length 9 2 240 mm
        B 1 width  1 1 245 mm
        A 1 length 1 0 250 mm
        A 1 length 1 1 245 mm
        A 1 length 1 2 244 mm
    """)
    assert [row[:3] for row in rows(calculate(as_csv(lines)))] == [
        ("B", "width", 3), ("A", "length", 2), ("B", "width", 1), ("A", "length", 1),
    ]  # fmt: skip


PARTLY = of_text("""
    S A1 length 1 0 250 mm
    S A1 length 2 0 250 mm
    S A2 length 1 0 250 mm
    S A1 length 1 1 245 mm
    S A1 length 2 1 244 mm
    S A2 length 1 1 243 mm
    S A2 length 2 1 100 mm
    S A1 length 1 3 240 mm
    S A2 length 1 3 239 mm
    S A1 width  1 0 250 mm
    S A1 width  1 1 249 mm
    R A1 length 1 0 250 mm
    Q A1 length 1 2 250 mm
""")


def test_a_pair_counts_with_its_original_and_its_reading():
    found = rows(calculate(as_csv(PARTLY)))
    assert found == by_calc(PARTLY)
    assert [row[:5] for row in found] == [("S", "length", 1, 2, 3), ("S", "length", 3, 2, 2), ("S", "width", 1, 1, 1)]


def test_what_was_left_out_is_said():
    assert calculate(as_csv(PARTLY)).notes == [
        "S width has no reading after cycle 3.",
        "R length has no reading after washing.",
        "S length, cycle 1: left out A2 pair 2 (no original).",
        "S length, cycle 3: left out A1 pair 2 (no reading after cycle 3), A2 pair 2 (no original).",
        "Q length, cycle 2: left out A1 pair 1 (no original); there is no result.",
    ]


def test_a_sheet_without_any_result_says_so():
    results = calculate(as_csv(PARTLY[:3]))
    assert rows(results) == [] and results.notes == [
        "No pair was read both before washing and after washing: there is no result."
    ]


def test_percent_needs_no_original_and_is_always_a_mean_of_changes():
    lines = of_text("""
        P A1 length 1 1 -2.5 pct
        P A1 length 2 1 -3.5 pct
        P A2 length 1 1 −6 pct
        P A2 length 1 0 0.0 pct
        P A1 width  1 1 +1,5 pct
    """)
    for averaging in ("ratio_of_means", "mean_of_changes"):
        results = calculate(as_csv(lines), averaging)
        assert rows(results) == [
            ("P", "length", 1, 2, 3, "-4.5000", "2.1213", "-4.5"),
            ("P", "width", 1, 1, 1, "1.5000", "", "1.5"),
        ]
        said = ["What is read in percent is averaged as a mean of changes."]
        assert results.notes == (said if averaging == "ratio_of_means" else [])


def test_lengths_of_one_direction_may_be_read_in_several_units():
    lines = of_text("U 1 length 1 0 25.4 cm\nU 1 length 1 1 9.5 in\nU 2 length 1 0 10 in\nU 2 length 1 1 241.3 mm")
    assert rows(calculate(as_csv(lines))) == [("U", "length", 1, 2, 2, "-5.0000", "0.0000", "-5.0")]


def test_the_curve_rests_on_the_pairs_read_at_every_stage():
    results = calculate(as_csv(PARTLY), curve=True)
    common = [
        line
        for line in PARTLY[:11]
        if line[1:4] in (["A1", "length", "1"], ["A2", "length", "1"], ["A1", "width", "1"])
    ]
    assert [row.curve for row in results.rows()] == [row[-1] for row in by_calc(common)]
    assert [row.flags for row in results.rows()] == [("1 pair left out",), ("2 pairs left out",), ()]


def test_no_pair_at_every_stage_leaves_no_curve():
    lines = of_text("""
        C 1 length 1 0 250 mm
        C 1 length 2 0 250 mm
        C 1 length 1 1 245 mm
        C 1 length 2 2 244 mm
    """)
    assert [row.curve for row in calculate(as_csv(lines), curve=True).rows()] == [None, None]


def specimens(*changes: str) -> bytes:
    return as_csv([("F", str(number), "length", "1", "1", change, "pct") for number, change in enumerate(changes)])


@pytest.mark.parametrize(
    ("changes", "flags"),
    [
        (["-2", "-4"], ()),
        (["-2", "-4.1"], ("specimens lie 2.1 apart",)),
        (["-2", "-2", "-2.1"], ()),  # among three nothing stands out
        (["-2", "-2.1", "-1.9", "-2", "-2.05", "-3"], ("one specimen stands out (Grubbs, 5 %)",)),
        (
            ["-2", "-2.1", "-1.9", "-2", "-2.05", "-9"],
            ("specimens lie 7.1 apart", "one specimen stands out (Grubbs, 5 %)"),
        ),
        (["-2", "-2", "-2", "-2"], ()),
    ],
)
def test_a_spread_that_asks_for_a_second_look(changes, flags):
    assert calculate(specimens(*changes), curve=True).rows()[0].flags == flags


def test_long_lists_of_notes_are_cut_and_counted():
    lines = [(f"S{number}", "1", "length", "1", "1", "250", "mm") for number in range(250)]
    lines += of_text("X 1 length 1 0 250 mm\nX 1 length 1 1 250 mm")
    notes = calculate(as_csv(lines)).notes
    assert len(notes) == 201 and notes[-1] == "… and 50 more groups with pairs left out."
