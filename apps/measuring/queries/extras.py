"""What is measured on the same specimens beside the distances."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from apps.accounts.queries import the_lab
from apps.intake.models import Request, Specimen
from apps.measuring.extras import READ, SIDES, ExtraFigure, ExtraMean, Formula, figures_of, means_of
from apps.measuring.models import ExtraReading
from apps.methods.models import ExtraMeasurement
from apps.methods.queries import extras_for

Stage = Specimen.Stage


@dataclass(frozen=True)
class Extras:
    """The figures of one request, and all that was ever read of them."""

    figures: list[ExtraFigure]
    means: list[ExtraMean]
    readings: list[ExtraReading]


def extras_of(requests: Iterable[Request]) -> dict[int, Extras]:
    """By request, in two queries however many."""
    rows = (
        ExtraReading.objects.filter(specimen__request__in=list(requests))
        .select_related("specimen", "extra", "read_by", "voided_by")
        .order_by("extra", "stage", "specimen__number", "place", "id")
    )
    found: dict[int, list[ExtraReading]] = defaultdict(list)
    for row in rows:
        found[row.specimen.request_id].append(row)
    tie = the_lab().tie
    return {key: _extras(readings, tie) for key, readings in found.items()}


def _extras(readings: list[ExtraReading], tie) -> Extras:
    figures = figures_of([row for row in readings if row.specimen.stage != Stage.SET_ASIDE], tie)
    return Extras(figures, means_of(figures, tie), readings)


def extras_offered(request: Request) -> list[ExtraMeasurement]:
    """What may be read on the specimens of this request at the bench."""
    return [extra for extra in extras_for(request.method) if extra.formula in READ]


@dataclass(frozen=True)
class ExtraCell:
    """One figure to be read on a sheet: which specimen, which side, and what stands."""

    extra: ExtraMeasurement
    specimen: Specimen
    place: str
    names: tuple[str, str]
    reading: ExtraReading | None
    figure: ExtraFigure | None
    due: bool

    @property
    def key(self) -> str:
        return f"extra_{self.extra.pk}_{self.specimen.pk}_{self.place}"

    @property
    def label(self) -> str:
        return " ".join(part for part in (self.specimen.short_code, self.place) if part)


def extras_sheet(request: Request, stage: int) -> list[ExtraCell]:
    """The cells of a request at a stage, measurement by measurement, specimen by specimen."""
    found = extras_of([request]).get(request.pk)
    figures = (
        {(f.reading.extra_id, f.specimen.pk, f.reading.stage, f.reading.place): f for f in found.figures}
        if found
        else {}
    )
    specimens = list(request.specimens.exclude(stage__in=(Stage.CUT, Stage.SET_ASIDE)).order_by("number"))
    cells = []
    for extra in extras_offered(request):
        for specimen in specimens:
            for place in SIDES[Formula(extra.formula)]:
                figure = figures.get((extra.pk, specimen.pk, stage, place))
                due = may_be_read(specimen, stage)
                reading = figure.reading if figure else None
                cells.append(ExtraCell(extra, specimen, place, READ[Formula(extra.formula)], reading, figure, due))
    return cells


def may_be_read(specimen: Specimen, stage: int) -> bool:
    """It lies at this stage now: marked, or washed so often, and neither in a load nor set aside."""
    away = (Stage.CUT, Stage.IN_LOAD, Stage.SET_ASIDE)
    return specimen.cycles_valid == stage and specimen.stage not in away
