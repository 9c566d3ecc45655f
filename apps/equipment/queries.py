"""What pages and the other rooms ask about machines and instruments."""

from datetime import date
from typing import Any

from django.db.models import BooleanField, Case, Q, QuerySet, Value, When
from django.utils.formats import date_format

from apps.equipment.models import Equipment
from apps.trail.models import TrailEntry
from apps.trail.queries import timeline


def with_state(*, on: date) -> QuerySet[Equipment]:
    """All equipment, each row with `is_overdue`: its calibration or verification was due before this day."""
    overdue = Case(When(Q(calibration_due__lt=on), then=Value(True)), default=Value(False), output_field=BooleanField())
    return Equipment.objects.annotate(is_overdue=overdue)


def equipment_list(*, on: date) -> QuerySet[Equipment]:
    """The page of all equipment, by kind and name."""
    return with_state(on=on).order_by("kind", "name")


def usable(kind: str, on: date) -> QuerySet[Equipment]:
    """What may be chosen for work on this day: of this kind and in service. An overdue one is disclosed, not hidden."""
    return with_state(on=on).filter(kind=kind, out_of_service="").order_by("name")


def get_equipment(equipment_id: int) -> Equipment | None:
    return Equipment.objects.filter(pk=equipment_id).first()


def history(equipment: Equipment) -> QuerySet[TrailEntry]:
    """What happened to it, newest first."""
    return timeline(equipment.stream)


def told(entry: TrailEntry) -> dict[str, Any]:
    """One entry of its history in the words of the lab."""
    facts = entry.facts
    text, note = {
        "equipment.added": ("Added", ""),
        "equipment.changed": ("Changed", "; ".join(_changes(facts.get("changes", {})))),
        "equipment.out_of_service": ("Put out of service", facts.get("reason", "")),
        "equipment.returned": ("Returned to service", facts.get("checked", "")),
    }.get(entry.kind, (entry.kind, ""))
    return {"at": entry.at, "who": entry.actor_name, "text": text, "note": note}


def _changes(changes: dict[str, dict[str, str | None]]) -> list[str]:
    return [
        f"{Equipment._meta.get_field(field).verbose_name}: {_plain(field, change['from'])} to"
        f" {_plain(field, change['to'])}"
        for field, change in sorted(changes.items())
    ]


def _plain(field: str, value: str | None) -> str:
    if field == "calibration_due" and value:
        return date_format(date.fromisoformat(value), "j M Y")
    return value or "nothing"
