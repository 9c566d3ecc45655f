"""The caller's decimal context changes nothing, and is not changed."""

import decimal
from decimal import Decimal as D

import pytest

from apps.calc import (
    change,
    control,
    layout,
    lengths,
    loads,
    rounding,
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

CALLS = [
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
