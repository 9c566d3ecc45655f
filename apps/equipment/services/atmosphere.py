"""The air of a conditioning room: what it must hold to, and what was read by hand."""

from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.equipment import air, figures
from apps.equipment.models import AtmosphereReading, Equipment, Tolerance
from apps.equipment.queries.machines import MEASURES_AIR
from apps.equipment.services.texts import check_not_long_ago
from apps.equipment.services.use import check_usable, hold
from apps.trail import services as trail

Typed = str | Decimal


@dataclass(frozen=True)
class Limits:
    """What the lab sets for a room: middle and plus or minus, the longest pause of the log, where it comes from."""

    temperature_c: Decimal
    temperature_tolerance_c: Decimal
    humidity_pct: Decimal
    humidity_tolerance_pct: Decimal
    source: str
    gap_minutes: int = 60

    def values(self) -> dict[str, Any]:
        values = {**asdict(self), "source": line(self.source, most=200, field="source")}
        if not values["source"]:
            raise Refusal("Say where these figures come from.", code="source_missing", field="source")
        for middle, either_way, quantity in (
            ("temperature_c", "temperature_tolerance_c", air.TEMPERATURE),
            ("humidity_pct", "humidity_tolerance_pct", air.HUMIDITY),
        ):
            low, high = air.REACH[quantity]
            if not low <= values[middle] <= high:
                sentence = f"From {figures.plain(low)} to {figures.plain(high)} {air.UNITS[quantity]}."
                raise Refusal(sentence, code="out_of_range", field=middle)
            if not 0 < values[either_way] <= 20:
                raise Refusal("Above 0 and at most 20.", code="out_of_range", field=either_way)
        if not 1 <= self.gap_minutes <= 10_080:
            raise Refusal("From 1 minute to 10080, which is a week.", code="out_of_range", field="gap_minutes")
        return values


@transaction.atomic
def set_tolerance(*, room_id: int, limits: Limits, by: User, at: datetime, key: UUID | None = None) -> Tolerance:
    """What the air of this room must hold to from now on; what held before stays in the book."""
    values = limits.values()
    room = hold_room(room_id)
    payload = {"act": "set_tolerance", "room": room_id, **values}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Tolerance.objects.get(pk=done.facts["row"])
    last = Tolerance.objects.filter(room=room).order_by("-at", "-pk").first()
    if last and all(getattr(last, name) == value for name, value in values.items()):
        return last
    tolerance = Tolerance.objects.create(room=room, by=by, at=at, **values)
    told = f"{air.words(tolerance.band)}, pauses up to {limits.gap_minutes} minutes; {values['source']}"
    facts = {"row": tolerance.pk, "name": room.name, "tolerance": told, **values}
    trail.record(
        stream=room.stream, kind="atmosphere.tolerance_set", by=by, at=at, facts=facts, key=key, payload=payload
    )
    return tolerance


@transaction.atomic
def log_atmosphere(
    *,
    room_id: int,
    temperature: Typed,
    humidity: Typed,
    instrument_id: int | None = None,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> AtmosphereReading:
    """Somebody read the air of the room at this moment: degrees Celsius and percent relative humidity.

    The instrument must be usable at that moment; what is overdue about it is written into the trail.
    """
    room = hold_room(room_id)
    payload = {
        "act": "log_atmosphere",
        "room": room_id,
        "temperature": str(temperature),
        "humidity": str(humidity),
        "instrument": instrument_id,
    }
    if done := trail.repeated(key=key, payload=payload, by=by):
        return AtmosphereReading.objects.get(pk=done.facts["reading"])
    warm = figure(temperature, air.TEMPERATURE, "temperature")
    damp = figure(humidity, air.HUMIDITY, "humidity")
    clock.check_moment(at, what="The reading")
    check_not_long_ago(at)
    instrument, disclosed = instrument_at(instrument_id, at)
    if there := AtmosphereReading.objects.filter(room=room, at=at, voided_at=None).first():
        if (there.temperature_c, there.humidity_pct) == (warm, damp):
            return there
        raise Refusal(_already_read(there), code="already_read")
    reading = AtmosphereReading.objects.create(
        room=room,
        instrument=instrument,
        at=at,
        temperature_c=warm,
        humidity_pct=damp,
        source=AtmosphereReading.Source.TYPED,
        by=by,
        recorded_at=clock.now(),
    )
    facts = {
        "reading": reading.pk,
        "room": room.name,
        "temperature_c": warm,
        "humidity_pct": damp,
        "instrument": instrument.name if instrument else "",
        "disclosed": disclosed,
    }
    trail.record(stream=room.stream, kind="atmosphere.logged", by=by, at=at, facts=facts, key=key, payload=payload)
    return reading


@transaction.atomic
def void_reading(*, reading_id: int, reason: str, by: User, at: datetime, key: UUID | None = None) -> AtmosphereReading:
    """A reading that was wrong counts no more, for a reason; it stays in the book, and its moment is free again."""
    reason = line(reason, most=200, field="reason")
    room = hold(AtmosphereReading.objects.values_list("room_id", flat=True).get(pk=reading_id))
    reading = AtmosphereReading.objects.select_related("room").get(pk=reading_id)
    payload = {"act": "void_reading", "reading": reading_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return reading
    if not reason:
        raise Refusal("Say why this reading is wrong.", code="reason_missing", field="reason")
    if reading.voided_at:
        raise Refusal("This reading is void already.", code="already_void")
    reading.voided_at, reading.voided_by, reading.void_reason = at, by, reason
    reading.save(update_fields=["voided_at", "voided_by", "void_reason"])
    facts = {
        "reading": reading.pk,
        "room": room.name,
        "read_at": reading.at,
        "temperature_c": reading.temperature_c,
        "humidity_pct": reading.humidity_pct,
        "reason": reason,
    }
    trail.record(stream=room.stream, kind="atmosphere.void", by=by, at=at, facts=facts, key=key, payload=payload)
    return reading


def hold_room(room_id: int) -> Equipment:
    room = hold(room_id)
    if not room.is_room:
        raise Refusal(f"{room} is no conditioning room.", code="no_room")
    return room


def instrument_at(instrument_id: int | None, at: datetime) -> tuple[Equipment | None, list[str]]:
    """The instrument that the air was read with, and what is disclosed about it; refused if it could not be used."""
    if instrument_id is None:
        return None, []
    instrument = Equipment.objects.filter(pk=instrument_id, kind__in=MEASURES_AIR).first()
    if instrument is None:
        raise Refusal("Choose the instrument.", code="no_instrument", field="instrument")
    return instrument, check_usable(instrument, at)


def figure(value: Typed, quantity: str, field: str) -> Decimal:
    """A figure as it was typed, exact; refused with a sentence."""
    text = format(value, "f") if isinstance(value, Decimal) else value.strip()
    if not text:
        raise Refusal(f"The {quantity} is missing.", code="missing", field=field)
    number = figures.number(text)
    if number is None or number != figures.kept(number):
        raise Refusal("Type a figure such as 20.3, with four decimals at most.", code="not_a_figure", field=field)
    low, high = air.REACH[quantity]
    if not low <= number <= high:
        raise Refusal(
            f"A {quantity} lies between {figures.plain(low)} and {figures.plain(high)} {air.UNITS[quantity]}."
            " Are the two figures in each other's place?",
            code="out_of_range",
            field=field,
        )
    return number


def _already_read(there: AtmosphereReading) -> str:
    return (
        f"The air was read at {timezone.localtime(there.at):%H:%M} already: {figures.plain(there.temperature_c)} °C,"
        f" {figures.plain(there.humidity_pct)} %. Make that reading void first if it is wrong."
    )
