"""The fabric has run: what it did, and whether that is as usual."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from apps.accounts.models import Role, User
from apps.calc.errors import CalcError
from apps.calc.lengths import parse_length
from apps.control.models import Check, CheckPair, CheckPoint, Direction
from apps.control.queries.checks import Series, series_of, words_of
from apps.control.services.checks import locked
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.equipment import services as equipment
from apps.laundering.models import Load
from apps.laundering.queries import conditions_of
from apps.trail import services as trail

MOST_PAIRS = 9


@dataclass(frozen=True)
class Typed:
    """Readings of one direction as they were typed: originals, and after the run, in the same order."""

    before: str
    after: str

    @property
    def empty(self) -> bool:
        return not (self.before.strip() or self.after.strip())


@transaction.atomic
def record_run(
    *,
    check_id: int,
    load_id: int,
    unit: str,
    typed: Mapping[str, Typed],
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> list[CheckPoint]:
    """A piece of the fabric went through this load: a point for each direction that was read.

    A point that breaks a rule holds the results of what ran on the machine since the last good one.
    """
    check = locked(check_id)
    told = {direction: asdict(each) for direction, each in typed.items()}
    payload = {"act": "run", "check": check_id, "load": load_id, "unit": unit, "typed": told}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return list(CheckPoint.objects.filter(pk__in=done.facts["points"]))
    if not {Role.BENCH, Role.MANAGER} & by.roles:
        raise Refusal("The bench records what a check fabric did.", code="not_bench")
    load = _load_of(check, load_id)
    clock.check_moment(at, after=load.wash_ended_at, what="The reading")
    if all(each.empty for each in typed.values()):
        raise Refusal("Enter what was read in one direction at least.", code="nothing_read", field="length_before")
    points = [
        _point(check, direction, load, _pairs(direction, typed[direction], unit), by, at)
        for direction in Direction.values
        if direction in typed and not typed[direction].empty
    ]
    facts = {
        "check": check.pk,
        "load": load.pk,
        "unit": unit,
        "points": [point.pk for point in points],
        "changes": {point.direction: str(point.change) for point in points},
    }
    trail.record(stream=check.stream, kind="check.run", by=by, at=at, facts=facts, key=key, payload=payload)
    _hold_if_unusual(check, points, by, at)
    return points


@transaction.atomic
def void_point(*, point_id: int, reason: str, by: User, at: datetime, key: UUID | None = None) -> CheckPoint:
    """A point that was wrong counts no more, for a reason. A hold that it caused is released by the manager's word."""
    reason = line(reason, most=200, field="reason")
    check = locked(CheckPoint.objects.values_list("check_of_id", flat=True).get(pk=point_id))
    point = CheckPoint.objects.get(pk=point_id)
    payload = {"act": "void_point", "point": point_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return point
    if Role.MANAGER not in by.roles:
        raise Refusal("Only a lab manager makes a point void.", code="not_manager")
    if not reason:
        raise Refusal("Say why this point is wrong.", code="reason_missing", field="reason")
    if point.voided_at:
        raise Refusal("This point is void already.", code="already_void")
    point.voided_at, point.voided_by, point.void_reason = at, by, reason
    point.save(update_fields=["voided_at", "voided_by", "void_reason"])
    facts = {"point": point.pk, "direction": point.direction, "load": point.load_id, "reason": reason}
    trail.record(stream=check.stream, kind="check.point_void", by=by, at=at, facts=facts, key=key, payload=payload)
    return point


def _load_of(check: Check, load_id: int) -> Load:
    load = Load.objects.filter(pk=load_id).first()
    if check.ended_at:
        raise Refusal("This check has ended.", code="check_ended")
    if load is None or load.state != Load.State.WASHED:
        raise Refusal("Choose a load whose wash has ended.", code="load_not_washed", field="load")
    if conditions_of([load])[load.pk].washer_id != check.washer_id or load.procedure_id != check.procedure_id:
        raise Refusal(
            f"Load {load.pk} was not washed in {check.washer} by {check.procedure}.", code="other_load", field="load"
        )
    return load


def _pairs(direction: str, typed: Typed, unit: str) -> list[dict[str, Any]]:
    """The distances one by one, as typed and in millimetres."""
    before, after = (
        _lengths(f"{direction}_before", typed.before, unit),
        _lengths(f"{direction}_after", typed.after, unit),
    )
    if len(before) != len(after):
        raise Refusal(
            f"{len(before)} originals and {len(after)} readings after the run: each original has its reading.",
            code="not_in_pairs",
            field=f"{direction}_after",
        )
    return [
        {"number": number, "unit": unit, "before_text": a, "before_mm": a_mm, "after_text": b, "after_mm": b_mm}
        for number, ((a, a_mm), (b, b_mm)) in enumerate(zip(before, after, strict=True), 1)
    ]


def _lengths(field: str, text: str, unit: str) -> Sequence[tuple[str, Any]]:
    words = text.split()
    if not words or len(words) > MOST_PAIRS:
        raise Refusal(f"One to {MOST_PAIRS} readings, with a space between them.", code="how_many", field=field)
    try:
        return [(word, parse_length(word, unit)) for word in words]
    except CalcError as error:
        raise Refusal(str(error), code=error.code, field=field) from error


def _point(check: Check, direction: str, load: Load, pairs: list[dict[str, Any]], by: User, at: datetime) -> CheckPoint:
    there = CheckPoint.objects.filter(check_of=check, direction=direction, load=load, voided_at=None)
    if there.exists():
        name = Direction(direction).label
        raise Refusal(f"What load {load.pk} did in {name} is in the book already.", code="point_there", field="load")
    point = CheckPoint.objects.create(check_of=check, direction=direction, load=load, by=by, at=at)
    CheckPair.objects.bulk_create(CheckPair(point=point, **pair) for pair in pairs)
    return point


def _hold_if_unusual(check: Check, points: Sequence[CheckPoint], by: User, at: datetime) -> None:
    new = {point.pk for point in points}
    alarms = [
        (each, number)
        for each in series_of([check])[check.pk]
        for number in each.signals
        if each.points[number].pk in new
    ]
    if not alarms:
        return
    good = [each.good_before(number) for each, number in alarms]
    since = None if None in good else min(point.load.wash_started_at for point in good)
    told = " ".join(_told(each, number) for each, number in alarms)
    equipment.hold_results(equipment_id=check.washer_id, since=since, reason=told, by=by, at=at)


def _told(series: Series, number: int) -> str:
    rules = " ".join(words_of(rule) for rule in series.signals[number])
    return f"Check fabric in load {series.points[number].load_id}, {series.name}: {rules}"
