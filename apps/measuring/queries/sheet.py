"""One sheet of readings: a request at one stage, specimen by specimen, direction by direction, pair by pair."""

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from apps.intake.locks import is_open
from apps.intake.models import Request, Specimen
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.queries.due import due_stages, loads_of, not_due, stage_words
from apps.measuring.queries.figures import results_of
from apps.measuring.queries.resting import rests
from apps.measuring.rest import Rest
from apps.measuring.results import DirectionResult, PairRow, RequestResult, groups_of


@dataclass
class Cell:
    """One pair at the sheet's stage. `change` is rounded to be shown; `corrected`: values that no longer stand."""

    pair: BenchmarkPair
    label: str
    original: Reading | None
    reading: Reading | None
    change: Decimal | None
    due: bool
    lost: bool
    corrected: list[Reading] = field(default_factory=list)


@dataclass
class Line:
    """The pairs of one direction (on a garment of one place) of one specimen, and the specimen's result."""

    direction: str
    cells: list[Cell]
    mean: Decimal | None
    group: str


@dataclass
class Block:
    """One specimen; `not_due` says why it is not to be read at this stage now."""

    specimen: Specimen
    not_due: str
    lines: list[Line]


@dataclass(frozen=True)
class StageLink:
    stage: int
    words: str
    here: bool
    due: bool
    read: int
    pairs: int


@dataclass
class Sheet:
    request: Request
    stage: int
    words: str
    unit: str
    may_change: bool
    result: RequestResult
    blocks: list[Block] = field(default_factory=list)
    stages: list[StageLink] = field(default_factory=list)

    @property
    def cells(self) -> list[Cell]:
        return [cell for block in self.blocks for line in block.lines for cell in line.cells]

    @property
    def due(self) -> list[Cell]:
        return [cell for cell in self.cells if cell.due]

    @property
    def directions(self) -> list[DirectionResult]:
        return [found for group in self.result.groups if (found := self.result.of(group, self.stage))]


def stage_to_open(request: Request) -> int:
    """The stage a sheet opens at when none is named: what is due first, else what was read last, else the originals."""
    if due := due_stages(request.specimens.all()):
        return next(iter(due))
    read = Reading.objects.in_force().filter(pair__specimen__request=request).order_by("-stage")
    return read.values_list("stage", flat=True).first() or 0


def sheet(request: Request, stage: int) -> Sheet:
    """The sheet of a request at a stage (0 before washing), in a constant number of queries."""
    result = results_of([request])[request.pk]
    rows: dict[int, list[PairRow]] = {}
    for row in result.rows:
        rows.setdefault(row.specimen.pk, []).append(row)
    specimens = result.specimens
    loads = loads_of(specimens)
    found = Sheet(
        request=request,
        stage=stage,
        words=stage_words(stage),
        unit=_unit_last_used(result),
        may_change=is_open(request, Request.OpenedFor.READINGS),
        result=result,
    )
    for specimen in specimens:
        why = not_due(specimen, stage, request, loads.get(specimen.pk))
        lines = _lines(specimen, rows.get(specimen.pk, []), found, due=not why)
        found.blocks.append(Block(specimen, why, lines))
    due = due_stages(specimens)
    found.stages = [_link(other, found, other in due) for other in (0, *request.measured_cycles)]
    return found


def rests_on(sheet: Sheet, *, at: datetime) -> dict[int, Rest]:
    """How the specimens whose readings are due on this sheet rest, by their key."""
    due = [block.specimen for block in sheet.blocks if not block.not_due]
    return rests({specimen: (sheet.stage, at) for specimen in due}) if due else {}


def _lines(specimen: Specimen, rows: list[PairRow], sheet: Sheet, *, due: bool) -> list[Line]:
    lines = []
    for group in groups_of(rows):
        own = [row for row in rows if row.group == group]
        of_stage = sheet.result.of(group, sheet.stage)
        mean = of_stage.per_specimen.get(specimen.code) if of_stage else None
        cells = [_cell(row, sheet.stage, due=due and sheet.may_change) for row in own]
        lines.append(Line(group, cells, mean, f"{specimen.short_code} {group}"))
    return lines


def _cell(row: PairRow, stage: int, *, due: bool) -> Cell:
    reading, lost = row.readings.get(stage), not row.pair.is_due_at(stage)
    return Cell(
        pair=row.pair,
        label=f"{row.specimen.short_code} {row.pair.name}",
        original=row.readings.get(0) if stage else None,
        reading=reading,
        change=row.shown.get(stage),
        due=due and reading is None and not lost,
        lost=lost,
        corrected=[old for old in row.superseded if old.stage == stage],
    )


def _link(stage: int, sheet: Sheet, due: bool) -> StageLink:
    rows = sheet.result.rows
    read = sum(stage in row.readings for row in rows)
    return StageLink(stage, stage_words(stage), stage == sheet.stage, due, read, len(rows))


def _unit_last_used(result: RequestResult) -> str:
    readings = [reading for row in result.rows for reading in row.readings.values()]
    return max(readings, key=lambda reading: reading.pk).unit if readings else Reading.Unit.MM
