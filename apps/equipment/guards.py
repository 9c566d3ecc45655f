"""What the database itself says about equipment and the air."""

from django.db import models

from apps.equipment.models import (
    AtmosphereImport,
    AtmosphereReading,
    Calibration,
    Equipment,
    Hold,
    OutOfService,
    Tolerance,
)
from apps.trail.guarding import Guard, insert_only, never_deleted, write_once, written_once_but

RUNS = (("laundering_load", "washer_id"), ("laundering_loadcorrection", "washer_id"), ("laundering_drying", "dryer_id"))
IN_LOG_BOOK = " OR ".join(f"EXISTS (SELECT 1 FROM {table} t WHERE t.{column} = OLD.id)" for table, column in RUNS)
VOID = ("voided_at", "voided_by_id", "void_reason")
RELEASED = ("released_at", "released_by_id", "release_reason")
ENDED = ("until", "checked", "ended_by_id")


def only_for_a_room(model: type[models.Model]) -> Guard:
    table = model._meta.db_table
    return Guard(
        f"{table}_of_a_room",
        table,
        "insert",
        "NOT EXISTS (SELECT 1 FROM equipment_equipment e WHERE e.id = NEW.room_id AND e.kind = 'room')",
        "only a conditioning room has an atmosphere",
    )


GUARDS = [
    *never_deleted(Equipment, sentence="equipment is put out of service, never deleted"),
    write_once(Equipment, "kind", sentence="a machine stays of the kind it is"),
    Guard(
        "equipment_equipment_name_in_log_book",
        "equipment_equipment",
        "update",
        f"OLD.name IS DISTINCT FROM NEW.name AND ({IN_LOG_BOOK})",
        "runs are written down under this name; it keeps it",
    ),
    *written_once_but(Calibration, VOID, "a calibration is never changed: it is made void and recorded anew"),
    *written_once_but(OutOfService, ENDED, "a time out of service stays in the book"),
    *written_once_but(Hold, RELEASED, "a hold stays in the book, and so does its release"),
    *insert_only(Tolerance, sentence="a tolerance that held stays in the book; a new one is added"),
    only_for_a_room(Tolerance),
    *written_once_but(AtmosphereImport, VOID, "a file that was taken in stays in the book"),
    only_for_a_room(AtmosphereImport),
    *written_once_but(AtmosphereReading, VOID, "a reading of the air is never changed: it is made void and read anew"),
    only_for_a_room(AtmosphereReading),
    Guard(
        "equipment_atmospherereading_of_its_file",
        "equipment_atmospherereading",
        "insert",
        "NEW.batch_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM equipment_atmosphereimport b"
        " WHERE b.id = NEW.batch_id AND b.room_id = NEW.room_id AND b.voided_at IS NULL)",
        "a file's readings belong to the room it was taken in for",
    ),
]
