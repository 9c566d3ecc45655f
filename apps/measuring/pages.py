"""What the pages of this room print, made ready: templates neither reckon nor ask."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from typing import Any

from django.forms import BoundField
from django.urls import reverse

from apps.calc.lengths import format_length
from apps.core.drawing import Circle, Drawing, Line, Rect, Text, curve
from apps.intake.models import Request
from apps.measuring import told
from apps.measuring.forms import ExtrasForm, GarmentForm, SheetForm
from apps.measuring.models import Reading
from apps.measuring.outlines import drawing_of
from apps.measuring.queries import Sheet, stage_words
from apps.measuring.rest import Rest
from apps.measuring.results import DirectionResult, PairRow, RequestResult
from apps.methods.models import MeasuringPoint


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


def garment(points: Sequence[MeasuringPoint]) -> Drawing | None:
    """Where a garment is measured, by number."""
    return drawing_of(points)


def points(found: Sequence[MeasuringPoint], form: GarmentForm) -> list[tuple[MeasuringPoint, bool]]:
    """Each point with whether it is chosen."""
    return [(point, str(point.pk) in form.chosen) for point in found]


# A sheet


@dataclass(frozen=True)
class CellPage:
    """A cell ready to print: an input, or what was read."""

    cell: Any
    field: BoundField | None


@dataclass(frozen=True)
class LinePage:
    line: Any
    cells: list[CellPage]


@dataclass(frozen=True)
class BlockPage:
    block: Any
    lines: list[LinePage]
    rest: Rest | None

    @property
    def missing(self) -> bool:
        """A cell is empty that will be read another time, or never."""
        return any(cell.cell.reading is None and not cell.cell.lost for line in self.lines for cell in line.cells)


def of_sheet(sheet: Sheet, form: SheetForm, blind: bool, rest: Mapping[int, Rest]) -> dict[str, Any]:
    """The blocks of a sheet with the form's cells in their places, and the figures so far."""
    blocks = [
        BlockPage(
            block,
            [LinePage(line, [_cell(cell, form) for cell in line.cells]) for line in block.lines],
            rest.get(block.specimen.pk),
        )
        for block in sheet.blocks
    ]
    return {
        "blocks": blocks,
        "has_inputs": any(name.startswith("pair_") for name in form.fields),
        "columns": range(1, max((len(line.cells) for block in blocks for line in block.lines), default=0) + 1),
        "so_far": [_so_far(sheet, group) for group in sheet.result.groups] if sheet.stage else [],
        "figures_later": blind and bool(sheet.due),
        "garment_points": points_of(sheet.result),
        "template": sheet.stage == 0 and all(cell.pair.nominal_mm is not None for cell in sheet.cells),
    }


def points_of(result: RequestResult) -> dict[str, Any]:
    """The measuring points of the garments of a request, drawn and told; nothing for cloth."""
    found = {row.pair.point_id: row.pair.point for row in result.rows if row.pair.point_id}
    ordered = sorted(found.values(), key=lambda point: point.number)
    return {"points": ordered, "drawing": drawing_of(ordered)} if ordered else {}


def _cell(cell: Any, form: SheetForm) -> CellPage:
    name = form.name_of(cell.pair.pk)
    return CellPage(cell, form[name] if name in form.fields else None)


def _so_far(sheet: Sheet, group: str) -> dict[str, Any]:
    found = sheet.result.of(group, sheet.stage)
    return {
        "group": group,
        "change": told.shown(found.reported if found else None),
        "spread": told.spread(found.summary.sd) if found else "",
        "read": found.summary.n_pairs if found else 0,
        "pairs": sum(cell.pair.group == group and not cell.lost for cell in sheet.cells),
    }


def figures_of(sheet: Sheet, blind: bool) -> dict[str, Any]:
    """What stands on a sheet now, for its script: every value read, by whomever, and what they come to.

    Who reads without seeing the values before washing sees no figure until the sheet is complete.
    """
    later = blind and bool(sheet.due)
    cells = {
        cell.pair.pk: {
            "value": cell.reading.shown,
            "change": "" if later else told.shown(cell.change, ""),
            "correct": reverse("measuring:correct", args=[cell.reading.pk]),
        }
        for cell in sheet.cells
        if cell.reading
    }
    lines = [line for block in sheet.blocks for line in block.lines]
    seen = bool(sheet.stage) and not later
    return {
        "cells": cells,
        "means": {line.group: told.shown(line.mean) for line in lines} if seen else {},
        "overall": {group: _so_far(sheet, group) for group in sheet.result.groups} if seen else {},
        "left": len(sheet.due),
    }


def refusal_of(form: SheetForm) -> dict[str, Any]:
    """What is wrong with the cells that were sent, for the script: beside which cell, and whether to look again."""
    beside = {
        name.removeprefix("pair_"): str(errors[0]) for name, errors in form.errors.items() if name.startswith("pair_")
    }
    others = [str(errors[0]) for name, errors in form.errors.items() if not name.startswith("pair_")]
    return {
        "sentence": " ".join(others or beside.values()),
        "wrong": beside,
        "again": form.asks_again,
        "early": form.is_early,
    }


def of_extras(order: Request, stage: int, form: ExtrasForm) -> dict[str, Any]:
    """The rows of the extra measurements, each measurement with its own."""
    rows = [
        (cell, form[f"{cell.key}_a"] if cell.due else None, form[f"{cell.key}_b"] if cell.due else None)
        for cell in form.all_cells
    ]
    groups = [(extra, list(found)) for extra, found in groupby(rows, key=lambda row: row[0].extra)]
    links = [(other, stage_words(other), other == stage) for other in (0, *order.measured_cycles)]
    return {"groups": groups, "words": stage_words(stage), "stages": links}


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
    s: str
    derivation: list[str]
    rests_on: str
    of_minimum: str
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
        "drawings": _curves(result),
        "curve_table": [
            (group, [dict(row).get(stage) for stage in result.stages]) for group, row in result.curve.items()
        ],
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
        s=told.size(found.summary.sd) if found.summary.sd is not None else "",
        derivation=told.derivation(found, request, result.tie),
        rests_on=told.rests_on(found),
        of_minimum=f"of {found.minimum} asked for",
        last=found.stage == request.cycles,
    )


def _curves(result: RequestResult) -> list[tuple[str, Drawing]]:
    """One drawing of length and width; of garments one a place, once there is more than a single point to it."""
    if not result.curve:
        return []
    if set(result.curve) <= {"length", "width"}:
        return [("", curve(result.curve, _limit_lines(result.request)))]
    along = {found.direction: found.along for found in result.directions}
    return [
        (group, curve({"change": row}, _limits_of(result.request, along[group]), title=f"Change in percent, {group}"))
        for group, row in result.curve.items()
        if len(row) > 1
    ]


def _limits_of(request: Request, direction: str) -> list[tuple[str, Decimal]]:
    named = zip(("lower limit", "upper limit"), request.limits(direction), strict=True)
    return [(name, told.plain_limit(value)) for name, value in named if value is not None]


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
    alone = all(row.pair.point_id for row in result.rows)  # each place has one pair: told by pair
    codes = {} if alone else dict.fromkeys(row.specimen.code for row in result.rows)
    lines = []
    for code in codes:
        own = {row.group for row in result.rows if row.specimen.code == code}
        for direction in (group for group in result.groups if group in own):
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
