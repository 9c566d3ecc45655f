"""Planned double readings: who reads what, what was read, and what the lab takes from it."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import Role, User
from apps.calc.errors import CalcError
from apps.calc.lengths import parse_length, parse_percent
from apps.control.models import Study, StudyPiece, StudyReader, StudyReading
from apps.control.queries.studies import study_whole
from apps.control.services.may import only_a_manager
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.methods import services as methods
from apps.methods.models import RepeatabilityFigure, TestMethod
from apps.trail import services as trail

MOST_PIECES, MOST_TRIALS, MOST_PEOPLE = 30, 6, 10

Cell = tuple[int, int]  # the number of a piece and of a trial


def field_of(cell: Cell) -> str:
    """How the form names a cell."""
    return f"piece_{cell[0]}_{cell[1]}"


@transaction.atomic
def plan_study(
    *,
    method_id: int,
    direction: str,
    unit: str,
    trials: int,
    pieces: Sequence[str],
    reader_ids: Sequence[int],
    note: str = "",
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> Study:
    """These people read these pieces so many times each, and nobody sees the others' before their own are kept."""
    names = [name for text in pieces if (name := line(text, most=60, field="pieces"))]
    note, readers = line(note, most=300, field="note"), sorted(set(reader_ids))
    what = {"method": method_id, "direction": direction, "unit": unit, "trials": trials}
    payload = {"act": "study", **what, "pieces": names, "readers": readers, "note": note}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Study.objects.get(pk=done.facts["study"])
    only_a_manager(by)
    method = TestMethod.objects.get(pk=method_id)
    if not 2 <= len(names) <= MOST_PIECES or len(set(names)) < len(names):
        raise Refusal(f"Name 2 to {MOST_PIECES} pieces, each once, one a line.", code="pieces", field="pieces")
    if not 2 <= trials <= MOST_TRIALS:
        raise Refusal(f"Each person reads a piece 2 to {MOST_TRIALS} times.", code="trials", field="trials")
    people = [person for person in User.objects.filter(pk__in=readers, is_active=True) if _may_read(person)]
    if not 2 <= len(people) <= MOST_PEOPLE or len(people) < len(readers):
        raise Refusal(f"Choose 2 to {MOST_PEOPLE} people of the bench.", code="readers", field="readers")
    study = Study.objects.create(method=method, direction=direction, unit=unit, trials=trials, note=note, by=by, at=at)
    StudyPiece.objects.bulk_create(
        StudyPiece(study=study, number=number, name=name) for number, name in enumerate(names, 1)
    )
    StudyReader.objects.bulk_create(StudyReader(study=study, person=person) for person in people)
    facts = payload | {"study": study.pk, "method": method.code}
    trail.record(stream=study.stream, kind="study.planned", by=by, at=at, facts=facts, key=key, payload=payload)
    return study


@transaction.atomic
def read_pieces(
    *, study_id: int, typed: Mapping[Cell, str], by: User, at: datetime, key: UUID | None = None
) -> list[StudyReading]:
    """What this person read: (piece, trial) -> as typed. What is left empty may follow; what is kept stays."""
    study = locked(study_id)
    given = {cell: text.strip() for cell, text in sorted(typed.items()) if text.strip()}
    payload = {"act": "read", "study": study_id, "typed": {field_of(cell): text for cell, text in given.items()}}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return list(StudyReading.objects.filter(pk__in=done.facts["readings"]))
    if not study.planned.filter(person=by).exists() or not _may_read(by):
        raise Refusal("You are not among those who read for this study.", code="not_reader")
    clock.check_moment(at, after=study.at, what="The reading")
    if RepeatabilityFigure.objects.filter(study=study.pk).exists():
        raise Refusal("This study is adopted: nothing is added to it.", code="already_adopted")
    if not given:
        raise Refusal("Type what you read.", code="nothing_read")
    pieces = {piece.number: piece for piece in study.pieces.all()}
    kept = set(
        StudyReading.objects.filter(piece__study=study, by=by, voided_at=None).values_list("piece__number", "trial")
    )
    rows = []
    for cell, text in given.items():
        number, trial = cell
        if number not in pieces or not 1 <= trial <= study.trials:
            raise Refusal("There is no such place in this study.", code="no_such_cell", field=field_of(cell))
        if cell in kept:
            raise Refusal("This is kept already.", code="kept_already", field=field_of(cell))
        rows.append(_reading(study, pieces[number], trial, text, by, at))
    facts = payload | {"readings": [row.pk for row in rows]}
    trail.record(stream=study.stream, kind="study.read", by=by, at=at, facts=facts, key=key, payload=payload)
    return rows


@transaction.atomic
def void_study_reading(*, entry_id: int, reason: str, by: User, at: datetime, key: UUID | None = None) -> StudyReading:
    """A slip of the pen counts no more, for a reason; it stays in the book and the piece is read anew."""
    reason = line(reason, most=200, field="reason")
    study = locked(StudyReading.objects.values_list("piece__study_id", flat=True).get(pk=entry_id))
    reading = StudyReading.objects.select_related("piece").get(pk=entry_id)
    payload = {"act": "void_study_reading", "reading": entry_id, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return reading
    only_a_manager(by)
    if not reason:
        raise Refusal("Say why this reading is wrong.", code="reason_missing", field="reason")
    if reading.voided_at:
        raise Refusal("This reading is void already.", code="already_void")
    if RepeatabilityFigure.objects.filter(study=study.pk).exists():
        raise Refusal("This study is adopted: it stays as it was.", code="already_adopted")
    reading.voided_at, reading.voided_by, reading.void_reason = at, by, reason
    reading.save(update_fields=["voided_at", "voided_by", "void_reason"])
    facts = {"reading": reading.pk, "piece": reading.piece.name, "text": reading.text, "reason": reason}
    trail.record(stream=study.stream, kind="study.reading_void", by=by, at=at, facts=facts, key=key, payload=payload)
    return reading


@transaction.atomic
def adopt_study(*, study_id: int, by: User, at: datetime, key: UUID | None = None) -> RepeatabilityFigure:
    """What the whole study came to goes into the uncertainty of results by its method from now on."""
    study = locked(study_id)
    whole = study_whole(study)
    figures = whole.in_percent
    if figures is None:
        told = whole.ways[0].refusal if whole.complete else "Not everybody has read everything yet."
        raise Refusal(told, code="not_whole")
    found = methods.Repeatability(
        direction=study.direction,
        scale=study.scale,
        repeatability=figures[0],
        with_people=figures[1],
        n=len(whole.readings),
        people=len(whole.people),
        dof=whole.dof,
        on=timezone.localdate(whole.last_read),
        study=study.pk,
    )
    return methods.adopt_repeatability(method_id=study.method_id, found=found, by=by, at=at, key=key)


def locked(study_id: int) -> Study:
    """The study, its row held until the transaction ends."""
    return Study.objects.select_for_update(no_key=True).get(pk=study_id)


def _reading(study: Study, piece: StudyPiece, trial: int, text: str, by: User, at: datetime) -> StudyReading:
    try:
        value = parse_percent(text, signed=True) if study.unit == "pct" else parse_length(text, study.unit)
    except CalcError as error:
        raise Refusal(str(error), code=error.code, field=field_of((piece.number, trial))) from error
    return StudyReading.objects.create(piece=piece, trial=trial, text=text, value=value, by=by, at=at)


def _may_read(person: User) -> bool:
    return bool({Role.BENCH, Role.MANAGER} & person.roles)
