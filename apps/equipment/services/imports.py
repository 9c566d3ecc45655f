"""A logger's file is taken into the book, whole or not at all."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.jsontext import sha256
from apps.core.texts import line
from apps.equipment.logger_files import How
from apps.equipment.models import AtmosphereImport, AtmosphereReading, Equipment
from apps.equipment.queries.imports import DryRun, dry_run
from apps.equipment.services.atmosphere import hold_room, instrument_at
from apps.equipment.services.use import hold
from apps.trail import services as trail

AT_ONCE = 2000


@transaction.atomic
def import_atmosphere(
    *,
    room_id: int,
    content: bytes,
    file_name: str,
    how: How | None = None,
    instrument_id: int | None = None,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> AtmosphereImport:
    """Take the readings of a logger's file into the room's book. One wrong line, and nothing is stored.

    What the book has already is skipped, also where the file says otherwise: the reading in the book is made void
    first if it is the wrong one. The file itself is kept.
    """
    how = how or How()
    room = hold_room(room_id)
    payload = {
        "act": "import_atmosphere",
        "room": room_id,
        "file": sha256(content),
        "how": [str(how.dates), how.utc, how.fahrenheit],
        "instrument": instrument_id,
    }
    if done := trail.repeated(key=key, payload=payload, by=by):
        return AtmosphereImport.objects.get(pk=done.facts["import"])
    found = dry_run(room, content, how, clock.now())
    _check(found)
    instrument, disclosed = instrument_at(instrument_id, found.first_at)
    if instrument:
        disclosed = list(dict.fromkeys([*disclosed, *instrument_at(instrument_id, found.last_at)[1]]))
    batch = AtmosphereImport.objects.create(
        room=room,
        instrument=instrument,
        file=trail.store_blob(content=content, content_type="text/csv"),
        file_name=_name(file_name),
        stored=len(found.new),
        skipped=found.skipped,
        first_at=found.first_at,
        last_at=found.last_at,
        by=by,
        at=at,
    )
    _store(found, batch, room, instrument, by)
    facts = _facts(batch, found, disclosed)
    trail.record(stream=room.stream, kind="atmosphere.imported", by=by, at=at, facts=facts, key=key, payload=payload)
    return batch


@transaction.atomic
def void_import(*, import_id: int, reason: str, by: User, at: datetime, key: UUID | None = None) -> AtmosphereImport:
    """All readings of a file count no more, for one reason: the wrong room, a logger whose clock was wrong."""
    reason = line(reason, most=200, field="reason")
    hold(AtmosphereImport.objects.values_list("room_id", flat=True).get(pk=import_id))
    batch = AtmosphereImport.objects.select_related("room").get(pk=import_id)
    payload = {"act": "void_import", "import": import_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return batch
    if not reason:
        raise Refusal("Say why this file is wrong.", code="reason_missing", field="reason")
    if batch.voided_at:
        raise Refusal("This file is void already.", code="already_void")
    batch.voided_at, batch.voided_by, batch.void_reason = at, by, reason
    batch.save(update_fields=["voided_at", "voided_by", "void_reason"])
    standing = AtmosphereReading.objects.filter(batch=batch, voided_at=None)
    readings = standing.update(voided_at=at, voided_by=by, void_reason=reason)
    facts = {
        "import": batch.pk,
        "room": batch.room.name,
        "file_name": batch.file_name,
        "readings": readings,
        "reason": reason,
    }
    stream = batch.room.stream
    trail.record(stream=stream, kind="atmosphere.import_void", by=by, at=at, facts=facts, key=key, payload=payload)
    return batch


def _check(found: DryRun) -> None:
    problems = found.sheet.problems
    if problems:
        first, more = problems[0], len(problems) - 1
        others = f" {more} more like it." if more else ""
        raise Refusal(
            f"Nothing is stored. Line {first.line}: {first.sentence}{others}", code="file_wrong", field="file"
        )
    if not found.new:
        raise Refusal("Nothing in this file is new; the book has it already.", code="nothing_new", field="file")


def _facts(batch: AtmosphereImport, found: DryRun, disclosed: list[str]) -> dict[str, Any]:
    return {
        "import": batch.pk,
        "room": batch.room.name,
        "file_name": batch.file_name,
        "sha256": batch.file_id,
        "stored": batch.stored,
        "skipped": batch.skipped,
        "first_at": batch.first_at,
        "last_at": batch.last_at,
        "fahrenheit": found.sheet.fahrenheit,
        "clock": found.sheet.clock,
        "instrument": batch.instrument.name if batch.instrument else "",
        "disclosed": disclosed,
    }


def _store(found: DryRun, batch: AtmosphereImport, room: Equipment, instrument: Equipment | None, by: User) -> None:
    recorded_at = clock.now()
    AtmosphereReading.objects.bulk_create(
        (
            AtmosphereReading(
                room=room,
                instrument=instrument,
                at=row.air.at,
                temperature_c=row.air.temperature,
                humidity_pct=row.air.humidity,
                source=AtmosphereReading.Source.IMPORT,
                batch=batch,
                by=by,
                recorded_at=recorded_at,
            )
            for row in found.new
        ),
        batch_size=AT_ONCE,
    )


def _name(text: str) -> str:
    """The file's name as far as it can be written down."""
    return "".join(sign for sign in text if sign.isprintable()).strip()[-120:] or "unnamed"
