"""What the readings of a request come to. Rows in, figures out: no query, no clock."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from apps.calc.change import Pair, Summary, dimensional_change, percent_pair, summarize
from apps.calc.errors import CalcError
from apps.calc.exact import WORKING, own_context, settle
from apps.calc.rounding import Tie, round_to
from apps.calc.uncertainty import change_uncertainty
from apps.calc.verdict import Verdict, judge
from apps.intake.models import Request, Specimen
from apps.measuring.division import division_of
from apps.measuring.models import BenchmarkPair, Reading
from apps.methods.models import RepeatabilityFigure

Adopted = Mapping[tuple[str, str], RepeatabilityFigure]  # by direction and scale

FINEST_SHOWN = Decimal("0.1")  # a single pair or specimen is shown to the step, and no coarser than this


@dataclass
class PairRow:
    """One benchmark pair with what was read. `changes` are unrounded; a stage counts with its original in force."""

    pair: BenchmarkPair
    specimen: Specimen
    direction: str
    number: int
    readings: dict[int, Reading] = field(default_factory=dict)
    changes: dict[int, Decimal] = field(default_factory=dict)
    shown: dict[int, Decimal] = field(default_factory=dict)
    superseded: list[Reading] = field(default_factory=list)

    @property
    def group(self) -> str:
        """Which figure it goes into: its direction, or on a garment its place."""
        return self.pair.group

    @property
    def in_percent(self) -> bool:
        """Read from a shrinkage scale."""
        return 0 in self.readings and self.readings[0].in_percent

    def as_pair(self, stage: int) -> Pair:
        if self.in_percent:
            return percent_pair(self.specimen.code, self.changes[stage])
        return Pair(self.specimen.code, self.readings[0].mm, self.readings[stage].mm)


@dataclass(frozen=True)
class Spread:
    """The standard uncertainty in percent and what it is made of. `between` is None with one specimen.

    `step_mm`: the division of the rule that `division` comes from. `reading`: what the study that was `adopted` says of
    the reading, None without one; the larger of the two counts.
    """

    u: Decimal
    between: Decimal | None
    division: Decimal
    step_mm: Decimal
    reading: Decimal | None = None
    adopted: RepeatabilityFigure | None = None

    @property
    def reading_counts(self) -> bool:
        """The study found more than the division of the rule accounts for."""
        return self.reading is not None and self.reading > self.division


@dataclass
class DirectionResult:
    """One direction after one cycle, or one place of garments: `direction` is its name, `along` length or width.

    `verdict` is None without limits, or when the rule allows none (`no_verdict`). `asked`: the pairs that were marked
    for it and are still in the test; fewer may have been read. `minimum`: as many as the method asks for.
    """

    direction: str
    stage: int
    summary: Summary
    reported: Decimal
    u: Decimal | None
    verdict: Verdict | None
    lower: Decimal | None = None
    upper: Decimal | None = None
    no_verdict: str = ""
    warning: str = ""
    spread: Spread | None = None
    per_specimen: dict[str, Decimal] = field(default_factory=dict)
    rows: list[PairRow] = field(default_factory=list)
    along: str = ""
    asked: int = 0
    minimum: int = 0

    @property
    def is_short(self) -> bool:
        """It rests on fewer pairs than the method asks for."""
        return self.summary.n_pairs < self.minimum

    @property
    def has_limits(self) -> bool:
        return self.lower is not None or self.upper is not None

    @property
    def state(self) -> str:
        """The verdict as a state's code: pass, conditional_pass, ... Empty without one."""
        return self.verdict.state.replace(" ", "_") if self.verdict else ""


@dataclass
class RequestResult:
    """All results of a request. `stages`: measured cycles that have a result; `rows`: the pairs still in the test."""

    request: Request
    tie: Tie = "even"
    specimens: list[Specimen] = field(default_factory=list)
    stages: list[int] = field(default_factory=list)
    rows: list[PairRow] = field(default_factory=list)
    directions: list[DirectionResult] = field(default_factory=list)
    complete: bool = False
    missing: list[str] = field(default_factory=list)
    set_aside: list[Specimen] = field(default_factory=list)
    curve: dict[str, list[tuple[int, Decimal]]] = field(default_factory=dict)
    curve_note: str = ""

    @property
    def groups(self) -> list[str]:
        return groups_of(self.rows)

    @property
    def final(self) -> list[DirectionResult]:
        """The results after the last cycle ordered: the ones that count."""
        return [result for result in self.directions if result.stage == self.request.cycles]

    def of(self, direction: str, stage: int) -> DirectionResult | None:
        return next((r for r in self.directions if (r.direction, r.stage) == (direction, stage)), None)


def step_of(request: Request) -> Decimal:
    """The method's rounding step without the column's spare decimals: what is printed has the decimals of the step."""
    return request.method.rounding_step.normalize()


def assemble(
    request: Request,
    *,
    specimens: Iterable[Specimen],
    pairs: Iterable[BenchmarkPair],
    readings: Iterable[Reading],
    tie: Tie,
    adopted: Adopted,
) -> RequestResult:
    """The results of one request from its rows. Specimens set aside are left out, but named."""
    specimens = list(specimens)
    counted = {s.pk: s for s in specimens if s.stage != Specimen.Stage.SET_ASIDE}
    set_aside = [s for s in specimens if s.pk not in counted]
    rows = _rows(request, counted, pairs, readings, tie)
    result = RequestResult(request=request, tie=tie, specimens=specimens, rows=rows, set_aside=set_aside)
    for stage in request.measured_cycles:
        found = [direction_result(request, rows, group, stage, tie, adopted) for group in result.groups]
        result.directions += [direction for direction in found if direction]
        if any(found):
            result.stages.append(stage)
    result.missing = missing(request, list(counted.values()), rows)
    result.complete = not result.missing
    result.curve, result.curve_note = curve_of(result)
    return result


def _rows(
    request: Request,
    specimens: dict[int, Specimen],
    pairs: Iterable[BenchmarkPair],
    readings: Iterable[Reading],
    tie: Tie,
) -> list[PairRow]:
    rows = {
        pair.pk: PairRow(pair, specimens[pair.specimen_id], pair.direction, pair.number)
        for pair in pairs
        if pair.specimen_id in specimens
    }
    for reading in readings:
        if row := rows.get(reading.pair_id):
            if reading.voided_at is None:
                row.readings[reading.stage] = reading
            else:
                row.superseded.append(reading)
    step = min(step_of(request), FINEST_SHOWN)
    for row in rows.values():
        for stage, reading in sorted(row.readings.items()):
            if stage and 0 in row.readings:
                row.changes[stage] = dimensional_change(row.readings[0].mm, reading.mm)
                row.shown[stage] = round_to(row.changes[stage], step, tie)
    return sorted(rows.values(), key=lambda row: (row.specimen.number, row.direction, row.number))


def groups_of(rows: Iterable[PairRow]) -> list[str]:
    """The figures there are: length and width; on garments one a place, lengths before widths."""
    ordered = sorted(rows, key=lambda row: (row.direction, row.number))
    return list(dict.fromkeys(row.group for row in ordered))


def direction_result(
    request: Request, rows: list[PairRow], group: str, stage: int, tie: Tie, adopted: Adopted
) -> DirectionResult | None:
    """One direction (or place) after one cycle, over the pairs read both times; None while there is no such pair."""
    marked = [row for row in rows if row.group == group]
    counted = [row for row in marked if stage in row.changes]
    if not counted:
        return None
    along = counted[0].direction
    method = request.method
    summary = summarize([row.as_pair(stage) for row in counted], method.averaging)
    step = step_of(request)
    reported = round_to(summary.change, step, tie)
    spread = uncertainty(
        summary,
        [row.readings[0].mm for row in counted],
        [row.readings[stage].mm for row in counted],
        division_of((row.readings[n] for row in counted for n in (0, stage)), method.reading_resolution_mm),
        adopted.get((along, "percent" if counted[0].in_percent else "distance")),
    )
    lower, upper = request.limits(along)
    verdict, no_verdict = None, ""
    if lower is not None or upper is not None:
        try:
            verdict = judge(reported, lower, upper, spread.u, request.decision_rule)
        except CalcError as fault:
            no_verdict = fault.sentence
    shown = min(step, FINEST_SHOWN)
    return DirectionResult(
        direction=group,
        along=along,
        asked=len(marked),
        minimum=method.specimens * (1 if counted[0].pair.point_id else method.pairs_per_direction),
        stage=stage,
        summary=summary,
        reported=reported,
        u=spread.u,
        verdict=verdict,
        lower=lower,
        upper=upper,
        no_verdict=no_verdict,
        warning=_between_steps(step, lower, upper),
        spread=spread,
        per_specimen={code: round_to(change, shown, tie) for code, change in summary.per_specimen.items()},
        rows=counted,
    )


@own_context
def mean(values: list[Decimal]) -> Decimal:
    return settle(sum(values, Decimal(0)) / len(values))


@own_context
def uncertainty(
    summary: Summary,
    before: list[Decimal],
    after: list[Decimal],
    resolution: Decimal,
    adopted: RepeatabilityFigure | None,
) -> Spread:
    """Standard uncertainty of a direction's change: specimen to specimen, and the reading.

    The first is sd / sqrt(n) of the specimens' results (two or more). The second takes resolution / sqrt(12) for the
    mean distance before and after; it is not made smaller by the number of pairs, since one rule reads them all.
    Where the lab has adopted a study of repeated readings, its figure takes the division's place unless the division is
    larger: repeated readings hold the division in them already (of two such parts the larger counts: common practice,
    from memory). What differs from machine to machine and from day to day is in neither.
    """
    division = change_uncertainty([mean(before)], [mean(after)], resolution).u
    reading = None if adopted is None else reading_part(adopted, summary.change)
    larger = max(division, reading or division)
    if summary.sd is None:
        return Spread(larger, None, division, resolution, reading, adopted)
    between = settle(summary.sd / WORKING.sqrt(Decimal(summary.n_specimens)))
    return Spread(settle(WORKING.sqrt(between**2 + larger**2)), between, division, resolution, reading, adopted)


@own_context
def reading_part(adopted: RepeatabilityFigure, change: Decimal) -> Decimal:
    """What the spread of readings makes of a change: the original and the reading after, each by its sensitivity.

    100 (B - A) / A has the sensitivities 100 / A and -100 B / A^2 (JCGM 100:2008, 5.1.2); the figure is in percent of
    A. A scale in percent gives the change in one reading.
    """
    if adopted.scale == RepeatabilityFigure.Scale.PERCENT:
        return settle(adopted.percent)
    return settle(adopted.percent * WORKING.sqrt(1 + (1 + change / 100) ** 2))


def _between_steps(step: Decimal, *limits: Decimal | None) -> str:
    """With results to the nearest 0.5 % a limit of -2.8 % is met or missed by rounding alone."""
    odd = [limit for limit in limits if limit is not None and limit % step]
    if not odd:
        return ""
    return f"The limit lies between two figures that can be reported (to the nearest {step:f} %)."


def missing(request: Request, specimens: list[Specimen], rows: list[PairRow]) -> list[str]:
    """What is not there yet, specimen by specimen; nothing when all is read."""
    if not specimens:
        return [f"{request}: no specimen is in the test."]
    lacking = []
    for specimen in specimens:
        own = [row for row in rows if row.specimen is specimen]
        if not own:
            lacking.append(f"{specimen.short_code} is not marked yet.")
            continue
        for stage in (0, *request.measured_cycles):
            if stage > specimen.cycles_valid:
                lacking.append(f"{specimen.short_code} has had {specimen.cycles_valid} of {request.cycles} cycles.")
                break
            unread = [row.pair.name for row in own if row.pair.is_due_at(stage) and stage not in row.readings]
            if unread:
                when = f"after cycle {stage}" if stage else "before washing"
                lacking.append(f"{specimen.short_code} is not read {when}: {', '.join(unread)}.")
    if not lacking:
        read = {row.group for row in rows if request.cycles in row.changes}
        lacking += [
            f"The {group} has no pair that was read before washing and after cycle {request.cycles}."
            for group in groups_of(rows)
            if group not in read
        ]
    return lacking


def curve_of(result: RequestResult) -> tuple[dict[str, list[tuple[int, Decimal]]], str]:
    """The reported change over the cycles, from the pairs read at every stage, so that all points rest on the same."""
    curve, left_out, method = {}, 0, result.request.method
    for direction in result.groups:
        stages = [stage for stage in result.stages if result.of(direction, stage)]
        read = [row for row in result.rows if row.group == direction and row.changes]
        common = [row for row in read if all(stage in row.changes for stage in stages)]
        if not common:
            continue
        left_out += len(read) - len(common)
        curve[direction] = [
            (
                stage,
                round_to(
                    summarize([row.as_pair(stage) for row in common], method.averaging).change,
                    step_of(result.request),
                    result.tie,
                ),
            )
            for stage in stages
        ]
    if not left_out:
        return curve, "The curve rests on all pairs; each was read at every stage."
    pairs = "pair was" if left_out == 1 else "pairs were"
    return curve, f"The curve rests on the pairs read at every stage; {left_out} {pairs} not, and left out of it."
