"""What happens to machines and instruments: they come, change, fail and come back."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.formats import date_format

from apps.accounts.models import User
from apps.core.errors import Refusal, StalePage
from apps.equipment.models import Equipment
from apps.trail import services as trail

# A due date further away than this is a slip of the pen.
FAR = timedelta(days=20 * 366)


def lock_equipment(equipment_ids: Iterable[int]) -> list[Equipment]:
    """Hold these rows until the transaction ends: after jobs, requests and the load, before the trail."""
    return list(Equipment.objects.select_for_update(no_key=True).filter(pk__in=set(equipment_ids)).order_by("pk"))


def check_usable(equipment: Equipment, at: datetime) -> list[str]:
    """May this be used now? Out of service is refused; what is overdue may be used, and each sentence is disclosed."""
    if equipment.out_of_service:
        raise Refusal(f"{equipment} is out of service: {equipment.out_of_service}", code="out_of_service")
    if equipment.overdue(timezone.localdate(at)):
        due = date_format(equipment.calibration_due, "j M Y")
        return [f"The calibration or verification of {equipment} was due on {due}."]
    return []


@transaction.atomic
def add_equipment(
    *,
    name: str,
    kind: str,
    maker: str = "",
    serial_number: str = "",
    location: str = "",
    calibration_due: date | None = None,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> Equipment:
    """A machine or an instrument comes into the lab under a name of its own. Its kind stays what it is."""
    name = _checked_name(name)
    if kind not in Equipment.Kind.values:
        raise Refusal("Say what kind of equipment it is.", code="kind_unknown", field="kind")
    _check_due(calibration_due, at)
    values = {
        "name": name,
        "kind": kind,
        "maker": maker.strip(),
        "serial_number": serial_number.strip(),
        "location": location.strip(),
        "calibration_due": calibration_due,
    }
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
    *,
    equipment_id: int,
    version: int,
    name: str,
    maker: str,
    serial_number: str,
    location: str,
    calibration_due: date | None,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> Equipment:
    """Put right what is written about a piece of equipment. `version` is what the page showed."""
    name = _checked_name(name)
    _check_due(calibration_due, at)
    values = {
        "name": name,
        "maker": maker.strip(),
        "serial_number": serial_number.strip(),
        "location": location.strip(),
        "calibration_due": calibration_due,
    }
    (equipment,) = lock_equipment([equipment_id])
    payload = {"act": "change", "equipment": equipment_id, "version": version, **values}
    if trail.repeated(key=key, payload=payload, by=by):
        return equipment
    changes = {field: value for field, value in values.items() if getattr(equipment, field) != value}
    if equipment.version != version:
        raise StalePage(_stale_sentence(equipment, changes))
    if not changes:
        return equipment
    if "name" in changes:
        _check_name_free(name, except_for=equipment.pk)
    facts = {
        "equipment": equipment.pk,
        "name": equipment.name,
        "changes": {field: {"from": getattr(equipment, field), "to": value} for field, value in changes.items()},
    }
    _save_named(equipment, changes)
    trail.record(stream=equipment.stream, kind="equipment.changed", by=by, at=at, facts=facts, key=key, payload=payload)
    return equipment


@transaction.atomic
def put_out_of_service(*, equipment_id: int, reason: str, by: User, at: datetime, key: UUID | None = None) -> Equipment:
    """It must not be used from now on, for a reason that everybody who picks equipment reads."""
    reason = " ".join(reason.split())
    (equipment,) = lock_equipment([equipment_id])
    payload = {"act": "out_of_service", "equipment": equipment_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return equipment
    if not reason:
        raise Refusal(f"Say why {equipment} must not be used.", code="reason_missing", field="reason")
    if equipment.out_of_service:
        raise Refusal(
            f"{equipment} is out of service already: {equipment.out_of_service}", code="already_out_of_service"
        )
    _update(equipment, {"out_of_service": reason})
    facts = {"equipment": equipment.pk, "name": equipment.name, "reason": reason}
    trail.record(
        stream=equipment.stream, kind="equipment.out_of_service", by=by, at=at, facts=facts, key=key, payload=payload
    )
    return equipment


@transaction.atomic
def return_to_service(
    *,
    equipment_id: int,
    by: User,
    at: datetime,
    checked: str = "",
    version: int | None = None,
    key: UUID | None = None,
) -> Equipment:
    """It may be used again. `checked`: what was done and how it was seen to work. `version`: what the page showed."""
    checked = " ".join(checked.split())
    (equipment,) = lock_equipment([equipment_id])
    payload = {"act": "return", "equipment": equipment_id, "checked": checked, "version": version}
    if trail.repeated(key=key, payload=payload, by=by):
        return equipment
    if not equipment.out_of_service:
        raise Refusal(f"{equipment} is in service already.", code="already_in_service")
    if version is not None and version != equipment.version:
        raise StalePage(
            f"{equipment} was changed meanwhile. It is out of service because: {equipment.out_of_service}."
            " Look again before you return it."
        )
    facts = {
        "equipment": equipment.pk,
        "name": equipment.name,
        "was_out_because": equipment.out_of_service,
        "checked": checked,
    }
    _update(equipment, {"out_of_service": ""})
    trail.record(
        stream=equipment.stream, kind="equipment.returned", by=by, at=at, facts=facts, key=key, payload=payload
    )
    return equipment


def _checked_name(name: str) -> str:
    name = " ".join(name.split())
    if not name:
        raise Refusal("Give it the name that it goes by in the lab.", code="name_missing", field="name")
    return name


def _created(values: dict[str, Any]) -> Equipment:
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


def _check_due(due: date | None, at: datetime) -> None:
    today = timezone.localdate(at)
    if due is not None and not today - FAR <= due <= today + FAR:
        raise Refusal(
            "Is the year right? This is more than 20 years away.", code="date_far_off", field="calibration_due"
        )


def _update(equipment: Equipment, changes: dict[str, Any]) -> None:
    for field, value in changes.items():
        setattr(equipment, field, value)
    equipment.version += 1
    equipment.save(update_fields=[*changes, "version"])


def _save_named(equipment: Equipment, changes: dict[str, Any]) -> None:
    """Save; the database knows whether a run stands under the old name, and who was quicker with the new one."""
    old_name = equipment.name
    try:
        with transaction.atomic():
            _update(equipment, changes)
    except IntegrityError as error:
        if "name" not in changes:
            raise
        _check_name_free(changes["name"], except_for=equipment.pk)
        raise Refusal(
            f"Runs are written down under the name {old_name}; it keeps it.", code="name_in_log_book", field="name"
        ) from error


def _stale_sentence(equipment: Equipment, differing: dict[str, Any]) -> str:
    said = []
    for field in differing:
        value = getattr(equipment, field)
        words = date_format(value, "j M Y") if isinstance(value, date) else value or "nothing"
        said.append(f"{Equipment._meta.get_field(field).verbose_name}: {words}")
    now = f" It now says {'; '.join(said)}." if said else ""
    return f"{equipment} was changed after this page was opened.{now} Look it over, then save again."
