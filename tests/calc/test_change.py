"""Dimensional change, against published examples and certified statistics."""

import itertools
import statistics
from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.change import Pair, Track, curve, dimensional_change, percent_pair, summarize
from apps.calc.errors import ChangeError
from apps.calc.rounding import format_change, round_to

from .support import published, refusal, steady

# Published before/after lengths and changes, with our exact value to four decimals and the two reported roundings.
# "agrees" is whether the published figure is right to the 0.1 % a report shows.
PUBLISHED = [
    # source, before, after, published %, exact, to 0.1, to 0.5, agrees
    ("textilepad.com 2022", "35", "32", "8.57", "-8.5714", "-8.6", "-8.5", True),
    ("textilelearner 2013", "35", "33", "6", "-5.7143", "-5.7", "-5.5", False),
    ("12.5 in template, public question page", "12.5", "12.25", "2", "-2.0000", "-2.0", "-2.0", True),
    ("template article: 1/8 in is 1 %", "12.5", "12.125", "3", "-3.0000", "-3.0", "-3.0", True),
    ("quiltingboard.com", "42", "41", "2.4", "-2.3810", "-2.4", "-2.5", True),
    ("quiltingboard.com, areas in square inches", "1512", "1435", "5.1", "-5.0926", "-5.1", "-5.0", True),
    ("fqmxn.com", "90", "86.4", "4", "-4.0000", "-4.0", "-4.0", True),
    ("fqmxn.com", "50", "49.5", "1", "-1.0000", "-1.0", "-1.0", True),
    ("fqmxn.com", "100", "97", "3", "-3.0000", "-3.0", "-3.0", True),
    ("fqmxn.com", "80", "78.6", "2", "-1.7500", "-1.8", "-2.0", False),
]


@pytest.mark.parametrize(("source", "before", "after", "figure", "exact", "tenth", "half", "agrees"), PUBLISHED)
def test_published_examples(source, before, after, figure, exact, tenth, half, agrees):
    change = dimensional_change(D(before), D(after))
    assert round_to(change, D("0.0001")) == D(exact)
    assert str(round_to(change, D("0.1"))) == tenth
    assert str(round_to(change, D("0.5"))) == half
    assert (abs(change + D(figure)) <= D("0.05")) is agrees, source


def test_the_published_6_percent_divides_by_the_washed_length():
    # textilelearner 2013 prints 6 % for 35 -> 33 cm. Wrong: it divides by the washed length; the change is 5.7 %.
    right, wrong = -dimensional_change(D(35), D(33)), dimensional_change(D(33), D(35))
    assert str(round_to(right, D("0.01"))) == "5.71"
    assert str(round_to(wrong, D("0.01"))) == "6.06"


def test_the_published_2_percent_belongs_to_another_length():
    # fqmxn.com prints 2 % for 80 -> 78.6 cm: wrong, it is 1.75 %; 2 % would be 78.4 cm.
    assert dimensional_change(D(80), D("78.6")) == D("-1.75")
    assert dimensional_change(D(80), D("78.4")) == -2


def test_a_published_figure_was_cut_off_not_rounded():
    # quiltingboard.com prints 2.7 % for 36 -> 35 in, which is 2.777... cut off; rounded it is 2.8.
    change = -dimensional_change(D(36), D(35))
    assert int(change * 10) == 27
    assert round_to(change, D("0.1")) == D("2.8")


def test_a_published_spirality_is_a_real_tie():
    # onlineclothingstudy.com 2012: half an inch over eight inches is 6.25 %.
    spirality = dimensional_change(D(8), D("8.5"))
    assert spirality == D("6.25")
    assert round_to(spirality, D("0.1"), "even") == D("6.2")
    assert round_to(spirality, D("0.1"), "away") == D("6.3")
    assert round_to(spirality, D("0.5")) == D("6.0")


# The five cases below are our own, worked out by hand with exact fractions.
def test_nine_length_pairs():
    after = [244, 243, 244, 245, 244, 243, 242, 244, 245]
    pairs = [Pair("123"[i // 3], D(250), D(b)) for i, b in enumerate(after)]
    summary = summarize(pairs, "ratio_of_means")
    assert round_to(D(sum(after)) / 9, D("0.0001")) == D("243.7778")
    assert round_to(summary.change, D("0.0001")) == D("-2.4889")
    assert str(round_to(summary.change, D("0.1"))) == "-2.5"
    assert str(round_to(summary.change, D("0.5"))) == "-2.5"
    assert (summary.n_specimens, summary.n_pairs) == (3, 9)
    assert summarize(pairs, "mean_of_changes").change == summary.change  # equal befores, equal counts


def test_the_averaging_changes_the_reported_digit():
    garments = [Pair("A", D(700), D(680)), Pair("B", D(650), D(640)), Pair("C", D(725), D(700))]
    mean, ratio = summarize(garments, "mean_of_changes"), summarize(garments, "ratio_of_means")
    for summary in (mean, ratio):
        assert [str(round_to(v, D("0.0001"))) for v in summary.per_specimen.values()] == [
            "-2.8571",
            "-1.5385",
            "-3.4483",
        ]
    assert round_to(mean.change, D("0.0001")) == D("-2.6146")
    assert round_to(ratio.change, D("0.0001")) == D("-2.6506")
    assert (str(round_to(mean.change, D("0.1"))), str(round_to(ratio.change, D("0.1")))) == ("-2.6", "-2.7")


def test_no_change_is_plain_zero():
    assert format_change(round_to(dimensional_change(D("250.0"), D(250)), D("0.1"))) == "0.0"
    assert not dimensional_change(D("-0.0") + 250, D(250)).is_signed()


def test_growth_shows_its_plus():
    assert format_change(round_to(dimensional_change(D(35), D("35.7")), D("0.1"))) == "+2.0"


def test_a_specimen_that_lost_a_pair_weighs_as_much_as_the_others():
    pairs = [Pair("1", D(100), D(98)), Pair("1", D(100), D(96)), Pair("2", D(100), D(90))]
    mean, ratio = summarize(pairs, "mean_of_changes"), summarize(pairs, "ratio_of_means")
    assert mean.per_specimen == ratio.per_specimen == {"1": D(-3), "2": D(-10)}
    assert mean.change == D("-6.5")
    assert round_to(ratio.change, D("0.0001")) == D("-5.3333")
    assert round_to(mean.sd, D("0.000001")) == D("4.949747")  # 7 / sqrt 2


def test_the_spread_of_three_specimens():
    # Changes -3.0, -3.4, -2.6: mean -3, sample standard deviation 0.4 exactly.
    summary = summarize([Pair(str(i), D(100), D(b)) for i, b in enumerate(("97", "96.6", "97.4"))], "mean_of_changes")
    assert (summary.change, summary.sd) == (D(-3), D("0.4"))


def test_one_specimen_has_no_spread():
    assert summarize([Pair("1", D(250), D(244)), Pair("1", D(250), D(243))], "ratio_of_means").sd is None


# NIST StRD NumAcc1 to NumAcc4: textbook formulas in floating point lose every digit of the last two.
@pytest.mark.parametrize(
    ("mean", "step", "repeats"),
    [("10000002", "1", 1), ("1.2", "0.1", 500), ("1000000.2", "0.1", 500), ("10000000.2", "0.1", 500)],
)
def test_certified_spreads_on_a_large_offset(mean, step, repeats):
    values = [D(mean), *[D(mean) - D(step), D(mean) + D(step)] * repeats]
    summary = summarize([Pair(str(i), D(100), 100 + v) for i, v in enumerate(values)], "mean_of_changes")
    assert summary.change == D(mean)
    assert summary.sd == D(step)


@pytest.mark.parametrize("name", ["Mavro", "Michelso"])
def test_percent_readings_keep_the_certified_digits(name):
    certified = published("nist_strd")["sets"][name]
    readings = [D(text) for text in certified["data"].split()]
    summary = summarize([Pair(str(i), D(100), 100 + p) for i, p in enumerate(readings)], "mean_of_changes")
    assert summary.change == D(certified["mean"])
    assert abs(summary.sd - D(certified["sd"])) <= D(certified["sd"]) * D("1E-14")


BAD = [
    D(0),
    D(-1),
    D("NaN"),
    D("sNaN"),
    D("Infinity"),
    D("-Infinity"),
    D("1E+500"),
    D("1E-500"),
    250.0,
    "250",
    None,
    True,
]


@pytest.mark.parametrize("bad", BAD)
def test_a_length_must_be_finite_and_above_zero(bad):
    for before, after in ((bad, D(250)), (D(250), bad)):
        assert isinstance(refusal(dimensional_change, before, after), ChangeError)
        error = refusal(summarize, [Pair("A1", D(250), D(240)), Pair("A2", before, after)], "ratio_of_means")
        assert isinstance(error, ChangeError)
        assert "specimen A2" in str(error)


def test_it_says_which_of_the_two_is_wrong():
    assert "after washing" in str(refusal(dimensional_change, D(250), D(0)))
    assert "before washing" in str(refusal(dimensional_change, D("NaN"), D(250)))


def test_nothing_to_average_is_refused():
    assert refusal(summarize, [], "ratio_of_means").code == "no_pairs"
    assert refusal(summarize, [Pair("A", D(1), D(1))], "mean").code == "averaging"


lengths = st.decimals("0.1", "2000", places=2)
pair_lists = st.lists(st.builds(Pair, st.sampled_from("ABC"), lengths, lengths), min_size=1, max_size=9)
averagings = st.sampled_from(["ratio_of_means", "mean_of_changes"])


@given(lengths, lengths)
@steady
def test_the_change_is_the_fraction_it_should_be(before, after):
    exact = 100 * (Fraction(after) - Fraction(before)) / Fraction(before)
    assert abs(Fraction(dimensional_change(before, after)) - exact) <= abs(exact) * Fraction(1, 10**49)


@given(lengths, lengths, st.sampled_from([D("25.4"), D("0.1"), D(3), D("7E-9"), D("1.000001")]))
@steady
def test_the_unit_changes_nothing(before, after, factor):
    assert dimensional_change(before * factor, after * factor) == dimensional_change(before, after)


@given(pair_lists, averagings, st.sampled_from([D("25.4"), D("0.1"), D(3)]), st.randoms(use_true_random=False))
@steady
def test_neither_order_nor_unit_changes_the_summary(pairs, averaging, factor, random):
    moved = [Pair(p.specimen, p.before * factor, p.after * factor) for p in pairs]
    random.shuffle(moved)
    assert summarize(moved, averaging) == summarize(pairs, averaging)


@given(pair_lists, averagings)
@steady
def test_the_summary_agrees_with_plain_fractions(pairs, averaging):
    groups = {
        name: list(group)
        for name, group in itertools.groupby(sorted(pairs, key=lambda p: p.specimen), key=lambda p: p.specimen)
    }

    def percent(group):
        if averaging == "ratio_of_means":
            total = sum(Fraction(p.before) for p in group)
            return 100 * (sum(Fraction(p.after) for p in group) - total) / total
        return statistics.mean(100 * (Fraction(p.after) / Fraction(p.before) - 1) for p in group)

    results = {name: percent(group) for name, group in groups.items()}
    wanted = percent(pairs) if averaging == "ratio_of_means" else statistics.mean(results.values())
    summary = summarize(pairs, averaging)
    assert abs(Fraction(summary.change) - wanted) <= Fraction(1, 10**40)
    assert list(summary.per_specimen) == list(dict.fromkeys(p.specimen for p in pairs))
    for name, result in results.items():
        assert abs(Fraction(summary.per_specimen[name]) - result) <= Fraction(1, 10**40)
    if len(results) > 1:
        assert float(summary.sd) == pytest.approx(statistics.stdev(map(float, results.values())), rel=1e-6, abs=1e-9)
    assert (summary.n_specimens, summary.n_pairs) == (len(results), len(pairs))


def test_percents_are_averaged_as_changes_whatever_the_method_says():
    readings = [("1", "-2.0"), ("1", "-4.0"), ("2", "-10.0")]
    pairs = [percent_pair(specimen, D(p)) for specimen, p in readings]
    for averaging in ("ratio_of_means", "mean_of_changes"):
        summary = summarize(pairs, averaging)
        assert (summary.change, summary.per_specimen) == (D("-6.5"), {"1": D(-3), "2": D(-10)})
    # As lengths the same figures would be added up first.
    lengths = [Pair(p.specimen, p.before, p.after) for p in pairs]
    assert round(summarize(lengths, "ratio_of_means").change, 4) == D("-5.3333")


def test_lengths_and_percents_do_not_mix():
    mixed = [Pair("1", D(250), D(244)), percent_pair("2", D("-2.5"))]
    error = refusal(summarize, mixed, "mean_of_changes")
    assert isinstance(error, ChangeError)
    assert error.code == "mixed"
    tracks = [Track("1", D(250), {1: D(244)}), Track("2", D(100), {1: D("97.5")}, "percent")]
    assert refusal(curve, tracks, "mean_of_changes").code == "mixed"


@pytest.mark.parametrize("percent", [D(-100), D("-100.5"), D("NaN"), D("Infinity"), -2.5, "-2.5", None])
def test_a_percent_reading_leaves_some_cloth(percent):
    error = refusal(percent_pair, "A1", percent)
    assert isinstance(error, ChangeError)
    assert "A1" in str(error)


def test_a_percent_pair_begins_at_a_hundred():
    assert refusal(summarize, [Pair("1", D(250), D(244), "percent")], "mean_of_changes").code == "percent"
    assert refusal(summarize, [Pair("1", D(250), D(244), "pct")], "mean_of_changes").code == "kind"


def tracks_of(*rows):
    """Rows like "1 250 246 245 -": specimen, original, and what was read after cycles 1, 3 and 5."""
    tracks = []
    for row in rows:
        specimen, original, *read = row.split()
        readings = {cycle: D(mm) for cycle, mm in zip((1, 3, 5), read, strict=True) if mm != "-"}
        tracks.append(Track(specimen, D(original), readings))
    return tracks


def test_a_curve_has_the_same_pairs_at_every_point():
    # Worked by hand; the pair lost after cycle 3 shrank most, so without it the curve starts higher.
    found = curve(tracks_of("1 250 245 244 243", "1 250 240 239 -", "2 200 196 195 194"), "mean_of_changes")
    assert (found.n_pairs, found.left_out) == (2, 1)
    assert {cycle: point.change for cycle, point in found.points.items()} == {1: D(-2), 3: D("-2.45"), 5: D("-2.9")}
    assert [point.n_pairs for point in found.points.values()] == [2, 2, 2]
    assert round(found.points[5].sd, 6) == D("0.141421")  # -2.8 and -3.0: 0.2 / sqrt 2
    # Asked for the first two cycles only, the pair is in.
    assert curve(tracks_of("1 250 245 244 243", "1 250 240 239 -"), "ratio_of_means", (1, 3)).points[1].change == -3


def test_a_curve_may_be_in_percent():
    tracks = [Track("1", D(100), {1: D(97), 2: D("96.5")}, "percent"), Track("2", D(100), {1: D(99)}, "percent")]
    found = curve(tracks, "ratio_of_means")
    assert {cycle: point.change for cycle, point in found.points.items()} == {1: D(-3), 2: D("-3.5")}
    assert found.left_out == 1


@pytest.mark.parametrize(
    ("tracks", "cycles", "code"),
    [
        ([], None, "no_common_pairs"),
        ([Track("1", D(250), {})], None, "no_common_pairs"),
        ([Track("1", D(250), {1: D(244)}), Track("2", D(250), {2: D(244)})], None, "no_common_pairs"),
        ([Track("1", D(250), {1: D(244)})], (1, 2), "no_common_pairs"),
        ([Track("1", D(250), {1: D(244)})], (), "no_common_pairs"),
        ([Track("1", D(250), {0: D(250), 1: D(244)})], None, "cycle"),
        ([Track("1", D(250), {True: D(244)})], None, "cycle"),
        ([Track("1", D(250), {1: D(0)})], None, "not_positive"),
        ([Track("1", D("NaN"), {1: D(244)})], None, "not_finite"),
    ],
)
def test_no_curve_without_common_readings(tracks, cycles, code):
    error = refusal(curve, tracks, "ratio_of_means", cycles)
    assert isinstance(error, ChangeError)
    assert error.code == code


all_tracks = st.lists(
    st.builds(
        Track,
        st.sampled_from("ABC"),
        lengths,
        st.dictionaries(st.integers(1, 4), lengths, max_size=4),
    ),
    min_size=1,
    max_size=8,
)


@given(all_tracks, averagings)
@steady
def test_a_curve_is_the_summary_of_the_pairs_common_to_all(tracks, averaging):
    cycles = {cycle for track in tracks for cycle in track.readings}
    common = [track for track in tracks if set(track.readings) == cycles]
    if not common or not cycles:
        assert refusal(curve, tracks, averaging).code == "no_common_pairs"
        return
    found = curve(tracks, averaging)
    assert list(found.points) == sorted(cycles)
    assert found.n_pairs + found.left_out == len(tracks)
    for cycle, point in found.points.items():
        assert point == summarize([Pair(t.specimen, t.original, t.readings[cycle]) for t in common], averaging)
