"""What was tested with a machine or an instrument: the pieces, their jobs, and the reports that went out on them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db import models
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from apps.equipment.models import AtmosphereReading, Calibration, Equipment
from apps.intake.models import Specimen
from apps.laundering.models import Drying, DryingCorrection, Load, LoadCorrection, LoadPiece
from apps.measuring.models import ExtraReading, RackStay, Reading
from apps.reporting.models import Report, ReportRequest

Kind = Equipment.Kind
LOAD_COLUMN = {Kind.WASHER: "washer", Kind.THERMOMETER: "thermometer", Kind.BALANCE: "balance"}
READ = (Kind.RULE, Kind.SCALE)
AIR = (Kind.ROOM, Kind.LOGGER, Kind.THERMOMETER)
# What the book does not say, and is therefore counted in.
WIDER = {
    Kind.RULE: "A reading does not say which rule or tape it was taken with: every length read since is counted in.",
    Kind.SCALE: "A reading does not say which scale it was taken with: every percent read since is counted in.",
    Kind.BALANCE: "A weighing of a conditioned piece does not name its balance and is not counted in; loads are.",
}


@dataclass(frozen=True)
class Use:
    """A piece of equipment from a moment on; None: from the first day."""

    equipment: Equipment
    since: datetime | None

    def later(self, field: str) -> Q:
        return Q(**{f"{field}__gte": self.since}) if self.since else Q(**{f"{field}__isnull": False})

    @property
    def wider(self) -> str:
        return WIDER.get(self.equipment.kind, "")


@dataclass(frozen=True)
class Row:
    """One piece: how it was touched, and the reports issued since then that cover it."""

    specimen: Specimen
    how: str
    reports: Sequence[Report]


def good_calibrations(equipment: Equipment) -> list[Calibration]:
    """The newest twenty that found it fit for use, the newest first."""
    return list(equipment.calibrations.filter(voided_at=None, usable=True)[:20])


def use_since(equipment: Equipment, on: date | None) -> Use:
    """From the morning of that day in the lab: what ran on the day itself is counted in."""
    return Use(equipment, timezone.make_aware(datetime.combine(on, time.min)) if on else None)


def specimens_touched(use: Use) -> QuerySet[Specimen]:
    """The pieces, by job."""
    touched = Q(pk__in=_laundered(use).values("specimen"))
    for rows, path, _ in _read(use):
        touched |= Q(pk__in=rows.values(path))
    rows = Specimen.objects.filter(touched).select_related("request__sample__job__customer", "request__method")
    return rows.order_by("request__sample__job_id", "request_id", "number")


def reports_touched(use: Use) -> QuerySet[Report]:
    """Reports that were issued since then and cover such a piece, the newest first."""
    covers = ReportRequest.objects.filter(request__in=specimens_touched(use).order_by().values("request"))
    rows = Report.objects.filter(use.later("approved_at"), pk__in=covers.values("report"))
    return rows.select_related("job__customer", "withdrawal", "replaced_by").order_by("-approved_at", "-pk")


def told(use: Use, specimens: Iterable[Specimen]) -> list[Row]:
    """These pieces with what touched them, in a few queries however many they are."""
    pieces = list(specimens)
    loads, read, reports = defaultdict(set), defaultdict(set), defaultdict(list)
    for specimen, number in _laundered(use).filter(specimen__in=pieces).values_list("specimen", "load"):
        loads[specimen].add(number)
    for rows, path, word in _read(use):
        for specimen, stage in rows.filter(**{f"{path}__in": pieces}).values_list(path, "stage"):
            read[specimen].add((word, stage))
    covers = ReportRequest.objects.filter(use.later("report__approved_at"), request__in={p.request_id for p in pieces})
    related = covers.select_related("report__withdrawal", "report__replaced_by")
    for cover in related.order_by("report__approved_at"):
        reports[cover.request_id].append(cover.report)
    return [Row(p, "; ".join(_how(loads[p.pk], read[p.pk])), reports[p.request_id]) for p in pieces]


def standing(report: Report) -> str:
    """What has become of it, in a word."""
    if hasattr(report, "withdrawal"):
        return "withdrawn"
    if hasattr(report, "replaced_by"):
        return "replaced"
    return "interim" if report.interim else "in force"


def _how(loads: set[int], stages: set[tuple[str, int]]) -> Iterator[str]:
    if loads:
        yield f"load{'' if len(loads) == 1 else 's'} {', '.join(map(str, sorted(loads)))}"
    for word in sorted({word for word, _ in stages}):
        at = sorted(stage for told_as, stage in stages if told_as == word)
        yield f"{word} " + ", ".join(f"after cycle {stage}" if stage else "before washing" for stage in at)


def _laundered(use: Use) -> QuerySet[LoadPiece]:
    """Pieces that were wetted, or dried, in a run with it; what the newest correction says of a run counts."""
    pieces = LoadPiece.objects.exclude(outcome=LoadPiece.Outcome.OUT)
    if use.equipment.kind == Kind.DRYER:
        runs = _runs(use, Drying, DryingCorrection, "drying", "dryer", "started_at").values("pk")
        return pieces.filter(Q(drying__in=runs) | Q(void_dryings__in=runs)).distinct()
    column = LOAD_COLUMN.get(use.equipment.kind)
    if column is None:
        return pieces.none()
    return pieces.filter(load__in=_runs(use, Load, LoadCorrection, "load", column, "wash_started_at").values("pk"))


def _runs(
    use: Use, run: type[models.Model], correction: type[models.Model], back: str, column: str, began: str
) -> QuerySet:
    corrections = correction._default_manager.filter(**{back: OuterRef("pk")}).order_by("-revision")
    newest = Subquery(corrections.values("pk")[:1])
    said = correction._default_manager.filter(use.later(began), pk=OuterRef("newest"), **{column: use.equipment})
    rows = run._default_manager.annotate(newest=newest)
    first = Q(use.later(began), newest__isnull=True, **{column: use.equipment})
    return rows.filter(first | Exists(said))


def _read(use: Use) -> Iterator[tuple[QuerySet, str, str]]:
    """Readings, or stays in the room, that rest on it; the way from them to the piece, and a word."""
    kind = use.equipment.kind
    if kind in READ:
        percent = Q(unit=Reading.Unit.PERCENT)
        rows = Reading.objects.in_force().filter(use.later("at"), percent if kind == Kind.SCALE else ~percent)
        yield rows.order_by(), "pair__specimen", "read"
    if kind == Kind.RULE:
        yield ExtraReading.objects.in_force().filter(use.later("at")).order_by(), "specimen", "read"
    if kind in AIR:
        air = AtmosphereReading.objects.filter(use.later("at"), instrument=use.equipment, voided_at=None)
        rooms = Q(room=use.equipment) if kind == Kind.ROOM else Q(room__in=air.order_by().values("room"))
        yield RackStay.objects.filter(rooms, use.later("since")).order_by(), "specimen", "conditioned"
