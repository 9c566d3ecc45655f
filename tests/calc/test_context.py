"""The caller's decimal context changes nothing, and is not changed."""

import decimal
from datetime import date, datetime, timedelta
from decimal import Decimal as D

import pytest

from apps.calc import (
    change,
    conditioning,
    control,
    layout,
    lengths,
    loads,
    progress,
    repeatability,
    rounding,
    runs,
    sampling,
    skew,
    spread,
    uncertainty,
    verdict,
)
from apps.calc.errors import CalcError
from apps.calc.exact import own_context

from .support import refusal

AREA = layout.Rect(D("300.5"), D("700.25"), D("90.125"), D("33.5"))

READINGS = {("1", "A"): (2125, 2250), ("1", "B"): (2500, 2375), ("2", "A"): (3750, 3500), ("2", "B"): (4125, 4250)}
TRIALS = [repeatability.Trial(*key, D(value) / 1000) for key, values in READINGS.items() for value in values]
GROUPS = [[D("74.0305"), D("74.0025")], [D("73.9955"), D("73.9925")], [D("74.0105"), D("74.0035")]]
CHANGES = {1: D("-2.125"), 2: D("-2.875"), 3: D("-3.0625"), 5: D("-3.1875")}
MORNING = datetime(2026, 3, 2, 9)
AIR = [conditioning.AirReading(MORNING + timedelta(hours=h), D("20.125"), D("65.25")) for h in range(6)]

CALLS = [
    lambda: lengths.format_fraction(D("244.475")),
    lambda: lengths.format_as_typed(D("244.475"), "in", "9 5/8"),
    lambda: lengths.parse_percent("-99.123456"),
    lambda: rounding.compare(D("-3.0512345"), D("-3.0"), "lower", "rounding"),
    lambda: change.percent_pair("1", D("-2.12345")),
    lambda: change.curve([change.Track("1", D("250.125"), {1: D("243.875"), 3: D("242.125")})], "ratio_of_means"),
    lambda: skew.from_displacement(D("12.125"), D("12.375"), D("250.25"), D("250.5")),
    lambda: skew.garment_twist(D("12.125"), D("600.25")),
    lambda: spread.mean_and_sd([D("-3.125"), D("-2.875"), D("-3.0625")]),
    lambda: sampling.half_width(D("0.61234"), 3),
    lambda: control.constants(7),
    lambda: control.xbar_r(GROUPS),
    lambda: control.xbar_s(GROUPS),
    lambda: control.moving_range([D("49.62"), D("47.61"), D("49.93")]),
    lambda: control.lag_one([D("49.62"), D("47.61"), D("49.93")]),
    lambda: runs.run_rules([D("49.62"), D("47.61"), D("59.93")], D("49.123"), D("3.333")),
    lambda: progress.follow(CHANGES),
    lambda: progress.steps(CHANGES),
    lambda: progress.cycles_until(progress.approach(CHANGES), D("0.12345")),
    lambda: loads.group_queue(
        [loads.Waiting(name, ("a",), D("601.125"), date(2026, 3, 2)) for name in "ABCD"], D("1803.375")
    ),
    lambda: repeatability.one_way([[D("0.7125"), D("0.7225")], [D("0.6925")]]),
    lambda: repeatability.one_way([[D("0.7125"), D("0.7225")], [D("0.6925")]]).R,
    lambda: repeatability.crossed(TRIALS),
    lambda: repeatability.crossed(TRIALS).percent_contribution(),
    lambda: repeatability.crossed(TRIALS).percent_of_study(),
    lambda: repeatability.crossed(TRIALS).ndc,
    lambda: repeatability.average_and_range(TRIALS),
    lambda: conditioning.earliest_measurement(
        since=MORNING,
        rest=timedelta(hours=4),
        record=AIR,
        limits=conditioning.ISO_139,
        excursions="restart",
        gaps="restart",
        longest_gap=timedelta(hours=1),
    ),
    lambda: conditioning.equal_mass(
        [conditioning.Weighing(MORNING + timedelta(hours=h), D(f"100.{h}25")) for h in (0, 2)]
    ),
    lambda: lengths.parse_length("9 63/64", "in"),
    lambda: lengths.format_length(D("244.475"), "in"),
    lambda: rounding.round_to(D("-123456.789012345"), D("0.1")),
    lambda: rounding.format_change(D("-123456.8")),
    lambda: change.dimensional_change(D("350.25"), D("343.125")),
    lambda: change.summarize(
        [change.Pair("1", D("250.125"), D("243.875")), change.Pair("2", D(251), D("244.3"))], "mean_of_changes"
    ),
    lambda: verdict.judge(D("-2.85"), D("-3.05"), D("3.05"), D("0.0625"), "guarded"),
    lambda: layout.plan_cutting(D("1500.25"), D("1204.125"), D("381.75"), taken=[AREA]),
    lambda: loads.make_up([D("201.4"), D("198.73")], D(1800), D(100), D("130.25")),
    lambda: skew.from_diagonals(D("362.5"), D("344.8279")),
    lambda: spread.grubbs([D("-3.125"), D("-2.875"), D("-3.0625"), D("-1.25")]),
    lambda: sampling.specimens_needed(D("0.61"), D("0.52")),
    lambda: control.individuals([D("49.62"), D("47.61"), D("49.93")]),
    lambda: control.ewma([D("49.62"), D("47.61")], D(50), D("2.0539"), 0.3, 3),
    lambda: uncertainty.change_uncertainty([D("500.25"), D(501)], [D("485.75"), D(486)], D("0.5"), D("0.5")),
    lambda: uncertainty.coverage_factor(D("6.2446")),
    lambda: uncertainty.effective_dof(D("0.08997"), [(D("0.0560607"), 2), (D("0.0577350"), 2)]),
]

every_trap = {signal: True for signal in decimal.getcontext().traps}
no_trap = {signal: False for signal in decimal.getcontext().traps}


@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("traps", [every_trap, no_trap])
def test_precision_rounding_and_traps_of_the_caller_do_not_matter(call, traps):
    usual = call()
    with decimal.localcontext() as context:
        context.prec, context.rounding, context.Emin, context.Emax = 3, decimal.ROUND_UP, -2, 2
        context.traps = traps
        context.clear_flags()
        assert call() == usual
        assert not any(context.flags.values())
        assert (context.prec, context.rounding) == (3, decimal.ROUND_UP)


def test_a_fault_of_arithmetic_is_a_sentence():
    @own_context
    def divide():
        return D(1) / D(0)

    assert refusal(divide).code == "out_of_range"


def test_an_error_is_a_value_error_with_a_code():
    error = CalcError("There is nothing to do.", code="nothing")
    assert isinstance(error, ValueError)
    assert (str(error), error.sentence, error.code) == ("There is nothing to do.",) * 2 + ("nothing",)
    assert CalcError("Something is wrong.").code == "cannot_calculate"
