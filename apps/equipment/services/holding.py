"""Results wait while a machine's check fabric says that something changed."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from apps.accounts.models import Role, User
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.equipment.models import Equipment, Hold
from apps.equipment.services.use import hold
from apps.trail import services as trail


def hold_results(*, equipment_id: int, since: datetime | None, reason: str, by: User, at: datetime) -> Hold | None:
    """No result of cloth that ran on it after `since` is approved until a manager releases it.

    A step within the act that found it out, in its transaction. None when the machine is held already: the hold that
    stands reaches further back, or is as far.
    """
    equipment = hold(equipment_id)
    if Hold.objects.filter(equipment=equipment, released_at=None).exists():
        return None
    row = Hold.objects.create(equipment=equipment, since=since, reason=reason[:300], by=by, at=at)
    facts = {"hold": row.pk, "name": equipment.name, "since": since, "reason": row.reason}
    trail.record(stream=equipment.stream, kind="equipment.held", by=by, at=at, facts=facts)
    return row


@transaction.atomic
def release_hold(*, hold_id: int, reason: str, by: User, at: datetime, key: UUID | None = None) -> Equipment:
    """The manager has looked into it: results of what ran on the machine may go out, for a reason that stays told."""
    reason = line(reason, most=300, field="reason")
    equipment = hold(Hold.objects.values_list("equipment_id", flat=True).get(pk=hold_id))
    row = Hold.objects.get(pk=hold_id)
    payload = {"act": "release_hold", "hold": hold_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return equipment
    if Role.MANAGER not in by.roles:
        raise Refusal("Only a lab manager releases a hold.", code="not_manager")
    if not reason:
        raise Refusal("Say what was found, and why results may go out.", code="reason_missing", field="reason")
    if row.released_at:
        raise Refusal("This hold is released already.", code="already_released")
    clock.check_moment(at, after=row.at, what="The release")
    row.released_at, row.released_by, row.release_reason = at, by, reason
    row.save(update_fields=["released_at", "released_by", "release_reason"])
    facts = {"hold": row.pk, "name": equipment.name, "held_because": row.reason, "reason": reason}
    trail.record(
        stream=equipment.stream, kind="equipment.hold_released", by=by, at=at, facts=facts, key=key, payload=payload
    )
    return equipment
