"""May it be used? And the times in which it may not."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.formats import date_format

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.core.texts import line
from apps.equipment.models import Equipment, OutOfService
from apps.equipment.queries import state_at
from apps.equipment.services.texts import check_not_long_ago
from apps.trail import services as trail


def lock_equipment(equipment_ids: Iterable[int]) -> list[Equipment]:
    """Hold these rows until the transaction ends: after jobs, requests and the load, before the trail."""
    return list(Equipment.objects.select_for_update(no_key=True).filter(pk__in=set(equipment_ids)).order_by("pk"))


def hold(equipment_id: int) -> Equipment:
    """One of them; the view has seen that it exists."""
    return Equipment.objects.select_for_update(no_key=True).get(pk=equipment_id)


def check_usable(equipment: Equipment, at: datetime) -> list[str]:
    """May this be used at that moment? What held then is asked, not what holds today.

    Out of service, or found not fit by its last calibration, is refused. What is overdue is refused or disclosed, as
    the lab set it for this piece; each sentence of the answer is disclosed.
    """
    state = state_at(equipment, at)
    if state.out:
        verb = "is" if state.out.until is None else "was"
        raise Refusal(f"{equipment} {verb} out of service: {state.out.reason}", code="out_of_service")
    if state.unfit:
        found = state.calibration.as_left or state.calibration.as_found
        day = date_format(state.calibration.done_on, "j M Y")
        raise Refusal(f"{equipment} was found not fit for use on {day}: {found}", code="not_fit")
    if not state.overdue:
        return []
    if state.refused:
        raise Refusal(f"{state.overdue_sentence} It must not be used until that is done.", code="overdue_refused")
    return [state.overdue_sentence]


@transaction.atomic
def put_out_of_service(*, equipment_id: int, reason: str, by: User, at: datetime, key: UUID | None = None) -> Equipment:
    """It must not be used from that moment on, for a reason that everybody who picks equipment reads.

    The moment may lie some hours back: what was run on it since then rests on a machine that was not in order.
    """
    reason = line(reason, most=200, field="reason")
    equipment = hold(equipment_id)
    payload = {"act": "out_of_service", "equipment": equipment_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return equipment
    if not reason:
        raise Refusal(f"Say why {equipment} must not be used.", code="reason_missing", field="reason")
    times = OutOfService.objects.filter(equipment=equipment)
    if now_out := times.filter(until=None).first():
        raise Refusal(f"{equipment} is out of service already: {now_out.reason}", code="already_out_of_service")
    last = times.order_by("-until").first()
    clock.check_moment(at, after=last and last.until, what="The time out of service")
    check_not_long_ago(at)
    period = OutOfService.objects.create(equipment=equipment, since=at, reason=reason, by=by, recorded_at=clock.now())
    facts = {"equipment": equipment.pk, "name": equipment.name, "reason": reason, "period": period.pk}
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
    period_id: int | None = None,
    key: UUID | None = None,
) -> Equipment:
    """It may be used again. `checked`: what was done and how it was seen to work. `period_id`: what the page showed."""
    checked = line(checked, most=200, field="checked")
    equipment = hold(equipment_id)
    payload = {"act": "return", "equipment": equipment_id, "checked": checked, "period": period_id}
    if trail.repeated(key=key, payload=payload, by=by):
        return equipment
    period = OutOfService.objects.filter(equipment=equipment, until=None).first()
    if period is None:
        raise Refusal(f"{equipment} is in service already.", code="already_in_service")
    if period_id is not None and period_id != period.pk:
        raise StalePage(
            f"{equipment} was changed meanwhile. It is out of service because: {period.reason}."
            " Look again before you return it."
        )
    clock.check_moment(at, after=period.since, what="The return")
    period.until, period.checked, period.ended_by = at, checked, by
    period.save(update_fields=["until", "checked", "ended_by"])
    facts = {
        "equipment": equipment.pk,
        "name": equipment.name,
        "was_out_because": period.reason,
        "checked": checked,
        "period": period.pk,
    }
    trail.record(
        stream=equipment.stream, kind="equipment.returned", by=by, at=at, facts=facts, key=key, payload=payload
    )
    return equipment
