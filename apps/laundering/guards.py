"""What the database itself says about loads, dryings and cycles."""

from apps.intake.locks import SENTENCE, closed_sql, frozen_with_request
from apps.laundering.models import (
    CycleLog,
    Drying,
    DryingCorrection,
    KeptTap,
    Load,
    LoadCorrection,
    LoadPiece,
    VoidJudgement,
)
from apps.trail.guarding import Guard, frozen_columns, insert_only, never_deleted, write_once

KEPT = "a run that was made is kept; a closed one is put right by a correction"
SHUT = "a piece that left its load, and the run it was in, stay as they are"
AS_TAPPED = "a tap that was kept stays as it was tapped, and is judged once"
JUDGED = "a piece that was wetted without a cycle is judged once, and the judgement stays"
IN_ORDER = "a cycle is logged for a piece that was washed and dried, one cycle after the other"

OPENED_FOR = ("cycle_record",)
PIECES = "SELECT s.request_id FROM laundering_loadpiece p JOIN intake_specimen s ON s.id = p.specimen_id"
OF_SPECIMEN = "= (SELECT s.request_id FROM intake_specimen s WHERE s.id = {row}.specimen_id)"
OF_LOAD = f"IN ({PIECES} WHERE p.load_id = {{row}}.id)"
OF_LOAD_CORRECTED = f"IN ({PIECES} WHERE p.load_id = NEW.load_id)"
OF_DRYING_CORRECTED = f"IN ({PIECES} WHERE p.drying_id = NEW.drying_id)"
OF_JUDGED = f"IN ({PIECES} WHERE p.id = NEW.piece_id)"
OF_DRYING = f"IN ({PIECES} WHERE p.drying_id = {{row}}.id)"
OF_VOID_DRYING = f"IN ({PIECES} WHERE p.id = {{row}}.loadpiece_id)"
TICKED = (
    "EXISTS (SELECT 1 FROM laundering_loadpiece p JOIN laundering_cyclelog c ON c.piece_id = p.id"
    " WHERE p.{column} = OLD.id AND c.voided_at IS NULL)"
)


def columns(model, *but: str) -> list[str]:
    return [field.column for field in model._meta.local_fields if field.name not in but]


def closed(model, table: str, open_as: str, done_as: str, column: str) -> Guard:
    """A finished run freezes. All that may still be said of it, while no cycle is ticked off, is that it was void."""
    told_void = f"NEW.state = 'void' AND NOT {frozen_columns(*columns(model, 'state', 'void_reason'))}"
    when = (
        f"OLD.state = 'void' OR (OLD.state = '{done_as}' AND NOT ({told_void}))"
        f" OR (NEW.state = 'void' AND {TICKED.format(column=column)})"
        f" OR (OLD.state <> NEW.state AND NEW.state = '{open_as}' AND OLD.state <> 'made_up')"
    )
    return Guard(f"{table}_closed", table, "update", when, KEPT)


def _while_open(model, which: str) -> Guard:
    """No such row once a report rests on what it is about; the request is held before it is looked at."""
    table = model._meta.db_table
    hold = (f"intake_request q WHERE q.id {which}",)
    return Guard(f"{table}_locked", table, "insert", closed_sql(which, *OPENED_FOR), SENTENCE, hold)


LOAD_STATE = "(SELECT l.state FROM laundering_load l WHERE l.id = {row}.load_id)"
DRYING_STATE = "(SELECT d.state FROM laundering_drying d WHERE d.id = {row}.drying_id)"
DRYING_MOVED = (
    "OLD.drying_id IS DISTINCT FROM NEW.drying_id AND NOT ("
    f"(OLD.drying_id IS NULL AND {LOAD_STATE.format(row='NEW')} = 'washed'"
    f" AND {DRYING_STATE.format(row='NEW')} = 'running')"
    f" OR (NEW.drying_id IS NULL AND {DRYING_STATE.format(row='OLD')} = 'void'))"
)
WASHED_AND_DRIED = (
    "EXISTS (SELECT 1 FROM laundering_loadpiece p JOIN laundering_load l ON l.id = p.load_id"
    " JOIN laundering_drying d ON d.id = p.drying_id WHERE p.id = NEW.piece_id AND p.open"
    " AND p.specimen_id = NEW.specimen_id AND p.ordinal = NEW.ordinal AND l.state = 'washed' AND d.state = 'dried')"
)
ONE_BEFORE = (
    "(NEW.ordinal = 1 OR EXISTS (SELECT 1 FROM laundering_cyclelog c WHERE c.specimen_id = NEW.specimen_id"
    " AND c.ordinal = NEW.ordinal - 1 AND c.voided_at IS NULL))"
)
VOID_DRYINGS = LoadPiece.void_dryings.through

GUARDS = [
    *never_deleted(Load, sentence=KEPT),
    closed(Load, "laundering_load", "washing", "washed", "load_id"),
    *frozen_with_request("laundering_load", OF_LOAD, opened_for=OPENED_FOR, inserts=False),
    *insert_only(LoadCorrection, sentence=KEPT),
    _while_open(LoadCorrection, OF_LOAD_CORRECTED),
    *insert_only(DryingCorrection, sentence=KEPT),
    _while_open(DryingCorrection, OF_DRYING_CORRECTED),
    *insert_only(VoidJudgement, sentence=JUDGED),
    _while_open(VoidJudgement, OF_JUDGED),
    Guard(
        "laundering_voidjudgement_of_void",
        "laundering_voidjudgement",
        "insert",
        "NOT EXISTS (SELECT 1 FROM laundering_loadpiece p WHERE p.id = NEW.piece_id AND p.outcome = 'void')",
        JUDGED,
    ),
    *never_deleted(Drying, sentence=KEPT),
    closed(Drying, "laundering_drying", "running", "dried", "drying_id"),
    *frozen_with_request("laundering_drying", OF_DRYING, opened_for=OPENED_FOR, inserts=False),
    *never_deleted(LoadPiece, sentence=KEPT),
    write_once(LoadPiece, "load_id", "specimen_id", "ordinal", sentence=KEPT),
    Guard(
        "laundering_loadpiece_made_up",
        "laundering_loadpiece",
        "insert",
        f"NEW.drying_id IS NOT NULL OR {LOAD_STATE.format(row='NEW')} <> 'made_up'",
        "pieces go into a load before it is washed",
        ("laundering_load l WHERE l.id = NEW.load_id",),
    ),
    Guard("laundering_loadpiece_dried", "laundering_loadpiece", "update", DRYING_MOVED, SHUT),
    Guard(
        "laundering_loadpiece_shut",
        "laundering_loadpiece",
        "update",
        f"NOT OLD.open AND {frozen_columns('drying_id', 'open', 'outcome', 'reason')}",
        SHUT,
    ),
    *frozen_with_request("laundering_loadpiece", OF_SPECIMEN, opened_for=OPENED_FOR),
    *insert_only(VOID_DRYINGS, sentence=KEPT),
    *frozen_with_request(VOID_DRYINGS._meta.db_table, OF_VOID_DRYING, opened_for=OPENED_FOR)[2:],
    *never_deleted(CycleLog, sentence=KEPT),
    write_once(CycleLog, "specimen_id", "ordinal", "piece_id", "done_at", "done_by_id", "recorded_at", sentence=KEPT),
    Guard("laundering_cyclelog_void_once", "laundering_cyclelog", "update", "OLD.voided_at IS NOT NULL", KEPT),
    Guard(
        "laundering_cyclelog_in_order",
        "laundering_cyclelog",
        "insert",
        f"NOT ({WASHED_AND_DRIED} AND {ONE_BEFORE})",
        IN_ORDER,
    ),
    *frozen_with_request("laundering_cyclelog", OF_SPECIMEN, opened_for=OPENED_FOR),
    *never_deleted(KeptTap, sentence=AS_TAPPED),
    write_once(KeptTap, *columns(KeptTap, "id", "judgement", "judged_by", "judged_at"), sentence=AS_TAPPED),
    Guard("laundering_kepttap_judged_once", "laundering_kepttap", "update", "OLD.judged_at IS NOT NULL", AS_TAPPED),
    *insert_only(KeptTap.pieces.through, sentence=AS_TAPPED),
]
