"""Skew and twist: read, and put right."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction

from apps.accounts.models import User
from apps.calc.errors import CalcError, LengthError
from apps.calc.lengths import parse_length
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Request, Specimen
from apps.measuring.extras import READ, SIDES, Formula, figure_of
from apps.measuring.models import ExtraReading
from apps.measuring.queries import extras_offered, may_be_read, stage_words
from apps.measuring.services.entry import SheetRefused
from apps.measuring.services.standing import check_read_at
from apps.methods.models import ExtraMeasurement
from apps.trail import services as trail

UNITS = ("mm", "cm", "in")
FINEST, LONGEST = Decimal("0.000001"), Decimal(100_000)


@dataclass(frozen=True)
class ExtraEntry:
    """Two distances of one figure as typed. `key` names the cell on its sheet."""

    key: str
    extra_id: int
    specimen_id: int
    place: str
    first: str
    second: str


@transaction.atomic
def enter_extras(
    *,
    request_id: int,
    stage: int,
    entries: Sequence[ExtraEntry],
    unit: str,
    reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> list[ExtraReading]:
    """A sheet of extra measurements, all or nothing. The same again changes nothing; other values need a `reason`:
    the old ones are voided with it and stay visible."""
    (request,) = lock_requests([request_id])
    typed = [[e.extra_id, e.specimen_id, e.place, e.first.strip(), e.second.strip()] for e in entries]
    payload = ["extras", request.pk, stage, unit, typed, reason.strip()]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return list(ExtraReading.objects.filter(pk__in=done.facts["kept"]).order_by("pk"))
    ensure_open(request, Request.OpenedFor.READINGS)
    if not entries:
        raise Refusal("Nothing is typed yet. Fill at least one row.", code="nothing_typed")
    if unit not in UNITS:
        raise Refusal("The unit is mm, cm or in.", code="unit", field="unit")
    fresh, cells = _checked(request, stage, entries, unit)
    if cells:
        raise SheetRefused("Look at the rows marked; nothing is saved yet.", cells=cells)
    check_read_at(at, [row.specimen for row in fresh], stage)
    there = {_key(row): row for row in ExtraReading.objects.in_force().filter(specimen__request=request, stage=stage)}
    kept = [row for row in fresh if not (old := there.get(_key(row))) or not _same(old, row)]
    replaced = [there[_key(row)] for row in kept if _key(row) in there]
    if replaced and not reason.strip():
        raise Refusal("A value that stands is corrected. Say why; both stay visible.", code="no_reason", field="reason")
    for old in replaced:
        old.voided_at, old.voided_by, old.void_reason = at, by, reason.strip()
        old.save(update_fields=["voided_at", "voided_by", "void_reason"])
    for row in kept:
        row.read_by, row.at, row.recorded_at = by, at, clock.now()
        row.save(force_insert=True)
    if kept:
        facts = {
            "request": str(request),
            "when": stage_words(stage),
            "of": ", ".join(dict.fromkeys(row.specimen.short_code for row in kept)),
            "readings": [_told(row) for row in kept],
            "was": [_told(row) for row in replaced],
            "reason": reason.strip(),
            "kept": [row.pk for row in kept],
        }
        stream = request.sample.job.stream
        trail.record(stream=stream, kind="extras.entered", by=by, at=at, facts=facts, key=key, payload=payload)
    return kept


def _checked(
    request: Request, stage: int, entries: Sequence[ExtraEntry], unit: str
) -> tuple[list[ExtraReading], dict[str, str]]:
    offered = {extra.pk: extra for extra in extras_offered(request)}
    specimens = {specimen.pk: specimen for specimen in request.specimens.all()}
    fresh, cells = [], {}
    for entry in entries:
        extra, specimen = offered.get(entry.extra_id), specimens.get(entry.specimen_id)
        if extra is None or specimen is None or entry.place not in SIDES[Formula(extra.formula)]:
            raise Refusal("This sheet has rows that are not of this request. Open it again.", code="unknown_row")
        try:
            fresh.append(_row(extra, specimen, stage, entry, unit))
        except (Refusal, CalcError) as refusal:
            cells[entry.key] = str(refusal)
    return fresh, cells


def _row(extra: ExtraMeasurement, specimen: Specimen, stage: int, entry: ExtraEntry, unit: str) -> ExtraReading:
    if not may_be_read(specimen, stage):
        raise Refusal(f"{specimen.short_code} is not to be read {stage_words(stage)} now.", code="not_due")
    names = READ[Formula(extra.formula)]
    for name, text in zip(names, (entry.first, entry.second), strict=True):
        if not text.strip():
            raise Refusal(f"{name} is missing.", code="missing")
    signed = extra.formula == Formula.TWIST
    row = ExtraReading(
        specimen=specimen,
        extra=extra,
        stage=stage,
        place=entry.place,
        first_text=entry.first.strip(),
        second_text=entry.second.strip(),
        unit=unit,
        first_mm=_displacement(entry.first, unit) if signed else _length(entry.first, unit),
        second_mm=_length(entry.second, unit),
    )
    figure_of(row)  # a displacement longer than its seam is refused here
    return row


def _displacement(text: str, unit: str) -> Decimal:
    """How far a seam has wandered: nothing, or a length with its direction as a sign."""
    typed = text.strip().replace("\N{MINUS SIGN}", "-")
    size = typed.lstrip("+-")
    if len(typed) - len(size) > 1:
        raise LengthError("One sign is enough.", code="sign")
    if size and set(size) <= set("0.,") and any(character == "0" for character in size):
        return Decimal(0)
    length = _length(size, unit)
    return -length if typed.startswith("-") else length


def _length(text: str, unit: str) -> Decimal:
    mm = parse_length(text, unit)
    if mm > LONGEST or mm != mm.quantize(FINEST):
        raise LengthError("That is no length a rule can show here.", code="out_of_range")
    return mm


def _key(row: ExtraReading) -> tuple:
    return row.extra_id, row.specimen_id, row.place


def _same(old: ExtraReading, new: ExtraReading) -> bool:
    return (old.first_mm, old.second_mm) == (new.first_mm, new.second_mm)


def _told(row: ExtraReading) -> dict[str, object]:
    return {
        "specimen": row.specimen.code,
        "extra": str(row.extra),
        "place": row.place,
        "first": row.first_text,
        "second": row.second_text,
        "unit": row.unit,
    }
