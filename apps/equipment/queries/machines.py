"""The pages of machines and instruments."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import BooleanField, Case, OuterRef, Q, QuerySet, Subquery, Value, When
from django.utils.formats import date_format

from apps.equipment.models import AtmosphereReading, Calibration, Equipment, Hold, OutOfService
from apps.equipment.queries.room_air import Rule, last_readings, rules_at
from apps.equipment.queries.states import State, state_at
from apps.trail.models import TrailEntry
from apps.trail.queries import timeline

MEASURES_AIR = (Equipment.Kind.LOGGER, Equipment.Kind.THERMOMETER)
# Readings of the air have pages of their own.
TOLD_ELSEWHERE = ("atmosphere.logged", "atmosphere.void")


def with_state(*, on: date) -> QuerySet[Equipment]:
    """All equipment with how it stands on this day.

    `calibrated_on`, `due_on`, `fit` and `certificate` of the calibration that holds, `out_because` while it is out of
    service, `is_overdue`: due before this day, or never calibrated though it should be.
    """
    holds = Calibration.objects.filter(equipment=OuterRef("pk"), voided_at=None, done_on__lte=on)
    holds = holds.order_by("-done_on", "-id")
    out = OutOfService.objects.filter(equipment=OuterRef("pk"), until=None)
    overdue = Q(due_on__lt=on) | Q(calibrated_on__isnull=True, interval_months__isnull=False)
    return Equipment.objects.annotate(
        calibrated_on=Subquery(holds.values("done_on")[:1]),
        due_on=Subquery(holds.values("due_on")[:1]),
        fit=Subquery(holds.values("usable")[:1]),
        certificate=Subquery(holds.values("certificate")[:1]),
        out_because=Subquery(out.values("reason")[:1]),
    ).annotate(is_overdue=Case(When(overdue, then=Value(True)), default=Value(False), output_field=BooleanField()))


def equipment_list(*, on: date) -> QuerySet[Equipment]:
    """The page of all equipment, by kind and name."""
    return with_state(on=on).order_by("kind", "name")


def usable(kind: str, on: date) -> QuerySet[Equipment]:
    """What may be chosen for work on this day: of this kind, in service, found fit.

    An overdue one is disclosed, not hidden, unless the lab said of it that it must not be used then.
    """
    return usable_of([kind], on)


def usable_of(kinds: Iterable[str], on: date) -> QuerySet[Equipment]:
    fit = Q(fit=True) | Q(fit__isnull=True)
    in_time = Q(is_overdue=False) | Q(overdue_rule=Equipment.OverdueRule.DISCLOSE)
    return with_state(on=on).filter(fit, in_time, kind__in=list(kinds), out_because__isnull=True).order_by("name")


def air_instruments(on: date) -> QuerySet[Equipment]:
    """What the air may be read with on this day."""
    return usable_of(MEASURES_AIR, on)


def get_equipment(equipment_id: int) -> Equipment | None:
    return Equipment.objects.filter(pk=equipment_id).first()


def conditioning_rooms() -> list[Equipment]:
    """The conditioning rooms."""
    return list(Equipment.objects.filter(kind=Equipment.Kind.ROOM).order_by("name"))


@dataclass(frozen=True)
class AirNow:
    """The air of a room as it was read last."""

    room: Equipment
    rule: Rule
    last: AtmosphereReading | None
    holds: bool
    stale: bool


def rooms_now(now: datetime, only: Equipment | None = None) -> list[AirNow]:
    """Every conditioning room with its last reading: three queries, however many rooms."""
    rooms = [only] if only else conditioning_rooms()
    rules, last = rules_at(rooms, now), last_readings(rooms, now)
    return [_air_now(room, rules[room.pk], last.get(room.pk), now) for room in rooms]


def _air_now(room: Equipment, rule: Rule, last: AtmosphereReading | None, now: datetime) -> AirNow:
    if last is None:
        return AirNow(room, rule, None, holds=False, stale=True)
    holds = rule.band.holds(last.air)
    return AirNow(room, rule, last, holds=holds, stale=now - last.at > rule.longest)


@dataclass(frozen=True)
class EquipmentPage:
    """One piece of equipment: how it stands, what was found, when it was out, what it was used for lately."""

    state: State
    calibrations: Sequence[Calibration]
    times_out: Sequence[OutOfService]
    holds: Sequence[Hold]
    air: AirNow | None
    last_read: AtmosphereReading | None


def equipment_page(equipment: Equipment, now: datetime) -> EquipmentPage:
    """The newest fifty of each list; what is older lies in its history."""
    measures_air = equipment.kind in MEASURES_AIR
    return EquipmentPage(
        state=state_at(equipment, now),
        calibrations=list(equipment.calibrations.select_related("by", "voided_by")[:50]),
        times_out=list(equipment.times_out.select_related("by", "ended_by")[:50]),
        holds=list(equipment.holds.select_related("by", "released_by")[:50]),
        air=rooms_now(now, equipment)[0] if equipment.is_room else None,
        last_read=equipment.air_readings.select_related("room").order_by("-pk").first() if measures_air else None,
    )


def history(equipment: Equipment) -> QuerySet[TrailEntry]:
    """What happened to it, newest first; single readings of the air are on the pages of the air."""
    return timeline(equipment.stream).exclude(kind__in=TOLD_ELSEWHERE)


def told(entry: TrailEntry) -> dict[str, Any]:
    """One entry of its history in the words of the lab."""
    text, note = TOLD.get(entry.kind, (entry.kind, lambda facts: ""))
    return {"at": entry.at, "who": entry.actor_name, "text": text, "note": note(entry.facts)}


def _changes(changes: dict[str, dict[str, Any]]) -> list[str]:
    return [
        f"{Equipment._meta.get_field(field).verbose_name}: {_plain(field, change['from'])} to"
        f" {_plain(field, change['to'])}"
        for field, change in sorted(changes.items())
    ]


def _plain(field: str, value: Any) -> str:
    if field == "overdue_rule":
        return Equipment.OverdueRule(value).label
    return "nothing" if value in (None, "") else str(value)


def _calibration(facts: dict[str, Any]) -> str:
    said = [f"done on {_day(facts['done_on'])}", "fit for use" if facts["usable"] else "not fit for use"]
    if facts["due_on"]:
        said.append(f"next due on {_day(facts['due_on'])}")
    if facts["certificate"]:
        said.append(f"certificate {facts['certificate']}")
    return ", ".join(said)


def _import(facts: dict[str, Any]) -> str:
    return f"{facts['file_name']}: {facts['stored']} readings stored, {facts['skipped']} lines skipped"


def _day(text: str) -> str:
    return date_format(date.fromisoformat(text), "j M Y")


def _fact(name: str) -> Callable[[dict[str, Any]], str]:
    return lambda facts: facts.get(name, "")


TOLD: dict[str, tuple[str, Callable[[dict[str, Any]], str]]] = {
    "equipment.added": ("Added", lambda facts: ""),
    "equipment.changed": ("Changed", lambda facts: "; ".join(_changes(facts["changes"]))),
    "equipment.out_of_service": ("Put out of service", _fact("reason")),
    "equipment.returned": ("Returned to service", _fact("checked")),
    "equipment.held": ("Results held", _fact("reason")),
    "equipment.hold_released": ("Results released", _fact("reason")),
    "calibration.recorded": ("Calibration or verification recorded", _calibration),
    "calibration.void": ("Record of a calibration made void", _fact("reason")),
    "atmosphere.tolerance_set": ("Tolerance of the air set", _fact("tolerance")),
    "atmosphere.imported": ("A logger's file taken in", _import),
    "atmosphere.import_void": ("A logger's file made void", _fact("reason")),
}
