"""What is known of the air of the conditioning rooms, and what it must hold to."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import OuterRef, QuerySet, Subquery

from apps.calc.conditioning import ISO_139, AirReading, Atmosphere
from apps.equipment import air
from apps.equipment.models import AtmosphereReading, Equipment, Tolerance
from apps.methods.models import Figure, TestMethod
from apps.methods.queries import standing

FIGURE = "conditioning atmosphere"


@dataclass(frozen=True)
class Rule:
    """What a room's air must hold to, and how long its log may pause. `by_lab`: the lab has set it."""

    band: Atmosphere
    longest: timedelta
    by_lab: bool

    @property
    def words(self) -> str:
        return air.words(self.band)

    @property
    def longest_minutes(self) -> int:
        return round(self.longest.total_seconds() / 60)


@dataclass(frozen=True)
class Offered:
    """A band of the catalogue and the methods that ask for it."""

    key: str
    band: Atmosphere
    methods: tuple[str, ...]

    @property
    def words(self) -> str:
        return air.words(self.band)


def atmosphere(room: Equipment, since: datetime, until: datetime) -> list[AirReading]:
    """The readings in force between two moments, both included, from old to new."""
    rows = _in_force(room).filter(at__range=(since, until)).order_by("at")
    return [AirReading(*row) for row in rows.values_list("at", "temperature_c", "humidity_pct")]


def air_record(room: Equipment, since: datetime, until: datetime) -> list[AirReading]:
    """The same with the last reading before, which says how the air was at the beginning: the record that
    `calc.conditioning` asks for."""
    before = _in_force(room).filter(at__lt=since).order_by("-at").first()
    return [*([before.air] if before else []), *atmosphere(room, since, until)]


def atmosphere_at(at: datetime, room: Equipment | None = None) -> AtmosphereReading | None:
    """The air as it was known at a moment: the last reading before it, None when the log had paused for too long.

    Without a room: of the conditioning rooms the one that was read last.
    """
    rooms = Equipment.objects.filter(kind=Equipment.Kind.ROOM)
    rooms = list(rooms.filter(pk=room.pk) if room else rooms)
    rules = rules_at(rooms, at)
    known = [
        reading for reading in last_readings(rooms, at).values() if at - reading.at <= rules[reading.room_id].longest
    ]
    return max(known, key=lambda reading: (reading.at, reading.pk), default=None)


def last_readings(rooms: Iterable[Equipment], at: datetime) -> dict[int, AtmosphereReading]:
    """Of each room the last reading at or before a moment."""
    last = AtmosphereReading.objects.filter(room=OuterRef("pk"), voided_at=None, at__lte=at).order_by("-at")
    keys = Equipment.objects.filter(pk__in=[room.pk for room in rooms]).values(last=Subquery(last.values("pk")[:1]))
    found = AtmosphereReading.objects.filter(pk__in=keys).select_related("room", "instrument", "by")
    return {reading.room_id: reading for reading in found}


def rules_at(rooms: Iterable[Equipment], at: datetime) -> dict[int, Rule]:
    """What each room had to hold to at a moment; where the lab has set nothing, the standard atmosphere."""
    rules = {room.pk: Rule(ISO_139, air.LONGEST_PAUSE, by_lab=False) for room in rooms}
    for row in Tolerance.objects.filter(room__in=rules, at__lte=at).order_by("at", "pk"):
        rules[row.room_id] = Rule(row.band, timedelta(minutes=row.gap_minutes), by_lab=True)
    return rules


def rule_at(room: Equipment, at: datetime) -> Rule:
    return rules_at([room], at)[room.pk]


def band_of(method: TestMethod) -> Atmosphere | None:
    """The atmosphere that a method asks for, as the lab confirmed it; None where no figure says so in figures."""
    found = (air.read_band(figure.value, f"{method}; {figure.source}") for figure in standing(method, [FIGURE]))
    return next(found, None)


def offered_bands() -> list[Offered]:
    """Every atmosphere of the catalogue once, with the methods that name it, those asked for by most first."""
    methods = {method.owner: str(method) for method in TestMethod.objects.filter(retired=False)}
    found: dict[str, tuple[Atmosphere, dict[str, None]]] = {}
    figures = Figure.objects.filter(owner__in=methods, name__startswith=FIGURE).with_confirmations()
    for figure in figures.order_by("pk"):
        if band := air.read_band(figure.stands, figure.source):
            by_agreement = figure.name.removeprefix(FIGURE)
            names = found.setdefault(key_of(band), (band, {}))[1]
            names[methods[figure.owner] + by_agreement] = None
    offered = [Offered(key, band, tuple(names)) for key, (band, names) in found.items()]
    return sorted(offered, key=lambda each: -len(each.methods))


def key_of(band: Atmosphere) -> str:
    """A band as an address can carry it: 20-2-65-4."""
    figures = (
        band.temperature,
        band.temperature_tolerance,
        band.humidity,
        band.humidity_tolerance,
    )
    return "-".join(format(figure.normalize(), "f") for figure in figures)


def moment_before(room: Equipment, at: datetime) -> datetime | None:
    """When the room was read last before a moment."""
    return _in_force(room).filter(at__lt=at).order_by("-at").values_list("at", flat=True).first()


def moment_after(room: Equipment, at: datetime) -> datetime | None:
    """When it was read next, from that moment on."""
    return _in_force(room).filter(at__gte=at).order_by("at").values_list("at", flat=True).first()


def of_day(room: Equipment, since: datetime, until: datetime) -> QuerySet[AtmosphereReading]:
    """Single readings with who took them, void ones too, newest first."""
    rows = AtmosphereReading.objects.filter(room=room, at__gte=since, at__lt=until)
    return rows.select_related("by", "voided_by", "instrument", "batch").order_by("-at", "-pk")


def _in_force(room: Equipment) -> QuerySet[AtmosphereReading]:
    return AtmosphereReading.objects.filter(room=room, voided_at=None)
