"""The log book: a day's runs, machine by machine."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from django.db.models import Q
from django.utils import timezone

from apps.accounts.models import User
from apps.intake.models import Deviation
from apps.laundering.models import (
    Drying,
    DryingConditions,
    DryingCorrection,
    Load,
    LoadCorrection,
    LoadPiece,
    WashConditions,
)
from apps.laundering.queries.record import USED, conditions_of, dried_of
from apps.methods.models import DryingProcedure


@dataclass
class Wash:
    """A wash run: as held to be true now, the record as it was written, its pieces and what deviated."""

    load: Load
    conditions: WashConditions
    pieces: list[LoadPiece] = field(default_factory=list)
    deviations: list[str] = field(default_factory=list)

    @property
    def corrected(self) -> bool:
        return isinstance(self.conditions, LoadCorrection)

    @property
    def same_day(self) -> bool:
        """The hour is enough to say when it ended."""
        return _same_day(self.load.wash_started_at, self.conditions.wash_started_at, self.conditions.wash_ended_at)


@dataclass
class Dry:
    """A drying run: as held to be true now, with its pieces; a void one keeps those that were in it."""

    drying: Drying
    conditions: DryingConditions
    pieces: list[LoadPiece] = field(default_factory=list)

    @property
    def corrected(self) -> bool:
        return isinstance(self.conditions, DryingCorrection)

    @property
    def same_day(self) -> bool:
        return _same_day(self.drying.started_at, self.conditions.started_at, self.conditions.ended_at)

    @property
    def tumbled(self) -> bool:
        """Its lint filter can be spoken of: it tumbled, and it has ended."""
        return self.drying.state == Drying.State.DRIED and self.drying.procedure.kind == DryingProcedure.Kind.TUMBLE


def _same_day(*moments: datetime | None) -> bool:
    return len({timezone.localdate(moment) for moment in moments if moment}) == 1


@dataclass
class Machine:
    """The runs of one machine on that day; without a machine they dried in the air."""

    name: str
    washes: list[Wash] = field(default_factory=list)
    dries: list[Dry] = field(default_factory=list)


@dataclass(frozen=True)
class Day:
    on: date
    machines: list[Machine]
    before: date | None
    after: date | None


def logbook(user: User, on: date) -> Day:
    """All runs that began on this day of the lab's calendar, and the nearest days with runs before and after."""
    begin, end = _bounds(on)
    loads = list(
        Load.objects.visible_to(user)
        .filter(wash_started_at__gte=begin, wash_started_at__lt=end)
        .select_related("procedure", "wash_by", *USED)
        .order_by("wash_started_at", "pk")
    )
    dryings = list(
        Drying.objects.visible_to(user)
        .filter(started_at__gte=begin, started_at__lt=end)
        .select_related("procedure", "dryer", "by")
        .order_by("started_at", "pk")
    )
    washes, dries = _washes(loads), _dries(dryings)
    machines: dict[tuple[int, str], Machine] = {}
    for wash in washes:
        name = wash.conditions.washer.name
        machines.setdefault((0, name), Machine(name)).washes.append(wash)
    for dry in dries:
        name = dry.conditions.dryer.name if dry.conditions.dryer else ""
        machines.setdefault((1 if name else 2, name), Machine(name)).dries.append(dry)
    ordered = [machines[key] for key in sorted(machines)]
    return Day(on, ordered, _nearest(user, before=begin), _nearest(user, after=end))


def _washes(loads: list[Load]) -> list[Wash]:
    held = conditions_of(loads)
    washes = {load.pk: Wash(load, held[load.pk]) for load in loads}
    jobs = set()
    pieces = LoadPiece.objects.filter(load__in=loads).select_related("specimen__request__sample__job")
    for piece in pieces.order_by("load_id", "specimen_id"):
        washes[piece.load_id].pieces.append(piece)
        jobs.add(piece.specimen.request.sample.job_id)
    for row in Deviation.objects.filter(job__in=jobs, load_number__in=washes).order_by("at", "pk"):
        texts = washes[row.load_number].deviations
        if row.text not in texts:
            texts.append(row.text)
    return list(washes.values())


def _dries(dryings: Sequence[Drying]) -> list[Dry]:
    held = dried_of(dryings)
    dries = {drying.pk: Dry(drying, held[drying.pk]) for drying in dryings}
    pieces = LoadPiece.objects.select_related("specimen__request__sample__job").order_by("load_id", "specimen_id")
    for piece in pieces.filter(drying__in=dries):
        dries[piece.drying_id].pieces.append(piece)
    links = LoadPiece.void_dryings.through.objects.filter(drying__in=dries)
    for link in links.select_related("loadpiece__specimen__request__sample__job").order_by("loadpiece_id"):
        dries[link.drying_id].pieces.append(link.loadpiece)
    return list(dries.values())


def _bounds(on: date) -> tuple[datetime, datetime]:
    zone = timezone.get_current_timezone()
    return tuple(datetime.combine(day, time(), tzinfo=zone) for day in (on, on + timedelta(days=1)))


def _nearest(user: User, *, before: datetime | None = None, after: datetime | None = None) -> date | None:
    """The nearest day with a run before this moment, or from it on."""
    found = []
    for model, name in ((Load, "wash_started_at"), (Drying, "started_at")):
        limit = Q(**{f"{name}__lt": before}) if before else Q(**{f"{name}__gte": after})
        order = f"-{name}" if before else name
        rows = model.objects.visible_to(user).filter(limit).order_by(order).values_list(name, flat=True)
        found += list(rows[:1])
    if not found:
        return None
    return timezone.localdate(max(found) if before else min(found))
