"""Which fabric runs where and how often, and what is held to be usual."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from apps.accounts.models import User
from apps.calc.control import individuals
from apps.control.models import Baseline, Check, CheckFabric, CheckPoint, Direction
from apps.control.queries.checks import LEAST_POINTS, series_of
from apps.control.services.may import only_a_manager
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.equipment.models import Equipment
from apps.equipment.services import lock_equipment
from apps.methods.models import LaunderingProcedure
from apps.trail import services as trail


@transaction.atomic
def add_fabric(*, name: str, lot: str, note: str = "", by: User, at: datetime, key: UUID | None = None) -> CheckFabric:
    """A lot of cloth is kept for checks."""
    name, lot = line(name, most=120, field="name"), line(lot, most=60, field="lot")
    note = line(note, most=300, field="note")
    payload = {"act": "fabric", "name": name, "lot": lot, "note": note}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return CheckFabric.objects.get(pk=done.facts["fabric"])
    only_a_manager(by)
    for field, text in (("name", name), ("lot", lot)):
        if not text:
            raise Refusal(f"Say the {field}.", code="missing", field=field)
    if CheckFabric.objects.filter(name=name, lot=lot).exists():
        raise Refusal("This lot is in the book already.", code="fabric_there", field="lot")
    fabric = CheckFabric.objects.create(name=name, lot=lot, note=note, by=by, at=at)
    facts = {"fabric": fabric.pk, "name": name, "lot": lot, "note": note}
    trail.record(stream=f"fabric:{fabric.pk}", kind="check.fabric", by=by, at=at, facts=facts, key=key, payload=payload)
    return fabric


@transaction.atomic
def plan_check(
    *,
    fabric_id: int,
    washer_id: int,
    procedure_id: int,
    every_loads: int | None,
    every_days: int | None,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> Check:
    """From now on this fabric runs in this washer with this procedure, every so many loads or days."""
    (washer,) = lock_equipment([washer_id])
    fabric = CheckFabric.objects.get(pk=fabric_id)
    procedure = LaunderingProcedure.objects.get(pk=procedure_id)
    often = {"every_loads": every_loads, "every_days": every_days}
    payload = {"act": "plan", "fabric": fabric_id, "washer": washer_id, "procedure": procedure_id, **often}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Check.objects.get(pk=done.facts["check"])
    only_a_manager(by)
    if washer.kind != Equipment.Kind.WASHER:
        raise Refusal("A check fabric runs in a washer.", code="not_a_washer", field="washer")
    if not every_loads and not every_days:
        raise Refusal("Say after how many loads or days it runs again.", code="no_frequency", field="every_loads")
    if Check.objects.filter(fabric=fabric, washer=washer, procedure=procedure, ended_at=None).exists():
        raise Refusal("This check is planned already.", code="check_there", field="washer")
    check = Check.objects.create(fabric=fabric, washer=washer, procedure=procedure, by=by, at=at, **often)
    facts = {"check": check.pk, "fabric": str(fabric), "washer": washer.name, "procedure": procedure.code, **often}
    trail.record(stream=check.stream, kind="check.planned", by=by, at=at, facts=facts, key=key, payload=payload)
    return check


@transaction.atomic
def end_check(*, check_id: int, reason: str, by: User, at: datetime, key: UUID | None = None) -> Check:
    """The fabric runs no more here, for a reason; what it told stays in the book."""
    reason = line(reason, most=200, field="reason")
    check = locked(check_id)
    payload = {"act": "end", "check": check_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return check
    only_a_manager(by)
    if not reason:
        raise Refusal("Say why this check ends.", code="reason_missing", field="reason")
    if check.ended_at:
        raise Refusal("This check has ended already.", code="already_ended")
    check.ended_at, check.ended_by, check.end_reason = at, by, reason
    check.save(update_fields=["ended_at", "ended_by", "end_reason"])
    trail.record(
        stream=check.stream,
        kind="check.ended",
        by=by,
        at=at,
        facts={"check": check.pk, "reason": reason},
        key=key,
        payload=payload,
    )
    return check


@transaction.atomic
def set_baseline(
    *,
    check_id: int,
    direction: str,
    first_id: int,
    last_id: int,
    note: str,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> Baseline:
    """What these points, from the first to the last, show is held to be usual from now on.

    Limits of single values from the mean moving range (NIST/SEMATECH e-Handbook, 6.3.2.2). They stay as they are until
    another baseline is set.
    """
    note = line(note, most=300, field="note")
    check = locked(check_id)
    span = {"direction": direction, "first": first_id, "last": last_id}
    payload = {"act": "baseline", "check": check_id, "note": note, **span}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Baseline.objects.get(pk=done.facts["baseline"])
    only_a_manager(by)
    if not note:
        raise Refusal("Say why these points are held to be usual.", code="note_missing", field="note")
    points = _between(check, direction, first_id, last_id)
    limits = individuals([point.change for point in points])
    if not limits.mr_bar:
        raise Refusal("These points do not differ at all: no limits follow from them.", code="no_spread")
    row = Baseline.objects.create(
        check_of=check,
        direction=direction,
        first=points[0],
        last=points[-1],
        n=len(points),
        center=limits.center,
        lower=limits.lower,
        upper=limits.upper,
        mr_bar=limits.mr_bar,
        note=note,
        by=by,
        at=at,
    )
    facts = {"baseline": row.pk, "n": row.n, "center": str(row.center), "mr_bar": str(row.mr_bar), "note": note, **span}
    trail.record(stream=check.stream, kind="check.baseline", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


def _between(check: Check, direction: str, first_id: int, last_id: int) -> list[CheckPoint]:
    """The points that count from one to another, in order."""
    series = next((each for each in series_of([check])[check.pk] if each.direction == direction), None)
    keys = [point.pk for point in series.points] if series else []
    if first_id not in keys or last_id not in keys:
        raise Refusal("Choose points that count.", code="no_such_point", field="first")
    points = series.points[keys.index(first_id) : keys.index(last_id) + 1]
    if len(points) < LEAST_POINTS:
        name = Direction(direction).label
        raise Refusal(
            f"A baseline needs at least {LEAST_POINTS} points in {name}; these are {len(points)}.",
            code="too_few_points",
            field="last",
        )
    return list(points)


def locked(check_id: int) -> Check:
    """The check, its machine's row held until the transaction ends."""
    lock_equipment(Check.objects.filter(pk=check_id).values_list("washer_id", flat=True))
    return Check.objects.select_related("fabric", "washer", "procedure").get(pk=check_id)
