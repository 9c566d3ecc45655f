"""What the database itself says about equipment."""

from apps.equipment.models import Equipment
from apps.trail.guarding import Guard, never_deleted, write_once

RUNS = (("laundering_load", "washer_id"), ("laundering_loadcorrection", "washer_id"), ("laundering_drying", "dryer_id"))
IN_LOG_BOOK = " OR ".join(f"EXISTS (SELECT 1 FROM {table} t WHERE t.{column} = OLD.id)" for table, column in RUNS)

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
]
