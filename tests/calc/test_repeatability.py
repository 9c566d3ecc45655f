"""Repeatability: against ISO 5725-2, ASTM E691, the certified analyses of NIST StRD and two published gauge studies."""

import itertools
import math
import random
import statistics
from decimal import Context
from decimal import Decimal as D
from pathlib import Path

import numpy as np
import pytest
import scipy
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import RepeatabilityError
from apps.calc.repeatability import Trial, average_and_range, crossed, one_way
from apps.calc.rounding import round_to

from .support import published, refusal, steady


def decimals(text):
    return [D(x) for x in text.split()]


def places(figure):
    """The last place of a published figure."""
    return D(1).scaleb(D(figure).as_tuple().exponent)


def test_sulfur_in_coal():
    found = published("iso_5725_2_sulfur")
    laboratories = found["results_of_laboratory_by_level"].values()
    for level, (printed, finer) in enumerate(zip(found["published"], found["four_decimals"], strict=True)):
        result = one_way([decimals(levels[level]) for levels in laboratories])
        for figures in (printed, finer):
            for name, figure in figures.items():
                assert round_to(getattr(result, name), places(figure)) == D(figure), (level, name)
        assert not result.clamped
        assert (round(result.r, 20), round(result.R, 20)) == (
            round(result.s_r * D("2.8"), 20),
            round(result.s_R * D("2.8"), 20),
        )


def test_glucose_in_serum():
    for name, printed in published("astm_e691_glucose")["materials"].items():
        groups = [decimals(text) for text in printed["results"]]
        result = one_way(groups)
        for figure in ("mean", "s_r", "s_R"):
            assert round_to(getattr(result, figure), places(printed[figure])) == D(printed[figure]), name
        means = [statistics.mean(group) for group in groups]
        assert round_to(statistics.stdev(means), places(printed["s_x"])) == D(printed["s_x"])
        # Of material A the laboratories differ less than their own results do: E691 raises s_R to s_r.
        assert result.clamped is (name == "A") is (result.s_R == result.s_r)


SHIPPED = Path(scipy.__file__).parent / "stats/tests/data/nist_anova"
FIFTEEN = Context(prec=15)


# NIST StRD, analysis of variance, as scipy ships it. SmLs09: 18,009 values with twelve constant leading digits.
@pytest.mark.parametrize("name", ["SiRstv", "AtmWtAg", *(f"SmLs0{i}" for i in (1, 2, 4, 5, 7, 8, 9))])
def test_certified_analyses_of_variance(name):
    lines = (SHIPPED / f"{name}.dat").read_text().splitlines()
    between = next(line.split() for line in lines if line.startswith("Between"))
    deviation = next(line.split()[-1] for line in lines if line.strip().startswith("Standard Deviation"))
    groups = {}
    for line in lines[60:]:
        group, value = line.split()
        groups.setdefault(group, []).append(D(value))
    result = one_way(list(groups.values()))
    assert FIFTEEN.plus(result.s_r) == D(deviation)
    size = len(next(iter(groups.values())))
    mean_square = size * result.s_L**2 + result.s_r**2
    assert FIFTEEN.plus(mean_square) == D(between[-2])
    assert FIFTEEN.plus(mean_square / result.s_r**2) == D(between[-1])


def test_five_instruments_as_laboratories():
    # NIST StRD SiRstv read as ISO 5725: computed from the certified sums of squares.
    lines = (SHIPPED / "SiRstv.dat").read_text().splitlines()[60:]
    groups = [[D(line.split()[1]) for line in lines if line.split()[0] == str(i)] for i in range(1, 6)]
    result = one_way(groups)
    assert [round(figure, 7) for figure in (result.s_r, result.s_R)] == [D("0.1040761"), D("0.1059376")]
    assert round(result.s_L**2, 9) == D("0.000390947")


@pytest.mark.parametrize(
    ("groups", "code"),
    [
        ([], "too_few"),
        ([[D(1), D(2)]], "too_few"),
        ([[D(1)], [D(2)]], "too_few"),
        ([[D(1), D(2)], []], "empty_group"),
        ([[D(1), D(2)], [D("NaN")]], "not_finite"),
        ([[D(1), D(2)], [1.5]], "not_exact"),
    ],
)
def test_groups_must_be_sound(groups, code):
    error = refusal(one_way, groups)
    assert isinstance(error, RepeatabilityError)
    assert error.code == code


def test_the_value_with_a_fault_is_named():
    assert "Value 2 of group 3" in str(refusal(one_way, [[D(1)], [D(1), D(2)], [D(1), D("NaN")]]))


values = st.decimals(-10, 10, places=2)


@given(st.lists(st.lists(values, min_size=1, max_size=6), min_size=2, max_size=7))
@steady
def test_it_agrees_with_numpy(groups):
    total = sum(map(len, groups))
    if total == len(groups):
        assert refusal(one_way, groups).code == "too_few"
        return
    result = one_way(groups)
    arrays = [np.array(group, dtype=float) for group in groups]
    everything = np.concatenate(arrays)
    within = sum(((a - a.mean()) ** 2).sum() for a in arrays) / (total - len(groups))
    between = sum(len(a) * (a.mean() - everything.mean()) ** 2 for a in arrays) / (len(groups) - 1)
    size = (total - sum(len(a) ** 2 for a in arrays) / total) / (len(groups) - 1)
    assert float(result.mean) == pytest.approx(everything.mean(), abs=1e-9)
    assert float(result.s_r) == pytest.approx(math.sqrt(within), abs=1e-6)
    assert float(result.s_L) == pytest.approx(math.sqrt(max(0, (between - within) / size)), abs=1e-6)
    assert float(result.s_R) == pytest.approx(math.hypot(float(result.s_r), float(result.s_L)), rel=1e-12)
    assert result.dof == total - len(groups)
    if abs(between - within) > 1e-9:
        assert result.clamped is bool(between < within)
    assert result.s_R >= result.s_r
    moved = one_way([[3 * x + 7 for x in group] for group in reversed(groups)])
    assert float(moved.s_R) == pytest.approx(3 * float(result.s_R), rel=1e-12)


def aiag():
    readings = published("aiag_gauge_study")["readings_of_appraiser_by_trial_over_parts"]
    return [
        Trial(str(part), appraiser, value)
        for appraiser, trials in readings.items()
        for trial in trials
        for part, value in enumerate(decimals(trial), 1)
    ]


def test_the_aiag_study_by_analysis_of_variance():
    printed, study = published("aiag_gauge_study"), crossed(aiag())
    for name, figure in printed["sums_of_squares"].items():
        if name != "total":
            assert round_to(study.table[name].sum_of_squares, places(figure)) == D(figure)
            mean_square = printed["mean_squares"][name]
            assert round_to(study.table[name].mean_square, places(mean_square)) == D(mean_square)
    total = sum(row.sum_of_squares for row in study.table.values())
    assert round(total, 5) == D(printed["sums_of_squares"]["total"])
    for name, figure in printed["f"].items():
        assert round_to(study.table[name].f, places(figure)) == D(figure)
    assert [row.dof for row in study.table.values()] == [2, 9, 18, 60]
    assert study.table["interaction"].p == pytest.approx(0.974, abs=5e-4)
    assert study.pooled
    for name, figure in printed["recomputed"].items():
        assert round(getattr(study, name), 8) == D(figure)
    for shares, name in (
        (study.percent_of_study(), "percent_of_study"),
        (study.percent_contribution(), "percent_contribution"),
    ):
        assert {key: round(share, 2) for key, share in shares.items()} == {k: D(v) for k, v in printed[name].items()}
    assert study.ndc == 4


def test_a_printed_gauge_figure_is_one_too_high_in_its_last_digit():
    # The manual prints GRR = 0.302373 beside EV = 0.199933 and AV = 0.226838; from the readings it is 0.3023715.
    printed, study = published("aiag_gauge_study")["variance_analysis"], crossed(aiag())
    assert round(study.GRR, 6) == D("0.302372") != D(printed["GRR"])
    assert {name: round(getattr(study, name), 6) for name in ("EV", "AV", "PV")} == {
        name: D(printed[name]) for name in ("EV", "AV", "PV")
    }


def test_the_aiag_study_by_averages_and_ranges():
    printed, study = published("aiag_gauge_study"), average_and_range(aiag())
    for name, figure in printed["averages_and_ranges_recomputed"].items():
        assert round_to(getattr(study, name), places(figure)) == D(figure)
        # The manual carries averages of four decimals along, so its last digits differ.
        assert abs(getattr(study, name) - D(printed["averages_and_ranges"][name])) <= D("0.00005")
    assert round(D("0.3417") * D("0.5908"), 5) == D(printed["averages_and_ranges"]["EV"])
    assert {name: round(share, 2) for name, share in study.percent_of_study().items()} == {
        "EV": D("17.61"),
        "AV": D("20.04"),
        "GRR": D("26.68"),
        "PV": D("96.38"),
    }
    # The two methods tell one category apart: 4.86 and 5.09 before they are cut.
    assert (study.ndc, crossed(aiag()).ndc) == (5, 4)


def helicopters():
    readings = published("helicopter_gauge_study")["readings_of_prototype_by_operator"]
    return [
        Trial(part, str(operator), value)
        for part, cells in readings.items()
        for operator, cell in enumerate(cells)
        for value in decimals(cell)
    ]


def test_the_helicopter_study():
    printed, study = published("helicopter_gauge_study"), crossed(helicopters())
    for name, figure in printed["sums_of_squares"].items():
        assert round_to(study.table[name].sum_of_squares, places(figure)) == D(figure)
    over = study.table["part"].mean_square / study.table["interaction"].mean_square
    assert round(over, 3) == D(printed["f_of_parts_over_interaction"])
    assert round(study.table["interaction"].f, 3) == D(printed["f_of_interaction"])
    assert study.table["interaction"].p == pytest.approx(float(printed["p_of_interaction"]), abs=5e-6)
    for name, figure in printed["variances"].items():
        assert round(getattr(study, name) ** 2, 10) == D(figure)
    for shares, name in (
        (study.percent_of_study(), "percent_of_study"),
        (study.percent_contribution(), "percent_contribution"),
    ):
        assert {key: round(share, 2) for key, share in shares.items()} == {k: D(v) for k, v in printed[name].items()}
    assert study.ndc == printed["ndc"]


def test_the_factors_are_what_they_should_be():
    # K1 is 1/d2; K2 and K3 are 1/d2* for one range of all means, d2*^2 = d2^2 + d3^2 (constants as in test_control).
    from apps.calc.control import constants
    from apps.calc.repeatability import K1, K2, K3

    for n, k in K1.items():
        assert round(1 / constants(n).d2, 4) == k
    for n, k in (K2 | K3).items():
        assert round(D(1) / (constants(n).d2 ** 2 + constants(n).d3 ** 2).sqrt(), 4) == k


def study_of(cells):
    """Cells as {(part, appraiser): values}."""
    return [Trial(part, appraiser, D(value)) for (part, appraiser), given in cells.items() for value in given]


def test_people_who_agree_too_well_have_no_variance():
    # The appraisers' means are equal while their readings scatter: the variance comes out negative.
    cells = {("1", "A"): [1, 3], ("1", "B"): [2, 2], ("2", "A"): [9, 7], ("2", "B"): [8, 8]}
    for study in (crossed(study_of(cells)), average_and_range(study_of(cells))):
        assert "appraiser" in study.clamped
        assert study.AV == 0
        assert study.GRR == study.EV > 0


def test_an_interaction_that_is_real_counts_with_the_people():
    cells = {("1", "A"): ["1", "1.1"], ("1", "B"): ["3", "3.1"], ("2", "A"): ["4", "4.1"], ("2", "B"): ["2", "2.1"]}
    study = crossed(study_of(cells))
    assert not study.pooled
    # By hand: the cell means 1.05, 3.05, 4.05, 2.05 lie 1 off what parts and people explain, both of which are nil or
    # small: interaction 2 x 4 x 1 = 8 on one degree, equipment 4 x 0.005 on four.
    assert [study.table[name].sum_of_squares for name in ("appraiser", "part", "interaction", "equipment")] == [
        *(0, 2, 8),
        D("0.02"),
    ]
    assert [round(sd**2, 20) for sd in (study.EV, study.interaction, study.AV)] == [
        D("0.005"),
        D("3.9975"),
        D("3.9975"),
    ]
    assert (study.clamped, study.PV, study.ndc) == (("appraiser", "part"), 0, 0)


def test_readings_without_any_scatter():
    cells = {("1", "A"): [1, 1], ("1", "B"): [1, 1], ("2", "A"): [2, 2], ("2", "B"): [2, 2]}
    study = crossed(study_of(cells))
    assert (study.EV, study.AV, study.GRR, study.ndc) == (0, 0, 0, None)
    assert (study.table["part"].f, study.table["part"].p, study.table["interaction"].p) == (None, 0.0, 1.0)
    flat = crossed(study_of({key: [1, 1] for key in cells}))
    assert refusal(flat.percent_of_study).code == "no_spread"


@pytest.mark.parametrize(
    ("cells", "code"),
    [
        ({}, "too_few"),
        ({("1", "A"): [1, 2]}, "too_few"),
        ({("1", "A"): [1, 2], ("1", "B"): [1, 2]}, "too_few"),
        ({("1", "A"): [1], ("1", "B"): [1], ("2", "A"): [1], ("2", "B"): [1]}, "too_few"),
        ({("1", "A"): [1, 2], ("1", "B"): [1, 2], ("2", "A"): [1, 2], ("2", "B"): [1]}, "unequal"),
        ({("1", "A"): [1, 2], ("1", "B"): [1, 2], ("2", "A"): [1, 2]}, "unequal"),
        ({("1", "A"): [1, 2], ("1", "B"): [1, 2], ("2", "A"): [1, 2], ("2", "B"): [1, "NaN"]}, "not_finite"),
    ],
)
def test_a_study_must_be_whole(cells, code):
    for method in (crossed, average_and_range):
        error = refusal(method, study_of(cells))
        assert isinstance(error, RepeatabilityError)
        assert error.code == code


def test_what_else_is_refused():
    assert refusal(crossed, aiag(), 0).code == "not_a_probability"
    four = study_of({(p, a): [1, 2, 3, 4] for p in "12" for a in "AB"})
    assert refusal(average_and_range, four).code == "size"
    assert crossed(four).EV > 0


def by_components(cells, parts, people, size, alpha):
    """The study in floating point, by the text book: numpy sums, scipy's F."""
    from scipy import stats

    y = np.array([[cells[p, a] for a in people] for p in parts], dtype=float)
    p, a, n = y.shape
    grand, cell = y.mean(), y.mean(axis=2)
    ss_a = p * n * ((y.mean(axis=(0, 2)) - grand) ** 2).sum()
    ss_p = a * n * ((y.mean(axis=(1, 2)) - grand) ** 2).sum()
    ss_e = ((y - cell[:, :, None]) ** 2).sum()
    ss_i = n * ((cell - grand) ** 2).sum() - ss_a - ss_p
    d_i, d_e = (a - 1) * (p - 1), a * p * (n - 1)
    chance = stats.f.sf((ss_i / d_i) / (ss_e / d_e), d_i, d_e)
    if chance > alpha:
        error = (ss_i + ss_e) / (d_i + d_e)
        against, both = error, 0.0
    else:
        error, against = ss_e / d_e, ss_i / d_i
        both = (against - error) / n
    people_variance = max(0.0, (ss_a / (a - 1) - against) / (p * n)) + max(0.0, both)
    return chance, error, people_variance, max(0.0, (ss_p / (p - 1) - against) / (a * n))


@pytest.mark.parametrize("case", range(80))
def test_studies_drawn_at_random(case):
    draw = random.Random(case)
    parts, people, size = "12345"[: draw.randint(2, 5)], "ABC"[: draw.randint(2, 3)], draw.randint(2, 3)
    own = {name: draw.gauss(0, draw.choice([0, 0.3, 2])) for name in parts + people}
    mixed = draw.choice([0, 1])
    cells = {}
    for key in itertools.product(parts, people):
        level = sum(own[name] for name in key) + draw.gauss(0, mixed)
        cells[key] = [D(str(round(level + draw.gauss(0, 0.5), 2))) for _ in range(size)]
    study = crossed(study_of(cells))
    chance, error, of_people, of_parts = by_components(cells, parts, people, size, 0.05)
    assert study.table["interaction"].p == pytest.approx(chance, rel=1e-6)
    assert study.pooled is bool(chance > 0.05)
    assert float(study.EV) ** 2 == pytest.approx(error, rel=1e-9)
    assert float(study.AV) ** 2 == pytest.approx(of_people, rel=1e-6, abs=1e-9)
    assert float(study.PV) ** 2 == pytest.approx(of_parts, rel=1e-6, abs=1e-9)
    assert float(study.TV) == pytest.approx(math.hypot(float(study.GRR), float(study.PV)), rel=1e-12)
    assert sum(study.percent_contribution()[name] for name in ("GRR", "PV")) == pytest.approx(D(100), abs=D("1E-20"))
    assert study.ndc == math.floor(1.41 * float(study.PV / study.GRR))
    by_ranges = average_and_range(study_of(cells))
    shuffled = study_of(cells)
    draw.shuffle(shuffled)
    assert crossed(shuffled).PV == study.PV
    assert average_and_range(shuffled).GRR == by_ranges.GRR
