"""Results in words, for a page and for a report alike: limits, uncertainty, and how a figure came about."""

from collections.abc import Iterable
from decimal import Decimal

from apps.calc.exact import own_context
from apps.calc.lengths import format_length
from apps.calc.rounding import MINUS, format_change, round_to
from apps.intake.models import Request
from apps.measuring.results import DirectionResult, PairRow, mean, step_of
from apps.methods.models import RepeatabilityFigure

FOUR = Decimal("0.0001")
TWO = Decimal("0.01")
TIES = {"even": "to the even figure", "away": "away from zero"}
STATES = {
    "pass": "within the limits",
    "conditional_pass": "within the limits, nearer than the guard band",
    "conditional_fail": "outside the limits, within the guard band",
    "fail": "outside the limits",
}


def percent(value: Decimal, step: Decimal = FOUR) -> str:
    """A change with its sign and without spare noughts: −2.4889 %, 0 %."""
    text = format_change(round_to(value, step))
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} %"


def shown(value: Decimal | None, nothing: str = "–") -> str:
    """A rounded change as the sheet shows it."""
    return nothing if value is None else f"{format_change(value)} %"


def spread(sd: Decimal | None) -> str:
    return "" if sd is None else f"s {size(sd)}"


def plain_limit(value: Decimal) -> Decimal:
    """A limit without spare noughts, but with one decimal at least."""
    short = value.normalize()
    return short if short.as_tuple().exponent < -1 else short.quantize(Decimal("0.1"))


def limit(value: Decimal) -> str:
    """As printed: −3.0, +2.25."""
    return format_change(plain_limit(value))


def limits(lower: Decimal | None, upper: Decimal | None) -> str:
    """Limits as they are agreed: "−3.0 % to +3.0 %", "not below −3.0 %", "not above +2.0 %", or nothing."""
    if lower is not None and upper is not None:
        return f"{limit(lower)} % to {limit(upper)} %"
    if lower is not None:
        return f"not below {limit(lower)} %"
    return f"not above {limit(upper)} %" if upper is not None else ""


def size(value: Decimal) -> str:
    return f"{round_to(value, TWO):f} %"


def uncertainty(result: DirectionResult) -> str:
    """What the standard uncertainty is made of."""
    spread = result.spread
    if spread is None:
        return ""
    resolution = format_length(spread.step_mm, "mm", 1).removesuffix(".0")
    division = f"{size(spread.division)} from the division of the rule ({resolution} mm, read before and after)"
    if spread.reading_counts:
        division = f"{size(spread.reading)} from the reading: {study(spread.adopted)}"
    outside = "What differs from machine to machine and from day to day is not in it."
    if spread.between is None:
        return f"u = {division}; with one specimen there is no spread between specimens. {outside}"
    between = f"{size(spread.between)} from specimen to specimen (s / √{result.summary.n_specimens})"
    return f"u = {size(spread.u)}: {between} and {division}, combined as a root of squares. {outside}"


def study(adopted: RepeatabilityFigure) -> str:
    """Where the figure for the reading comes from: how many readings, until when."""
    return (
        f"study {adopted.study} found {size(adopted.percent)} in {adopted.direction}, from {adopted.n} readings by "
        f"{adopted.people} people until {adopted.on:%-d %b %Y}"
    )


def rests_on(result: DirectionResult) -> str:
    """On how many pairs a figure rests; fewer than the method asks for is said."""
    pairs = result.summary.n_pairs
    text = f"It rests on {pairs} of {result.asked} marked pair{'' if result.asked == 1 else 's'}."
    return f"{text} {fewer_pairs(result)}".strip()


def fewer_pairs(result: DirectionResult) -> str:
    """What is disclosed when pairs were lost, or specimens are missing; nothing otherwise."""
    if not result.is_short:
        return ""
    return (
        f"{result.direction.capitalize()} after cycle {result.stage} rests on {result.summary.n_pairs} pairs; "
        f"the method asks for {result.minimum}."
    )


def verdict(result: DirectionResult, request: Request) -> str:
    """How the reported figure stands to its limits, and by which rule."""
    if not result.has_limits:
        return "No limits are agreed for this direction, so there is no verdict."
    told = limits(result.lower, result.upper)
    if result.verdict is None:
        return f"Limits {told}. {result.no_verdict}"
    rule = request.get_decision_rule_display()
    text = f"{percent(result.reported)} against {told}: {STATES[result.state]} ({rule}, on the reported figure)"
    if request.decision_rule != Request.DecisionRule.GUARDED:
        return f"{text}."
    inner = [None if value is None else round_to(value, TWO) for value in _acceptance(result)]
    return f"{text}; the guard band is 2 u, so accepted is {limits(*inner)}."


def _acceptance(result: DirectionResult) -> tuple[Decimal | None, Decimal | None]:
    return (result.verdict.lower_limit, result.verdict.upper_limit) if result.verdict else (None, None)


def derivation(result: DirectionResult, request: Request, tie: str) -> list[str]:
    """How a figure came about: the formula with the numbers in it, a line each."""
    by_means = request.method.averaging == "ratio_of_means" and not any(row.in_percent for row in result.rows)
    lines = _by_means(result) if by_means else _by_changes(result)
    step = step_of(request)
    ties = f"a figure exactly between two goes {TIES[tie]}"
    return [*lines, f"Reported to the nearest {step:f} % ({ties}): {format_change(result.reported)} %"]


def _by_means(result: DirectionResult) -> list[str]:
    before = [row.readings[0].mm for row in result.rows]
    after = [row.readings[result.stage].mm for row in result.rows]
    return [
        f"Mean A before washing: {_mean_told(before)} mm",
        f"Mean B after cycle {result.stage}: {_mean_told(after)} mm",
        f"Change: {_formula(mean(before), mean(after))} = {percent(result.summary.change)}",
    ]


def _by_changes(result: DirectionResult) -> list[str]:
    lines = []
    for code, change in result.summary.per_specimen.items():
        rows = [row for row in result.rows if row.specimen.code == code]
        each = ", ".join(f"{_of_pair(row, result.stage)} = {percent(row.changes[result.stage])}" for row in rows)
        short = rows[0].specimen.short_code
        lines.append(f"{short}: {each}" + (f"; mean {percent(change)}" if len(rows) > 1 else ""))
    changes = [percent(change) for change in result.summary.per_specimen.values()]
    if len(changes) > 1:
        lines.append(
            f"Mean of the specimens: ({' + '.join(changes)}) / {len(changes)} = {percent(result.summary.change)}"
        )
    return lines


def _of_pair(row: PairRow, stage: int) -> str:
    if row.in_percent:
        return f"{row.pair.name} read on the scale"
    return _formula(row.readings[0].mm, row.readings[stage].mm)


def _formula(before: Decimal, after: Decimal) -> str:
    """100 (B − A) / A with the numbers in it."""
    return f"100 × ({_mm(after)} {MINUS} {_mm(before)}) / {_mm(before)}"


@own_context
def _mean_told(values: Iterable[Decimal]) -> str:
    values = list(values)
    if len(values) == 1:
        return _mm(values[0])
    return f"({' + '.join(_mm(value) for value in values)}) / {len(values)} = {_mm(mean(values))}"


def _mm(value: Decimal) -> str:
    return format_length(round_to(value, FOUR), "mm")
