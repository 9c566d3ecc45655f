"""Calibrations and verifications: what was found, and until when it holds."""

from calendar import monthrange
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import User
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.equipment.models import Calibration, Equipment
from apps.equipment.services.use import hold
from apps.trail import services as trail

# A date further away than this is a slip of the pen.
FAR = timedelta(days=20 * 366)


@dataclass(frozen=True)
class Finding:
    """What a certificate or the lab's own check says. Without `due_on` the interval of the equipment decides."""

    done_on: date
    as_found: str
    usable: bool
    due_on: date | None = None
    as_left: str = ""
    done_by: str = ""
    certificate: str = ""
    note: str = ""

    def values(self, equipment: Equipment, today: date) -> dict[str, Any]:
        """As the columns take it; refused where it makes no sense."""
        values = asdict(self)
        for name in ("as_found", "as_left", "done_by", "certificate", "note"):
            values[name] = line(values[name], most=Calibration._meta.get_field(name).max_length, field=name)
        if not values["as_found"]:
            raise Refusal("Say what was found.", code="as_found_missing", field="as_found")
        if self.done_on > today:
            raise Refusal("This day has not come yet.", code="done_in_future", field="done_on")
        if self.done_on < today - FAR:
            raise Refusal("Is the year right? This is more than 20 years ago.", code="date_far_off", field="done_on")
        if self.due_on is not None and not self.done_on < self.due_on <= today + FAR:
            sentence = (
                "The next one is due after this one was done."
                if self.due_on <= self.done_on
                else "Is the year right? This is more than 20 years away."
            )
            raise Refusal(sentence, code="date_far_off", field="due_on")
        if self.due_on is None and equipment.interval_months:
            values["due_on"] = months_later(self.done_on, equipment.interval_months)
        return values


def months_later(day: date, months: int) -> date:
    """The same day of a later month, or its last day where it is shorter."""
    years, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + years, month + 1
    return date(year, month, min(day.day, monthrange(year, month)[1]))


@transaction.atomic
def record_calibration(
    *, equipment_id: int, finding: Finding, by: User, at: datetime, key: UUID | None = None
) -> Calibration:
    """It was calibrated or verified: as found, as left, fit for use or not, and when the next one is due.

    It holds from the day it was done; what was used before that day stands under the calibration that held then.
    """
    equipment = hold(equipment_id)
    payload = {"act": "calibrate", "equipment": equipment_id, **asdict(finding)}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Calibration.objects.get(pk=done.facts["calibration"])
    values = finding.values(equipment, timezone.localdate(at))
    calibration = Calibration.objects.create(equipment=equipment, by=by, at=at, **values)
    facts = _facts(calibration, values)
    trail.record(
        stream=equipment.stream, kind="calibration.recorded", by=by, at=at, facts=facts, key=key, payload=payload
    )
    return calibration


@transaction.atomic
def void_calibration(
    *, calibration_id: int, reason: str, by: User, at: datetime, key: UUID | None = None
) -> Calibration:
    """A record that was wrong counts no more, for a reason; it stays in the book."""
    reason = line(reason, most=200, field="reason")
    hold(Calibration.objects.values_list("equipment_id", flat=True).get(pk=calibration_id))
    calibration = Calibration.objects.select_related("equipment").get(pk=calibration_id)
    payload = {"act": "void_calibration", "calibration": calibration_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return calibration
    if not reason:
        raise Refusal("Say why this record is wrong.", code="reason_missing", field="reason")
    if calibration.voided_at:
        raise Refusal("This record is void already.", code="already_void")
    calibration.voided_at, calibration.voided_by, calibration.void_reason = at, by, reason
    calibration.save(update_fields=["voided_at", "voided_by", "void_reason"])
    stream = calibration.equipment.stream
    facts = {"calibration": calibration.pk, "name": calibration.equipment.name, "reason": reason}
    trail.record(stream=stream, kind="calibration.void", by=by, at=at, facts=facts, key=key, payload=payload)
    return calibration


def _facts(calibration: Calibration, values: Mapping[str, Any]) -> dict[str, Any]:
    return {"calibration": calibration.pk, "name": calibration.equipment.name, **values}
