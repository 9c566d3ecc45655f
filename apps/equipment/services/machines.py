"""Machines, instruments and rooms come into the lab, and what is written about them changes."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from apps.accounts.models import User
from apps.core.errors import Refusal, StalePage
from apps.core.texts import line
from apps.equipment.models import Equipment
from apps.equipment.services.use import hold
from apps.trail import services as trail

MOST_MONTHS = 240


@dataclass(frozen=True)
class Details:
    """What is written about a piece of equipment; its kind is said once, when it comes."""

    name: str
    maker: str = ""
    serial_number: str = ""
    firmware: str = ""
    location: str = ""
    acceptance: str = ""
    interval_months: int | None = None
    overdue_rule: str = Equipment.OverdueRule.DISCLOSE
    notes: str = ""

    def values(self) -> dict[str, Any]:
        """As the columns take it; refused where it makes no sense."""
        values = asdict(self)
        for name in ("name", "maker", "serial_number", "firmware", "location", "acceptance", "notes"):
            values[name] = line(values[name], most=Equipment._meta.get_field(name).max_length, field=name)
        if not values["name"]:
            raise Refusal("Give it the name that it goes by in the lab.", code="name_missing", field="name")
        if self.interval_months is not None and not 1 <= self.interval_months <= MOST_MONTHS:
            raise Refusal(f"From 1 to {MOST_MONTHS} months.", code="interval", field="interval_months")
        if self.overdue_rule not in Equipment.OverdueRule.values:
            raise Refusal("Say what holds when it is overdue.", code="overdue_rule", field="overdue_rule")
        return {**values, "overdue_rule": str(self.overdue_rule)}


@transaction.atomic
def add_equipment(*, kind: str, details: Details, by: User, at: datetime, key: UUID | None = None) -> Equipment:
    """A machine, an instrument or a room comes into the lab under a name of its own. Its kind stays what it is."""
    if kind not in Equipment.Kind.values:
        raise Refusal("Say what kind of equipment it is.", code="kind_unknown", field="kind")
    values = {**details.values(), "kind": str(kind)}
    payload = {"act": "add", **values}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Equipment.objects.get(pk=done.facts["equipment"])
    try:
        equipment = _created(values)
    except Refusal:
        # Perhaps it was this very form, sent twice, that took the name a moment ago.
        if done := trail.repeated(key=key, payload=payload, by=by):
            return Equipment.objects.get(pk=done.facts["equipment"])
        raise
    facts = {"equipment": equipment.pk, **values}
    trail.record(stream=equipment.stream, kind="equipment.added", by=by, at=at, facts=facts, key=key, payload=payload)
    return equipment


@transaction.atomic
def change_equipment(
    *, equipment_id: int, version: int, details: Details, by: User, at: datetime, key: UUID | None = None
) -> Equipment:
    """Put right what is written about a piece of equipment. `version` is what the page showed."""
    values = details.values()
    equipment = hold(equipment_id)
    payload = {"act": "change", "equipment": equipment_id, "version": version, **values}
    if trail.repeated(key=key, payload=payload, by=by):
        return equipment
    changes = {field: value for field, value in values.items() if getattr(equipment, field) != value}
    if equipment.version != version:
        raise StalePage(_stale_sentence(equipment, changes))
    if not changes:
        return equipment
    if "name" in changes:
        _check_name_free(changes["name"], except_for=equipment.pk)
    facts = {
        "equipment": equipment.pk,
        "name": equipment.name,
        "changes": {field: {"from": getattr(equipment, field), "to": value} for field, value in changes.items()},
    }
    _save_named(equipment, changes)
    trail.record(stream=equipment.stream, kind="equipment.changed", by=by, at=at, facts=facts, key=key, payload=payload)
    return equipment


def _created(values: Mapping[str, Any]) -> Equipment:
    _check_name_free(values["name"])
    try:
        with transaction.atomic():
            return Equipment.objects.create(**values)
    except IntegrityError:
        _check_name_free(values["name"])
        raise


def _check_name_free(name: str, *, except_for: int | None = None) -> None:
    if other := Equipment.objects.filter(name__iexact=name).exclude(pk=except_for).first():
        raise Refusal(
            f"There is a {other.get_kind_display()} named {other} already. Choose another name.",
            code="name_taken",
            field="name",
        )


def _save_named(equipment: Equipment, changes: Mapping[str, Any]) -> None:
    """Save; the database knows whether a run stands under the old name, and who was quicker with the new one."""
    old_name = equipment.name
    for field, value in changes.items():
        setattr(equipment, field, value)
    equipment.version += 1
    try:
        with transaction.atomic():
            equipment.save(update_fields=[*changes, "version"])
    except IntegrityError as error:
        if "name" not in changes:
            raise
        _check_name_free(changes["name"], except_for=equipment.pk)
        raise Refusal(
            f"Runs are written down under the name {old_name}; it keeps it.", code="name_in_log_book", field="name"
        ) from error


def _stale_sentence(equipment: Equipment, differing: Mapping[str, Any]) -> str:
    said = []
    for field in differing:
        column = Equipment._meta.get_field(field)
        words = equipment.get_overdue_rule_display() if field == "overdue_rule" else getattr(equipment, field)
        said.append(f"{column.verbose_name}: {words or 'nothing'}")
    now = f" It now says {'; '.join(said)}." if said else ""
    return f"{equipment} was changed after this page was opened.{now} Look it over, then save again."
