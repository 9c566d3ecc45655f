"""Readings: entered a sheet at a time, and put right."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import User
from apps.calc.lengths import format_length
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Deviation, Request, Specimen
from apps.intake.services import advance, deviate, disclose_late
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.queries import loads_of, not_due
from apps.measuring.services.plausible import Looked, second_looks
from apps.measuring.services.resting import check_conditioned
from apps.measuring.services.standing import check_read_at, next_step
from apps.measuring.services.typed import Typed, kept_unit, read_cell
from apps.trail import services as trail

READINGS = Request.OpenedFor.READINGS
ONE_SITTING = timedelta(hours=1)


@dataclass(frozen=True)
class Entry:
    """One cell of a sheet as it was typed."""

    pair_id: int
    text: str


class SheetRefused(Refusal):
    """Cells that cannot stand: the cell's key (a pair's) -> the sentence beside it. Nothing of the sheet was kept."""

    code = "cells"

    def __init__(self, sentence: str, *, cells: dict[Any, str], code: str | None = None) -> None:
        super().__init__(sentence, code=code)
        self.cells = cells


@dataclass
class _Sheet:
    """A sheet while it is checked: what was typed, what stands, what is new."""

    request: Request
    stage: int
    unit: str
    entries: list[Entry]
    pairs: dict[int, BenchmarkPair]
    standing: dict[tuple[int, int], Reading]  # (pair, stage) -> the reading in force
    fresh: dict[int, Typed] = field(default_factory=dict)
    cells: dict[int, str] = field(default_factory=dict)

    @property
    def when(self) -> str:
        return f"after cycle {self.stage}" if self.stage else "before washing"

    def original(self, pair_id: int) -> Reading | None:
        return self.standing.get((pair_id, 0))


def enter_reading(
    *,
    pair_id: int,
    stage: int,
    text: str,
    unit: str,
    by: User,
    at: datetime,
    confirmed: bool = False,
    remark: str = "",
    key: uuid.UUID | None = None,
) -> Reading:
    """One distance is read. Stage 0 is before washing, n after cycle n."""
    request_id = BenchmarkPair.objects.values_list("specimen__request_id", flat=True).get(pk=pair_id)
    (reading,) = enter_readings(
        request_id=request_id,
        stage=stage,
        entries=[Entry(pair_id, text)],
        unit=unit,
        by=by,
        at=at,
        confirmed=confirmed,
        remark=remark,
        key=key,
    )
    return reading


@transaction.atomic
def enter_readings(
    *,
    request_id: int,
    stage: int,
    entries: Sequence[Entry],
    unit: str,
    by: User,
    at: datetime,
    confirmed: bool = False,
    remark: str = "",
    late_reason: str = "",
    early_reason: str = "",
    key: uuid.UUID | None = None,
) -> list[Reading]:
    """A sheet of readings, all or nothing; cells left empty may follow later.

    The same value again changes nothing; another value over one that stands is refused. Values that look like a slip
    ask for a second look: they stand once `confirmed` with one reason for the sheet, which is disclosed; so is a
    specimen read before it was conditioned (`early_reason`). When the last reading due of a
    specimen is in, it moves on.
    """
    (request,) = lock_requests([request_id])
    entries = [Entry(entry.pair_id, entry.text.strip()) for entry in entries if entry.text.strip()]
    texts = [[entry.pair_id, entry.text] for entry in entries]
    payload = ["readings", request.pk, stage, unit, texts, confirmed, remark.strip(), late_reason.strip()]
    payload += [early_reason.strip()] if early_reason.strip() else []
    if done := trail.repeated(key=key, payload=payload, by=by):
        return _in_order(entries, Reading.objects.filter(pk__in=done.facts["standing"]))
    ensure_open(request, READINGS)
    if not entries:
        raise Refusal("Nothing is typed yet. Fill at least one cell.", code="nothing_typed")
    sheet = _open_sheet(request, stage, unit, entries)
    _check_cells(sheet)
    odd = _odd_values(sheet)
    if sheet.cells:
        cells = {**odd, **sheet.cells}
        raise SheetRefused(_how_many(cells), cells=cells)
    _check_second_look(odd, confirmed, remark)
    if not sheet.fresh:
        return [sheet.standing[entry.pair_id, stage] for entry in entries]
    touched = sorted({sheet.pairs[pair].specimen for pair in sheet.fresh}, key=lambda specimen: specimen.number)
    check_read_at(at, touched, stage)
    check_conditioned(request, touched, stage, early_reason, by=by, at=at)
    rows = [_keep(sheet, pair_id, by=by, at=at) for pair_id in sheet.fresh]
    for row in rows:
        sheet.standing[row.pair_id, stage] = row
    _disclose(sheet, odd, remark, late_reason, by=by, at=at)
    steps = [(specimen, step) for specimen in touched if (step := next_step(specimen, stage, request))]
    for specimen, (to, since) in steps:
        advance(specimen=specimen, to=to, at=since)
    facts = _entered(sheet, rows, touched, [specimen.code for specimen, _ in steps])
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="readings.entered", by=by, at=at, facts=facts, key=key, payload=payload)
    return [sheet.standing[entry.pair_id, stage] for entry in entries]


@transaction.atomic
def correct_reading(
    *,
    reading_id: int,
    text: str,
    unit: str,
    reason: str,
    by: User,
    at: datetime,
    confirmed: bool = False,
    key: uuid.UUID | None = None,
) -> Reading:
    """A value that stands was wrong: it is voided with the reason and read anew, in one act. Both stay visible.

    Allowed after later washes too, as long as no report rests on it: a slip of the pen is found when it is found.
    """
    found = Reading.objects.select_related("pair__specimen").get(pk=reading_id)
    (request,) = lock_requests([found.pair.specimen.request_id])
    payload = ["correct", reading_id, unit, text.strip(), reason.strip(), confirmed]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Reading.objects.get(pk=done.facts["standing"])
    ensure_open(request, READINGS)
    old = Reading.objects.select_related("pair__specimen").get(pk=reading_id)
    pair, stage = old.pair, old.stage
    _check_correctable(old, reason)
    sheet = _open_sheet(request, stage, unit, [Entry(pair.pk, text.strip())])
    sheet.fresh = {pair.pk: read_cell(text.strip(), unit, pair, stage, sheet.original(pair.pk), field="text")}
    if sheet.fresh[pair.pk].mm == old.mm:
        raise Refusal("That is the value that stands. Nothing is corrected.", code="no_change", field="text")
    odd = _odd_values(sheet)
    if odd and not confirmed:
        raise Refusal(f"{odd[pair.pk]} Look again; if it is right, confirm it.", code="second_look", field="text")
    clock.check_moment(at, after=old.at, what="The correction")
    old.voided_at, old.voided_by, old.void_reason = at, by, reason.strip()
    old.save(update_fields=["voided_at", "voided_by", "void_reason"])
    row = _keep(sheet, pair.pk, by=by, at=at)
    what = f"Correction of {pair.specimen.short_code} {pair.name} {sheet.when}"
    disclose_late(job_id=request.sample.job_id, request_id=request.pk, what=what, by=by, at=at)
    facts = {
        "request": str(request),
        "stage": stage,
        "what": f"{pair.specimen.short_code} {pair.name} {sheet.when}",
        "old": old.shown,
        "new": row.shown,
        "was": _told(old),
        "now": _told(row),
        "reason": old.void_reason,
        "standing": row.pk,
    }
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="reading.corrected", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


def _open_sheet(request: Request, stage: int, unit: str, entries: list[Entry]) -> _Sheet:
    kept_unit(unit)
    pairs = BenchmarkPair.objects.filter(specimen__request=request).select_related("specimen")
    known = {pair.pk: pair for pair in pairs.order_by("specimen__number", "direction", "number")}
    if len({entry.pair_id for entry in entries}) < len(entries) or not {e.pair_id for e in entries} <= set(known):
        raise Refusal("This sheet has cells that are not of this request. Open it again.", code="unknown_pair")
    specimens: dict[int, Specimen] = {}
    for pair in known.values():  # one object a specimen, so that moving on is seen by all its pairs
        pair.specimen = specimens.setdefault(pair.specimen_id, pair.specimen)
    readings = Reading.objects.in_force().filter(pair__in=known, stage__in={0, stage}).select_related("read_by")
    standing = {(reading.pair_id, reading.stage): reading for reading in readings}
    order = {pair_id: place for place, pair_id in enumerate(known)}
    entries = sorted(entries, key=lambda entry: order[entry.pair_id])
    return _Sheet(request, stage, unit, entries, known, standing)


def _check_cells(sheet: _Sheet) -> None:
    """Fill `fresh` with what is new and can be kept, `cells` with what is wrong, cell by cell."""
    loads: dict[int, int] | None = None
    for entry in sheet.entries:
        pair = sheet.pairs[entry.pair_id]
        try:
            typed = read_cell(entry.text, sheet.unit, pair, sheet.stage, sheet.original(pair.pk))
            if there := sheet.standing.get((pair.pk, sheet.stage)):
                _ensure_same(there, typed.mm)
                continue
            if sentence := not_due(pair.specimen, sheet.stage, sheet.request):
                loads = loads_of([p.specimen for p in sheet.pairs.values()]) if loads is None else loads
                sentence = not_due(pair.specimen, sheet.stage, sheet.request, loads.get(pair.specimen_id))
                raise Refusal(sentence, code="not_due")
            if not pair.is_due_at(sheet.stage):
                raise Refusal(f"The mark of {pair.specimen.short_code} {pair.name} is given up.", code="lost")
            _ensure_alike(sheet, pair, typed)
            sheet.fresh[pair.pk] = typed
        except Refusal as refusal:
            sheet.cells[pair.pk] = str(refusal)


def _ensure_same(there: Reading, mm: Decimal) -> None:
    if there.mm != mm:
        when = f"{timezone.localtime(there.at):%d %b %H:%M}"
        raise Refusal(
            f"Already read by {there.read_by} ({when}): {there.shown}. If that is wrong, correct it.",
            code="already_read",
        )


def _ensure_alike(sheet: _Sheet, pair: BenchmarkPair, typed: Typed) -> None:
    """Original readings of one direction are all lengths or all marks of a template; no mean is made of both."""
    in_percent = typed.unit == Reading.Unit.PERCENT
    for (other, stage), reading in sheet.standing.items():
        if stage == 0 == sheet.stage and sheet.pairs[other].group == pair.group and reading.in_percent != in_percent:
            there = "marks of a percent template" if reading.in_percent else "lengths"
            raise Refusal(f"The other pairs of this direction are {there}. Read all the same way.", code="mixed")


def _odd_values(sheet: _Sheet) -> dict[int, str]:
    looked = {pair_id: _look(sheet, pair_id, typed.mm) for pair_id, typed in sheet.fresh.items()}
    there = [
        _look(sheet, pair_id, reading.mm)
        for (pair_id, stage), reading in sheet.standing.items()
        if stage == sheet.stage and pair_id not in looked
    ]
    typed = [value for value in looked.values() if value]
    return second_looks(typed, [value for value in there if value], kept_unit(sheet.unit))


def _look(sheet: _Sheet, pair_id: int, mm: Decimal) -> Looked | None:
    """None when there is nothing to hold it against: the original's mark was lost, or a garment is as it is."""
    pair, original = sheet.pairs[pair_id], sheet.original(pair_id)
    if sheet.stage:
        return Looked(pair_id, pair.group, mm, original.mm, is_original=False) if original else None
    if pair.nominal_mm is not None:
        return Looked(pair_id, pair.group, mm, pair.nominal_mm, is_original=True)
    other = _on_another_garment(sheet, pair)
    return Looked(pair_id, pair.group, mm, other, is_original=True, word="on another garment") if other else None


def _on_another_garment(sheet: _Sheet, pair: BenchmarkPair) -> Decimal | None:
    """The same place of another garment of the request: what stands, else what is typed with it."""
    places = (other for other in sheet.pairs.values() if other.group == pair.group and other.pk != pair.pk)
    values = [value.mm for other in places if (value := sheet.standing.get((other.pk, 0)) or sheet.fresh.get(other.pk))]
    return values[0] if values else None


def _check_second_look(odd: dict[int, str], confirmed: bool, remark: str) -> None:
    if odd and not confirmed:
        sentence = (
            "Some values look like a slip; nothing is saved yet. Look again at the cells marked; "
            "if they are right, say why."
        )
        raise SheetRefused(sentence, cells=odd, code="second_look")
    if odd and not remark.strip():
        raise Refusal("Say why these values are right; the report prints it.", code="no_reason", field="remark")


def _check_correctable(old: Reading, reason: str) -> None:
    if old.voided_at is not None:
        raise Refusal("This value was corrected meanwhile. Look at the one that stands now.", code="already_corrected")
    if not reason.strip():
        raise Refusal("Say why the value is corrected; both stay visible.", code="no_reason", field="reason")


def _keep(sheet: _Sheet, pair_id: int, *, by: User, at: datetime) -> Reading:
    typed = sheet.fresh[pair_id]
    return Reading.objects.create(
        pair=sheet.pairs[pair_id],
        stage=sheet.stage,
        text=typed.text,
        unit=typed.unit,
        mm=typed.mm,
        read_by=by,
        at=at,
        recorded_at=clock.now(),
    )


def _disclose(sheet: _Sheet, odd: dict[int, str], remark: str, late: str, *, by: User, at: datetime) -> None:
    job_id, request_id = sheet.request.sample.job_id, sheet.request.pk
    what = f"Readings of {sheet.request} {sheet.when}"
    if not _told_late(request_id, what, at):
        disclose_late(job_id=job_id, request_id=request_id, what=what, reason=late, by=by, at=at)
    if odd:
        cells = ", ".join(_named(sheet, pair_id) for pair_id in list(odd)[:4])
        cells += f" and {len(odd) - 4} more" if len(odd) > 4 else ""
        text = f"Unusual readings {sheet.when}, looked at twice: {remark.strip()[:300]} ({cells})"
        deviate(job_id=job_id, request_id=request_id, kind=Deviation.Kind.READING, text=text, by=by, at=at)


def _told_late(request_id: int, what: str, at: datetime) -> bool:
    """Cells of one sheet that waited in a browser come one by one: one disclosure tells of them all."""
    rows = Deviation.objects.filter(request_id=request_id, kind=Deviation.Kind.LATE_ENTRY)
    return rows.filter(text__startswith=f"{what}: done", at__range=(at - ONE_SITTING, at + ONE_SITTING)).exists()


def _named(sheet: _Sheet, pair_id: int) -> str:
    pair = sheet.pairs[pair_id]
    return f"{pair.specimen.short_code} {pair.name} {format_length(sheet.fresh[pair_id].mm, 'mm')} mm"


def _entered(
    sheet: _Sheet, rows: Sequence[Reading], touched: Sequence[Specimen], complete: list[str]
) -> dict[str, object]:
    return {
        "request": str(sheet.request),
        "stage": sheet.stage,
        "when": sheet.when,
        "of": [specimen.short_code for specimen in touched],
        "count": len(rows),
        "readings": [_told(row) for row in rows],
        "complete": complete,
        "standing": [sheet.standing[entry.pair_id, sheet.stage].pk for entry in sheet.entries],
    }


def _in_order(entries: list[Entry], rows: Sequence[Reading]) -> list[Reading]:
    by_pair = {row.pair_id: row for row in rows}
    return [by_pair[entry.pair_id] for entry in entries if entry.pair_id in by_pair]


def _how_many(cells: dict[int, str]) -> str:
    return (
        "Look at the cell marked; nothing is saved yet."
        if len(cells) == 1
        else (f"Look at the {len(cells)} cells marked; nothing is saved yet.")
    )


def _told(reading: Reading) -> dict[str, object]:
    pair = reading.pair
    return {
        "specimen": pair.specimen.code,
        "direction": pair.direction,
        "number": pair.number,
        "text": reading.text,
        "unit": reading.unit,
        "mm": format_length(reading.mm, "mm"),
    }
