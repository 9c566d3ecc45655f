"""What the database itself says about loads, dryings and cycles."""

from apps.intake.locks import SENTENCE, closed_sql, frozen_with_request
from apps.laundering.models import CycleLog, Drying, Load, LoadCorrection, LoadPiece
from apps.trail.guarding import Guard, insert_only, never_deleted, write_once

KEPT = "a run that was made is kept; a closed one is put right by a correction"
OF_SPECIMEN = "= (SELECT s.request_id FROM intake_specimen s WHERE s.id = {row}.specimen_id)"
OF_LOAD = (
    "IN (SELECT s.request_id FROM laundering_loadpiece p JOIN intake_specimen s ON s.id = p.specimen_id"
    " WHERE p.load_id = NEW.load_id)"
)

GUARDS = [
    *never_deleted(Load, sentence=KEPT),
    Guard("laundering_load_closed", "laundering_load", "update", "OLD.state IN ('washed', 'void')", KEPT),
    *insert_only(LoadCorrection, sentence=KEPT),
    Guard(
        "laundering_loadcorrection_locked",
        "laundering_loadcorrection",
        "insert",
        closed_sql(OF_LOAD, "cycle_record"),
        SENTENCE,
        (f"intake_request q WHERE q.id {OF_LOAD}",),
    ),
    *never_deleted(Drying, sentence=KEPT),
    Guard("laundering_drying_closed", "laundering_drying", "update", "OLD.state IN ('dried', 'void')", KEPT),
    *never_deleted(LoadPiece, sentence=KEPT),
    write_once(LoadPiece, "load_id", "specimen_id", "ordinal", sentence=KEPT),
    *frozen_with_request("laundering_loadpiece", OF_SPECIMEN, opened_for=("cycle_record",)),
    *never_deleted(CycleLog, sentence=KEPT),
    write_once(CycleLog, "specimen_id", "ordinal", "piece_id", "done_at", "done_by_id", "recorded_at", sentence=KEPT),
    Guard("laundering_cyclelog_void_once", "laundering_cyclelog", "update", "OLD.voided_at IS NOT NULL", KEPT),
    *frozen_with_request("laundering_cyclelog", OF_SPECIMEN, opened_for=("cycle_record",)),
]
