"""The way to a stable size: against the certified fits of NIST StRD and scipy's own least squares."""

import math
import random
from decimal import Context
from decimal import Decimal as D

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from apps.calc.errors import ProgressError
from apps.calc.progress import approach, cycles_until, follow, steps

from .support import published, refusal, steady

fewer = settings(steady, max_examples=50)  # a fit takes 15 ms


# NIST StRD, nonlinear: the same curve. Misra1a's x have one decimal, so there our cycles are tenths of its x.
@pytest.mark.parametrize(("name", "tenths"), [("BoxBOD", 1), ("Misra1a", 10)])
def test_certified_approaches(name, tenths):
    certified = published("nist_strd_nonlinear")["sets"][name]
    changes = {int(D(x) * tenths): D(y) for x, y in zip(certified["x"].split(), certified["y"].split(), strict=True)}
    found = approach(changes)
    eleven = Context(prec=11)
    assert eleven.plus(found.final) == D(certified["b1"])
    assert eleven.plus(found.u) == D(certified["sd_b1"])
    assert eleven.plus(found.k * tenths) == D(certified["b2"])
    assert eleven.plus(found.u_k * tenths) == D(certified["sd_b2"])
    assert eleven.plus(found.scatter) == D(certified["residual_sd"])
    assert found.dof == certified["dof"]
    assert float(found.U) == pytest.approx(stats.t.ppf(0.975, found.dof) * float(found.u), rel=1e-12)
    assert found.tells


def test_a_knit_on_its_way():
    # Our own: half of what is left with each cycle, towards -6 %.
    changes = {1: D("-3"), 2: D("-4.5"), 3: D("-5.25"), 5: D("-5.8125")}
    found = approach(changes)
    assert (round(found.final, 20), round(found.share, 20)) == (-6, D("0.5"))
    assert round(found.u, 20) == round(found.scatter, 20) == 0
    # 6, 3, 1.5, 0.75, 0.375 and 0.1875 % are left.
    assert [cycles_until(found, D(left)) for left in ("3", "0.75", "0.74", "0.375", "0.2", "7")] == [1, 3, 4, 4, 5, 1]


def test_the_steps_between_cycles():
    found = steps({1: D("-3"), 3: D("-5.2"), 5: D("-5")})
    assert [(s.since, s.until, s.change, s.per_cycle) for s in found] == [
        (0, 1, D("-3"), D("-3")),
        (1, 3, D("-2.2"), D("-1.1")),
        (3, 5, D("0.2"), D("0.1")),
    ]
    assert steps({}) == []
    assert follow({1: D("-3")}).steps == steps({1: D("-3")})


NO_FINAL = [
    ({}, "too_few"),
    ({1: "-3"}, "too_few"),
    ({1: "-3", 5: "-3.5"}, "too_few"),
    ({1: "-3", 3: "-3", 5: "-3.0"}, "no_spread"),
    ({1: "0", 3: "0", 5: "0.0"}, "no_spread"),
    ({1: "-1", 2: "-2", 3: "-3"}, "not_approaching"),  # straight on
    ({1: "-1", 2: "-2", 3: "-4"}, "not_approaching"),  # ever faster
    ({1: "0", 2: "-0.1", 3: "0.1"}, "not_approaching"),  # to and fro
    ({1: "-1", 2: "-1.999", 3: "-2.997"}, "not_approaching"),  # so straight that it would end beyond nothing
    ({1: "-3", 2: "-3.1", 3: "-2.9"}, "settled"),
    ({1: "-3", 3: "-2.9", 5: "-2.8"}, "settled"),  # growing back
]


@pytest.mark.parametrize(("changes", "code"), NO_FINAL)
def test_it_says_why_there_is_no_final_value(changes, code):
    given_changes = {cycle: D(change) for cycle, change in changes.items()}
    error = refusal(approach, given_changes)
    assert isinstance(error, ProgressError)
    assert error.code == code
    told = follow(given_changes)
    assert (told.approach, told.reason) == (None, str(error))
    assert len(told.steps) == len(changes)


def test_three_points_tell_little():
    found = approach({1: D("-2.1"), 2: D("-3.3"), 3: D("-2.9")})
    assert found.dof == 1
    assert found.u * 13 > found.U > found.u * 12
    assert not found.tells
    assert follow({1: D("-2.1"), 3: D("-2.9"), 5: D("-3.1")}).approach.tells


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({0: D(0), 1: D(-3)}, "cycle"),
        ({-1: D(-3)}, "cycle"),
        ({True: D(-3)}, "cycle"),
        ({1.0: D(-3)}, "cycle"),
        ({10**9: D(-3)}, "cycle"),
        ({1: D("NaN")}, "not_finite"),
        ({1: D("sNaN")}, "not_finite"),
        ({1: D("Infinity")}, "not_finite"),
        ({1: D("1E+99")}, "out_of_range"),
        ({1: -3.0}, "not_exact"),
        ({1: None}, "not_exact"),
    ],
)
def test_changes_must_be_sound(changes, code):
    for call in (steps, approach, follow):
        assert refusal(call, changes).code == code


@pytest.mark.parametrize("within", [D(0), D("-0.1"), D("NaN"), 0.1, None])
def test_the_wanted_distance_is_above_zero(within):
    found = approach({1: D("-3"), 2: D("-4.5"), 3: D("-5.3")})
    assert isinstance(refusal(cycles_until, found, within), ProgressError)


def drawn(case):
    """Changes on a curve drawn at random, with a scatter of 0.1 %."""
    draw = random.Random(case)
    final, k = draw.uniform(-12, 6), draw.uniform(0.3, 1.6)
    cycles = sorted(draw.sample(range(1, 13), draw.randint(4, 9)))
    return {n: D(str(round(final * (1 - math.exp(-k * n)) + draw.gauss(0, 0.1), 2))) for n in cycles}


def test_it_agrees_with_scipy():
    fitted = [(changes, told.approach) for changes in map(drawn, range(60)) if (told := follow(changes)).approach]
    assert len(fitted) > 50
    for changes, found in fitted:
        x, y = np.array([*changes], dtype=float), np.array([float(change) for change in changes.values()])
        start = (float(found.final) * 0.9, float(found.k) * 1.1)
        best, covariance = optimize.curve_fit(
            lambda n, f, r: f * (1 - np.exp(-r * n)), x, y, p0=start, ftol=1e-14, xtol=1e-14
        )
        assert float(found.final) == pytest.approx(best[0], rel=1e-6)
        assert float(found.k) == pytest.approx(best[1], rel=1e-6)
        assert float(found.u) == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-4)
        assert float(found.u_k) == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-4)


def left_over(changes, k):
    """The sum of squares about the best curve of rate k."""
    g = [1 - math.exp(-k * n) for n in changes]
    y = [float(change) for change in changes.values()]
    final = sum(a * b for a, b in zip(g, y, strict=True)) / sum(a * a for a in g)
    return sum((b - final * a) ** 2 for a, b in zip(g, y, strict=True))


measured = st.dictionaries(st.integers(1, 12), st.decimals(-12, 6, places=1), min_size=3, max_size=6)


@given(measured)
@fewer
def test_no_other_rate_fits_better(changes):
    try:
        found = approach(changes)
    except ProgressError as none:
        assert none.code in ("no_spread", "not_approaching", "settled")
        assume(none.code == "settled")
        best = left_over(changes, 60.0)
    else:
        best = left_over(changes, float(found.k))
        assert float(found.scatter) ** 2 * found.dof == pytest.approx(best, rel=1e-6, abs=1e-9)
        assert 0 < found.share < 1
        assert found.final > -100
    assert all(best <= left_over(changes, 1e-4 * 1.15**i) + 1e-9 for i in range(100))


@given(measured, st.sampled_from([D("0.1"), D(-1), D("0.5")]))
@fewer
def test_it_scales_with_the_changes(changes, factor):
    scaled = {cycle: change * factor for cycle, change in changes.items()}
    told, other = follow(changes), follow(scaled)
    assert [step.change * factor for step in told.steps] == [step.change for step in other.steps]
    assert sum(step.change for step in told.steps) == changes[max(changes)]
    if told.approach is None or other.approach is None:
        return
    assert abs(told.approach.final * factor / other.approach.final - 1) < D("1E-20")
    assert abs(told.approach.k / other.approach.k - 1) < D("1E-20")


@given(st.integers(1, 19), st.integers(5, 80), st.decimals("0.05", 8, places=2))
@fewer
def test_so_many_cycles_and_no_fewer(final, percent_each_time, within):
    left = 1 - D(percent_each_time) / 100
    found = approach({n: -final * (1 - left**n) for n in (1, 2, 3, 4)})
    n = cycles_until(found, within)
    assert final * left**n <= within
    assert n == 1 or final * left ** (n - 1) > within
