"""What the database itself says about checks and studies."""

from apps.control.models import (
    Baseline,
    Check,
    CheckFabric,
    CheckPair,
    CheckPoint,
    Study,
    StudyPiece,
    StudyReader,
    StudyReading,
)
from apps.trail.guarding import insert_only, written_once_but

ENDED = ("ended_at", "ended_by_id", "end_reason")
VOID = ("voided_at", "voided_by_id", "void_reason")

GUARDS = [
    *insert_only(CheckFabric, sentence="a check fabric keeps its name and lot; another lot is another fabric"),
    *written_once_but(Check, ENDED, "a check stays as it was planned; it is ended, and another one planned"),
    *written_once_but(CheckPoint, VOID, "a point of a check is never changed: it is made void and recorded anew"),
    *insert_only(CheckPair, sentence="a reading of a check is never changed: its point is made void"),
    *insert_only(Baseline, sentence="a baseline stays in the book; a new one is set"),
    *insert_only(Study, sentence="a study stays as it was planned; another one is planned"),
    *insert_only(StudyReader, sentence="who reads for a study is said when it is planned"),
    *insert_only(StudyPiece, sentence="what is read for a study is said when it is planned"),
    *written_once_but(StudyReading, VOID, "a reading of a study is never changed: it is made void and read anew"),
]
