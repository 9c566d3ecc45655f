"""What the pages of this room print, made ready: templates neither reckon nor ask."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.forms import BoundField

from apps.calc.lengths import format_length
from apps.core.drawing import Circle, Drawing, Line, Rect, Text, curve
from apps.intake.models import Request
from apps.measuring import told
from apps.measuring.forms import SheetForm
from apps.measuring.models import Reading
from apps.measuring.queries import Sheet, stage_words
from apps.measuring.results import DIRECTIONS, DirectionResult, PairRow, RequestResult, step_of


def marks(order: Request) -> Drawing | None:
    """A specimen with its marks, to scale in its outline; how the pairs share the room is for the eye only."""
    method = order.method
    if method.specimen_side_mm is None:
        return None
    side, distance, pairs = 300, float(300 * method.benchmark_mm / method.specimen_side_mm), method.pairs_per_direction
    left, top = 70, 34
    edge = (side - distance) / 2
    places = [edge + distance * (number + 0.5) / pairs for number in range(pairs)]
    shapes: list[Any] = [Rect(left, top, side, side, "cut")]
    for place in places:
        low, high = edge, edge + distance
        for end in (low, high):
            shapes.append(Circle(left + place, top + end, 3.5))
            shapes.append(Rect(left + end - 3.5, top + place - 3.5, 7, 7))
        shapes.append(Line(left + place, top + low, left + place, top + high, "thread"))
        shapes.append(Line(left + low, top + place, left + high, top + place, "thread"))
    for number, place in enumerate(places, start=1):
        shapes.append(Text(left + place, top + edge - 9, f"L{number}", "middle", "quiet"))
        shapes.append(Text(left + edge - 9, top + place + 5, f"W{number}", "end", "quiet"))
    shapes += [
        Line(34, top + side - 10, 34, top + 10),
        Line(34, top + 10, 28, top + 22),
        Line(34, top + 10, 40, top + 22),
        Text(34, top + side + 24, "length", "middle", "name"),
        Text(left + side / 2, 18, f"{format_length(method.specimen_side_mm, 'mm')} mm", "middle"),
        Text(left + side / 2, top + side + 24, _distance(order), "middle", "name"),
    ]
    desc = f"{pairs} pairs along the length, {pairs} across; {_distance(order)}."
    return Drawing(left + side + 20, top + side + 36, tuple(shapes), "How the marks lie on a specimen", desc)


def _distance(order: Request) -> str:
    return f"{format_length(order.method.benchmark_mm, 'mm')} mm from mark to mark"


# A sheet


@dataclass(frozen=True)
class CellPage:
    """A cell ready to print: an input, or what was read."""

    cell: Any
    field: BoundField | None
    before: str
    after: str


@dataclass(frozen=True)
class LinePage:
    line: Any
    cells: list[CellPage]


@dataclass(frozen=True)
class BlockPage:
    block: Any
    lines: list[LinePage]

    @property
    def missing(self) -> bool:
        """A cell is empty that will be read another time, or never."""
        return any(cell.cell.reading is None and not cell.cell.lost for line in self.lines for cell in line.cells)


def of_sheet(sheet: Sheet, form: SheetForm) -> dict[str, Any]:
    """The blocks of a sheet with the form's cells in their places, and what the script needs to reckon along."""
    blocks = [
        BlockPage(
            block,
            [LinePage(line, [_cell(cell, sheet, form) for cell in line.cells]) for line in block.lines],
        )
        for block in sheet.blocks
    ]
    method = sheet.request.method
    return {
        "blocks": blocks,
        "has_inputs": any(name.startswith("pair_") for name in form.fields),
        "columns": range(1, method.pairs_per_direction + 1),
        "averaging": method.averaging,
        "step": f"{step_of(sheet.request):f}",
        "tie": sheet.result.tie,
        "so_far": [_so_far(sheet, direction) for direction in DIRECTIONS] if sheet.stage else [],
    }


def _cell(cell: Any, sheet: Sheet, form: SheetForm) -> CellPage:
    name = form.name_of(cell.pair.pk)
    field = form[name] if name in form.fields else None
    before = f"{cell.original.mm:f}" if cell.original else ""
    return CellPage(cell, field, before, f"{cell.reading.mm:f}" if cell.reading else "")


def _so_far(sheet: Sheet, direction: str) -> dict[str, Any]:
    found = sheet.result.of(direction, sheet.stage)
    pairs = sum(cell.pair.direction == direction and not cell.lost for cell in sheet.cells)
    return {
        "direction": direction,
        "reported": found.reported if found else None,
        "read": found.summary.n_pairs if found else 0,
        "pairs": pairs,
    }


# Results


@dataclass(frozen=True)
class FigurePage:
    """One reported figure with the words around it."""

    result: DirectionResult
    words: str
    limits: str
    verdict: str
    uncertainty: str
    u: str
    derivation: list[str]
    last: bool


@dataclass(frozen=True)
class SpecimenPage:
    code: str
    direction: str
    figures: list[Any]


@dataclass(frozen=True)
class PairPage:
    row: PairRow
    stages: list[tuple[Reading | None, Any]]
    lost: str


def of_results(result: RequestResult) -> dict[str, Any]:
    """The figures, the curve, and the tables from specimen to pair."""
    request = result.request
    stages = [0, *request.measured_cycles]
    figures = [_figure(found, result) for found in result.directions]
    return {
        "figures": figures,
        "final": [figure for figure in figures if figure.last],
        "stages": stages,
        "stage_words": [stage_words(stage) for stage in stages],
        "washed_words": [stage_words(stage) for stage in result.stages],
        "drawing": _curve(result) if result.curve else None,
        "curve_rows": list(result.curve.items()),
        "curve_table": [(stage, [dict(row).get(stage) for row in result.curve.values()]) for stage in result.stages],
        "by_specimen": _by_specimen(result),
        "by_pair": [_by_pair(row, stages) for row in result.rows],
        "superseded": [(row, stage_words(reading.stage), reading) for row in result.rows for reading in row.superseded],
    }


def _figure(found: DirectionResult, result: RequestResult) -> FigurePage:
    request = result.request
    return FigurePage(
        result=found,
        words=stage_words(found.stage),
        limits=told.limits(found.lower, found.upper),
        verdict=told.verdict(found, request),
        uncertainty=told.uncertainty(found),
        u=told.size(found.u) if found.u is not None else "",
        derivation=told.derivation(found, request, result.tie),
        last=found.stage == request.cycles,
    )


def _curve(result: RequestResult) -> Drawing:
    named = _limit_lines(result.request)
    return curve(result.curve, named)


def _limit_lines(request: Request) -> list[tuple[str, Decimal]]:
    """Dashed lines of the curve; a limit that both directions share is drawn once."""
    lines: list[tuple[str, Decimal]] = []
    for word, length, width in (
        ("lower limit", request.length_lower, request.width_lower),
        ("upper limit", request.length_upper, request.width_upper),
    ):
        shared = [(word, length)]
        found = shared if length == width else [(f"length, {word}", length), (f"width, {word}", width)]
        lines += [(name, told.plain_limit(value)) for name, value in found if value is not None]
    return lines


def _by_specimen(result: RequestResult) -> list[SpecimenPage]:
    codes = dict.fromkeys(row.specimen.code for row in result.rows)
    lines = []
    for code in codes:
        for direction in DIRECTIONS:
            found = [result.of(direction, stage) for stage in result.stages]
            figures = [each.per_specimen.get(code) if each else None for each in found]
            lines.append(SpecimenPage(code.rsplit("-", 1)[1], direction, figures))
    return lines


def _by_pair(row: PairRow, stages: list[int]) -> PairPage:
    cells = [(row.readings.get(stage), row.shown.get(stage)) for stage in stages]
    pair = row.pair
    lost = (
        f"no reading from {stage_words(pair.lost_stage)} on: {pair.lost_reason}" if pair.lost_stage is not None else ""
    )
    return PairPage(row, cells, lost)
