"""What the database itself says about marks and readings."""

from apps.intake.locks import frozen_with_request
from apps.measuring.models import BenchmarkPair, ConditioningRule, ExtraReading, RackStay, Reading, Weighing
from apps.trail.guarding import Guard, frozen_columns, insert_only, never_deleted, write_once

KEPT = "a reading is never changed: it is voided with a reason and read again"

OF_PAIR = "= (SELECT s.request_id FROM intake_specimen s WHERE s.id = {row}.specimen_id)"
OF_READING = (
    "= (SELECT s.request_id FROM measuring_benchmarkpair p JOIN intake_specimen s ON s.id = p.specimen_id"
    " WHERE p.id = {row}.pair_id)"
)

AS_IT_WAS = "what was done on the rack stays written as it was done"

GUARDS = [
    *insert_only(RackStay, sentence=AS_IT_WAS),
    *frozen_with_request("measuring_rackstay", OF_PAIR, opened_for=("readings",)),
    *insert_only(Weighing, sentence=AS_IT_WAS),
    *frozen_with_request("measuring_weighing", OF_PAIR, opened_for=("readings",)),
    *never_deleted(ExtraReading, sentence=KEPT),
    write_once(
        ExtraReading,
        *("specimen_id", "extra_id", "stage", "place", "first_text", "second_text", "unit", "first_mm", "second_mm"),
        *("read_by_id", "at", "recorded_at"),
        sentence=KEPT,
    ),
    Guard("measuring_extrareading_void_once", "measuring_extrareading", "update", "OLD.voided_at IS NOT NULL", KEPT),
    *frozen_with_request("measuring_extrareading", OF_PAIR, opened_for=("readings",)),
    *insert_only(ConditioningRule, sentence="a rule that held stays written"),
    *never_deleted(BenchmarkPair, sentence="marks that were made are kept"),
    write_once(
        BenchmarkPair,
        "specimen_id",
        "direction",
        "number",
        "place",
        "point_id",
        "side",
        "nominal_mm",
        sentence="marks that were made are kept",
    ),
    Guard(
        "measuring_benchmarkpair_lost_once",
        "measuring_benchmarkpair",
        "update",
        "OLD.lost_stage IS NOT NULL AND " + frozen_columns("lost_stage", "lost_reason", "lost_by_id", "lost_at"),
        "a mark that was given up stays given up",
    ),
    *frozen_with_request("measuring_benchmarkpair", OF_PAIR, opened_for=("readings",)),
    *never_deleted(Reading, sentence=KEPT),
    write_once(Reading, "pair_id", "stage", "text", "unit", "mm", "read_by_id", "at", "recorded_at", sentence=KEPT),
    Guard("measuring_reading_void_once", "measuring_reading", "update", "OLD.voided_at IS NOT NULL", KEPT),
    Guard(
        "measuring_reading_in_force_stays",
        "measuring_reading",
        "insert",
        "NEW.voided_at IS NULL AND EXISTS (SELECT 1 FROM measuring_reading t WHERE t.pair_id = NEW.pair_id"
        " AND t.stage = NEW.stage AND t.voided_at IS NULL)",
        "this distance is already read; SQLite's REPLACE is refused too",
        sqlite_only=True,
    ),
    *frozen_with_request("measuring_reading", OF_READING, opened_for=("readings",)),
]
