"""Control charts, against the NIST handbook, Montgomery's text book and the printed tables of constants."""

import itertools
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.control import constants, ewma, individuals, lag_one, moving_range, xbar_r, xbar_s
from apps.calc.errors import ControlError

from .support import pi_digits, published, refusal, steady

# NIST/SEMATECH e-Handbook 6.3.2.2, individuals chart.
NIST_IMR = "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
# NIST/SEMATECH e-Handbook 6.3.2.4: values, and the averages it prints (the first is the start).
NIST_EWMA = "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
NIST_AVERAGES = (
    "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 "
    "51.94 51.99"
)
# D. C. Montgomery, Introduction to Statistical Quality Control, table 9.1 (values from memory, confirmed by the
# averages and limits printed with them).
MONTGOMERY = (
    "9.45 7.99 9.29 11.66 12.16 10.18 8.04 11.46 9.20 10.34 9.03 11.47 10.51 9.40 10.08 9.37 10.62 10.31 8.52 10.84 "
    "10.90 9.33 12.29 11.50 10.60 11.08 10.38 11.62 11.31 10.52"
)


def decimals(text):
    return [D(x) for x in text.split()]


def test_the_individuals_chart_of_the_nist_handbook():
    limits = individuals(decimals(NIST_IMR))
    assert limits.center == D("50.81")
    assert round(limits.mr_bar, 4) == D("1.8778")
    assert (round(limits.upper, 4), round(limits.lower, 4)) == (D("55.8041"), D("45.8159"))


def test_the_ewma_chart_of_the_nist_handbook():
    points = ewma(decimals(NIST_EWMA), D(50), D("2.0539"), 0.3, 3)
    # The handbook carries rounded averages along, so its last digit may be one off.
    for point, printed in zip(points, decimals(NIST_AVERAGES), strict=True):
        assert abs(point.value - printed) <= D("0.01")
    assert round(points[-1].upper, 4) == D("52.5884")
    assert round(points[-1].lower, 4) == D("47.4116")  # the handbook prints 47.4115, cut off
    assert all(point.lower < point.value < point.upper for point in points[1:])


def test_the_ewma_chart_of_montgomery():
    points = ewma(decimals(MONTGOMERY), D(10), D(1), D("0.1"), D("2.7"))
    assert [points[i].value for i in (0, 1)] == [D("9.945"), D("9.7495")]
    assert [round(points[i].value, 4) for i in (28, 29)] == [D("10.6468"), D("10.6341")]
    assert [round(points[i].upper, 4) for i in (0, 1, 29)] == [D("10.2700"), D("10.3632"), D("10.6189")]
    assert [i for i, p in enumerate(points, 1) if not p.lower <= p.value <= p.upper] == [29, 30]


def test_a_weight_of_one_is_a_chart_of_single_values():
    points = ewma(decimals("1 2 4"), D(2), D("0.5"), 1, 3)
    assert [p.value for p in points] == [1, 2, 4]
    assert {(p.lower, p.upper) for p in points} == {(D("0.5"), D("3.5"))}


def test_a_chart_without_points_is_empty():
    assert ewma([], D(10), D(1), 0.1, 2.7) == []


@pytest.mark.parametrize("values", [[], [D(1)]])
def test_one_value_does_not_move(values):
    error = refusal(individuals, values)
    assert isinstance(error, ControlError)
    assert error.code == "too_few"


@pytest.mark.parametrize("bad", [D("NaN"), D("sNaN"), D("-Infinity"), D("1E+99"), 1.5, "1", None])
def test_a_value_that_is_no_value_is_named(bad):
    assert "Value 2" in str(refusal(individuals, [D(1), bad]))
    assert "Value 2" in str(refusal(ewma, [D(1), bad], D(1), D(1), 0.2, 3))
    assert isinstance(refusal(ewma, [D(1)], bad, D(1), 0.2, 3), ControlError)
    assert isinstance(refusal(ewma, [D(1)], D(1), bad, 0.2, 3), ControlError)


@pytest.mark.parametrize("bad", [0, -1, D(0), float("nan"), float("inf"), "0.2", None, True])
def test_weight_and_width_are_above_zero(bad):
    assert isinstance(refusal(ewma, [D(1)], D(1), D(1), bad, 3), ControlError) or bad is True
    assert isinstance(refusal(ewma, [D(1)], D(1), D(1), 0.2, bad), ControlError)


def test_the_weight_is_at_most_one():
    assert refusal(ewma, [D(1)], D(1), D(1), 1.01, 3).code == "weight"


@given(st.lists(st.decimals(-10, 10, places=2), min_size=2, max_size=15), st.sampled_from(["0.1", "0.25", "1"]))
@steady
def test_charts_move_with_their_values(values, lam):
    limits = individuals(values)
    shifted = individuals([3 * value + 7 for value in values])
    for name in ("center", "lower", "upper"):
        assert abs(getattr(shifted, name) - (3 * getattr(limits, name) + 7)) < D("1E-24")
    assert limits.upper - limits.center == pytest.approx(limits.center - limits.lower)
    assert float(limits.mr_bar) == pytest.approx(
        sum(abs(float(b - a)) for a, b in itertools.pairwise(values)) / (len(values) - 1)
    )
    points = ewma(values, D(1), D("0.5"), D(lam), 3)
    weights = [float(lam) * (1 - float(lam)) ** age for age in range(len(values))]
    wanted = sum(w * float(x) for w, x in zip(weights, reversed(values), strict=True)) + (1 - float(lam)) ** len(values)
    assert float(points[-1].value) == pytest.approx(wanted, abs=1e-9)
    widths = [point.upper - point.lower for point in points]
    assert widths == sorted(widths)
    steady_width = 6 * 0.5 * (float(lam) / (2 - float(lam))) ** 0.5
    assert float(widths[-1]) <= steady_width * (1 + 1e-12)


def test_the_moving_range_chart_of_the_nist_handbook():
    # The same ten values: upper limit 3.267 x 1.8778 = 6.135.
    band = moving_range(decimals(NIST_IMR))
    assert (round(band.center, 4), band.lower, round(band.upper, 3)) == (D("1.8778"), 0, D("6.135"))


# ISO 7870-2, ASTM E2587 and the text books, to the decimals they print (from memory): A2, A3, B3, B4, c4, d2, d3, D3,
# D4, E2. For D4 of five values 2.114 and 2.115 are both printed; it is 2.1145.
PRINTED = {
    2: "1.880 2.659 0 3.267 0.7979 1.128 0.853 0 3.267 2.659",
    3: "1.023 1.954 0 2.568 0.8862 1.693 0.888 0 2.575 1.772",
    4: "0.729 1.628 0 2.266 0.9213 2.059 0.880 0 2.282 1.457",
    5: "0.577 1.427 0 2.089 0.9400 2.326 0.864 0 2.114 1.290",
    6: "0.483 1.287 0.030 1.970 0.9515 2.534 0.848 0 2.004 1.184",
    7: "0.419 1.182 0.118 1.882 0.9594 2.704 0.833 0.076 1.924 1.109",
    8: "0.373 1.099 0.185 1.815 0.9650 2.847 0.820 0.136 1.864 1.054",
    9: "0.337 1.032 0.239 1.761 0.9693 2.970 0.808 0.184 1.816 1.010",
    10: "0.308 0.975 0.284 1.716 0.9727 3.078 0.797 0.223 1.777 0.975",
}


@pytest.mark.parametrize("n", PRINTED)
def test_the_constants_are_the_printed_ones(n):
    found = constants(n)
    figures = [found.A2, found.A3, found.B3, found.B4, found.c4, found.d2, found.d3, found.D3, found.D4, found.E2]
    for figure, printed in zip(figures, decimals(PRINTED[n]), strict=True):
        assert abs(figure - printed) <= D(1).scaleb(printed.as_tuple().exponent) * D("0.51") or printed == D("2.114")
    assert found.n == n


@pytest.mark.parametrize("n", PRINTED)
def test_the_constants_follow_from_their_definitions(n):
    import numpy as np
    from scipy import special

    # The range W of n normal values: P(W < w) = n times the integral of phi(x) (Phi(x + w) - Phi(x))^(n - 1) over x.
    x = np.linspace(-10, 10, 2001)
    nodes, weights = np.polynomial.legendre.leggauss(120)
    w, weights = 8 * (nodes + 1), 8 * weights  # from 0 to 16
    inside = special.ndtr(x[None, :] + w[:, None]) - special.ndtr(x)[None, :]
    phi = np.exp(-x * x / 2) / np.sqrt(2 * np.pi)
    beyond = 1 - n * (phi * inside ** (n - 1)).sum(axis=1) * 0.01
    d2 = (weights * beyond).sum()
    d3 = np.sqrt(2 * (weights * w * beyond).sum() - d2**2)
    c4 = np.sqrt(2 / (n - 1)) * special.gamma(n / 2) / special.gamma((n - 1) / 2)
    found = constants(n)
    assert [float(found.d2), float(found.d3), float(found.c4)] == pytest.approx([d2, d3, c4], rel=1e-10)


@pytest.mark.parametrize("n", [0, 1, 11, True, None, 2.5])
def test_there_are_no_other_constants(n):
    assert refusal(constants, n).code == "size"


def rings(name):
    return [decimals(row) for row in published("piston_rings")[name]]


def test_the_piston_rings_of_montgomery():
    printed, charts = published("piston_rings"), xbar_r(rings("first_25"))
    for band, figures in ((charts.means, printed["means"]), (charts.spreads, printed["ranges"])):
        for name, figure in figures.items():
            assert round(getattr(band, name), -D(figure).as_tuple().exponent) == D(figure)
    assert round(charts.sigma, 6) == D(printed["sigma"])
    by_s = xbar_s(rings("first_25"))
    assert by_s.means.center == charts.means.center
    for band, figures in ((by_s.means, printed["means_by_s"]), (by_s.spreads, printed["deviations"])):
        for name, figure in figures.items():
            assert round(getattr(band, name), -D(figure).as_tuple().exponent) == D(figure)
    means = [sum(group) / 5 for group in rings("next_15")]
    out = [i for i, mean in enumerate(means, 26) if not charts.means.lower <= mean <= charts.means.upper]
    assert out == printed["groups_out"]


@pytest.mark.parametrize(
    ("groups", "code"),
    [
        ([], "too_few"),
        ([[D(1), D(2)]], "too_few"),
        ([[D(1), D(2)], [D(1)]], "unequal"),
        ([[D(1)], [D(2)]], "size"),
        ([[D(1)] * 11, [D(2)] * 11], "size"),
        ([[], []], "size"),
        ([[D(1), D(2)], [D(1), D("NaN")]], "not_finite"),
        ([[D(1), D(2)], [D(1), 2.5]], "not_exact"),
    ],
)
def test_groups_must_be_sound(groups, code):
    for chart in (xbar_r, xbar_s):
        error = refusal(chart, groups)
        assert isinstance(error, ControlError)
        assert error.code == code


def groups_of(n):
    return st.lists(st.lists(st.decimals(-5, 5, places=2), min_size=n, max_size=n), min_size=2, max_size=6)


@given(st.integers(2, 10).flatmap(groups_of))
@steady
def test_charts_of_groups_agree_with_numpy(groups):
    import numpy as np

    table, n = np.array(groups, dtype=float), len(groups[0])
    size, by_range, by_s = constants(n), xbar_r(groups), xbar_s(groups)
    ranges, deviations = np.ptp(table, axis=1).mean(), table.std(axis=1, ddof=1).mean()
    assert float(by_range.means.center) == pytest.approx(table.mean(), abs=1e-12)
    assert float(by_range.sigma) == pytest.approx(ranges / float(size.d2), rel=1e-9, abs=1e-12)
    assert float(by_s.sigma) == pytest.approx(deviations / float(size.c4), rel=1e-6, abs=1e-9)
    for charts in (by_range, by_s):
        reach = 3 * float(charts.sigma) / n**0.5
        assert float(charts.means.upper - charts.means.center) == pytest.approx(reach, rel=1e-9, abs=1e-12)
        assert float(charts.means.center - charts.means.lower) == pytest.approx(reach, rel=1e-9, abs=1e-12)
        assert 0 <= charts.spreads.lower <= charts.spreads.center <= charts.spreads.upper
    assert float(by_range.spreads.upper) == pytest.approx(ranges + 3 * float(size.d3 * by_range.sigma), abs=1e-9)
    pairs = xbar_r([group[:2] for group in groups])
    assert pairs.spreads.lower == 0


# NIST StRD, univariate: the certified lag-1 autocorrelation of each set, to its fifteen digits.
@pytest.mark.parametrize(
    ("name", "r1"),
    [
        ("Lew", "-0.307304800605679"),
        ("Lottery", "-0.120948622967393"),
        ("Mavro", "0.937989183438248"),
        ("Michelso", "0.535199668621283"),
    ],
)
def test_certified_correlations_of_neighbours(name, r1):
    assert round(lag_one(decimals(published("nist_strd")["sets"][name]["data"])), 15) == D(r1)


@pytest.mark.parametrize("mean", ["1.2", "1000000.2", "10000000.2"])
def test_certified_correlations_on_a_large_offset(mean):
    # NIST StRD NumAcc2 to NumAcc4; NumAcc1 is three values with -0.5.
    assert lag_one([D(mean), *[D(mean) - D("0.1"), D(mean) + D("0.1")] * 500]) == D("-0.999")
    assert lag_one([D(10000001), D(10000003), D(10000002)]) == D("-0.5")


def test_the_certified_correlation_of_the_digits_of_pi():
    # NIST StRD PiDigits, with the slip of its list (see test_spread).
    digits = [D(d) for d in pi_digits(5000)]
    digits[956] = D(3)
    assert round(lag_one(digits), 17) == D("-0.00355099287237972")


@pytest.mark.parametrize(
    ("values", "code"),
    [([], "too_few"), ([D(1)], "too_few"), ([D(1), D("1.0")], "no_spread"), ([D(1), D("NaN")], "not_finite")],
)
def test_neighbours_need_values(values, code):
    assert refusal(lag_one, values).code == code
    assert code == "no_spread" or refusal(moving_range, values).code == code
