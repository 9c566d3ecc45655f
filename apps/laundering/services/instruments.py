"""What a wash is weighed, measured and washed with: whether it could be relied upon at that moment."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.formats import date_format

from apps.core.errors import Refusal
from apps.equipment.models import Calibration, Equipment
from apps.equipment.queries import state_at, usable
from apps.equipment.services import check_usable, lock_equipment
from apps.laundering.models import Drying, Load
from apps.laundering.services.conditions import Wash
from apps.laundering.services.rules import Problem

Kind, TempSource = Equipment.Kind, Load.TempSource


@dataclass(frozen=True)
class Instruments:
    """`problems`: what is overdue and may be disclosed."""

    washer: Equipment
    thermometer: Equipment | None
    balance: Equipment | None
    verification: Calibration | None
    problems: list[Problem]

    def facts(self) -> dict[str, Any]:
        told = {name: getattr(self, name) for name in ("washer", "thermometer", "balance")}
        relied = self.verification and f"{self.verification.done_on} {self.verification.certificate}".strip()
        return {**{name: one.name if one else "" for name, one in told.items()}, "verification": relied or ""}


def instruments_of(wash: Wash, at: datetime, *, free: bool) -> Instruments:
    """The machine, held, and what the run was measured with. `free`: no other load may be in the machine now."""
    washer = _washer(wash.washer_id, free=free)
    thermometer = balance = None
    problems = used(washer, at, field="washer", code="overdue")
    if wash.temp_source == TempSource.DIP:
        thermometer = _instrument(Kind.THERMOMETER, wash.thermometer_id, at, field="thermometer")
    balance = _instrument(Kind.BALANCE, wash.balance_id, at, field="balance")
    for instrument, field in ((thermometer, "thermometer"), (balance, "balance")):
        if instrument:
            problems += used(instrument, at, field=field, code=f"overdue_{field}")
    verification = _verification(washer, at) if wash.temp_source == TempSource.VERIFIED else None
    return Instruments(washer, thermometer, balance, verification, problems)


def used(machine: Equipment, at: datetime, *, field: str, code: str, kind: str = "wash") -> list[Problem]:
    """Refused beside its field when it must not be used; what is overdue is given back, to be disclosed."""
    try:
        return [Problem(field, code, fact, "", kind) for fact in check_usable(machine, at)]
    except Refusal as refusal:
        raise Refusal(str(refusal), code=refusal.code, field=field) from refusal


def free_dryer(dryer_id: int | None) -> Equipment:
    """Hold the machine; refused unless it is a dryer that stands free."""
    found = lock_equipment([dryer_id])
    if not found or found[0].kind != Kind.DRYER:
        raise Refusal("Choose the dryer.", code="no_dryer", field="dryer")
    if running := Drying.objects.filter(dryer=found[0], state=Drying.State.RUNNING).first():
        raise Refusal(f"{found[0]} is drying already (drying {running.pk}).", code="dryer_busy", field="dryer")
    return found[0]


def _washer(washer_id: int, *, free: bool) -> Equipment:
    found = lock_equipment([washer_id])
    if not found or found[0].kind != Kind.WASHER:
        raise Refusal("Choose the washer.", code="no_washer", field="washer")
    running = Load.objects.filter(washer=found[0], state=Load.State.WASHING).first() if free else None
    if running:
        raise Refusal(f"{found[0]} is washing load {running.pk}.", code="washer_busy", field="washer")
    return found[0]


def _instrument(kind: str, chosen: int | None, at: datetime, *, field: str) -> Equipment | None:
    """The one that was chosen; none only where the lab has none that could be."""
    if chosen is not None:
        found = Equipment.objects.filter(pk=chosen, kind=kind).first()
        if found:
            return found
    elif not usable(kind, at.date()).exists():
        return None
    raise Refusal(f"Choose the {Kind(kind).label}.", code=f"no_{field}", field=field)


def _verification(washer: Equipment, at: datetime) -> Calibration:
    """The machine's own verification stands for a thermometer only while it holds."""
    state = state_at(washer, at)
    todo = "Measure with a thermometer, or read the machine's display."
    if state.calibration is None:
        raise Refusal(f"No verification of {washer} is recorded. {todo}", code="not_verified", field="temp_source")
    if state.overdue:
        day = date_format(state.calibration.due_on, "j M Y")
        fact = f"The verification of {washer} was due on {day}."
        raise Refusal(f"{fact} {todo}", code="verification_overdue", field="temp_source")
    return state.calibration
