"""Marks on the cloth: made, and given up when they are lost."""

import itertools
import uuid
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Deviation, Request, Specimen
from apps.intake.services import advance, cut_specimens, deviate, disclose_late
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.services.standing import check_read_at, ensure_due, next_step
from apps.methods.models import MeasuringPoint
from apps.trail import services as trail

# Benchmark squares on the panels of a garment: 10 in and 18 in.
SQUARES = {10: Decimal("254.0"), 18: Decimal("457.2")}
MOST_PANELS = 6

Stage = Specimen.Stage
READINGS = Request.OpenedFor.READINGS


@dataclass(frozen=True)
class GarmentMarks:
    """Where the garments of a request are marked: points of the catalogue, and squares of so many inches on panels.

    `near_edge`: why a square lies nearer to an edge or a seam than one inch.
    """

    points: tuple[int, ...] = ()
    square_in: int = 0
    panels: tuple[str, ...] = ()
    near_edge: str = ""

    @property
    def told(self) -> list[object]:
        return [list(self.points), self.square_in, list(self.panels), self.near_edge.strip()]


@transaction.atomic
def cut_and_mark(
    *,
    request_id: int,
    count: int,
    garment: GarmentMarks | None = None,
    fewer_reason: str = "",
    outside_reason: str = "",
    shown: str = "",
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> list[BenchmarkPair]:
    """Specimens are cut, carry their codes and get their benchmark pairs, in one go at the bench."""
    (request,) = lock_requests([request_id])
    cutting = {"fewer_reason": fewer_reason.strip(), "outside_reason": outside_reason.strip()}
    payload = ["cut and mark", request.pk, count, *cutting.values(), late_reason.strip()]
    payload += garment.told if garment else []
    if done := trail.repeated(key=key, payload=payload, by=by):
        return _pairs_of(done.facts["specimens"])
    ensure_open(request, READINGS)
    clock.check_moment(at, after=request.sample.job.received_at, what="The cutting")
    cut_specimens(request_id=request_id, count=count, **cutting, shown=shown, by=by, at=at)
    _disclose_late(request, f"Cutting and marking of {request}", late_reason, by=by, at=at)
    return _mark(request, garment, by=by, at=at, key=key, payload=payload)


@transaction.atomic
def mark_specimens(
    *,
    request_id: int,
    garment: GarmentMarks | None = None,
    late_reason: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> list[BenchmarkPair]:
    """The specimens that are cut get their benchmark pairs, as many and as far apart as the method says.

    On garments where `garment` says; without it the square of the method on one panel.
    """
    (request,) = lock_requests([request_id])
    payload = ["mark", request.pk, late_reason.strip(), *(garment.told if garment else [])]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return _pairs_of(done.facts["specimens"])
    ensure_open(request, READINGS)
    _disclose_late(request, f"Marking of {request}", late_reason, by=by, at=at)
    return _mark(request, garment, by=by, at=at, key=key, payload=payload)


def _disclose_late(request: Request, what: str, reason: str, *, by: User, at: datetime) -> None:
    disclose_late(job_id=request.sample.job_id, request_id=request.pk, what=what, reason=reason, by=by, at=at)


def _mark(
    request: Request,
    garment: GarmentMarks | None,
    *,
    by: User,
    at: datetime,
    key: uuid.UUID | None,
    payload: list[object],
) -> list[BenchmarkPair]:
    specimens = list(request.specimens.filter(stage=Stage.CUT).order_by("number"))
    if not specimens:
        cut = request.specimens.exists()
        raise Refusal(
            "The specimens of this request are already marked." if cut else "No specimen is cut for this request yet.",
            code="already_marked" if cut else "not_cut",
        )
    clock.check_moment(at, after=max(specimen.stage_since for specimen in specimens), what="The marking")
    method = request.method
    marks = _garment_pairs(request, garment) if garment else _pairs_of_method(request)
    BenchmarkPair.objects.bulk_create(
        BenchmarkPair(specimen=specimen, **mark) for specimen in specimens for mark in marks
    )
    if garment and garment.near_edge.strip():
        text = f"Benchmark squares nearer than one inch to an edge or seam: {garment.near_edge.strip()}"
        about = {"job_id": request.sample.job_id, "request_id": request.pk}
        deviate(**about, kind=Deviation.Kind.READING, text=text, by=by, at=at)
    for specimen in specimens:
        advance(specimen=specimen, to=Stage.MARKED, at=at)
    codes = [specimen.code for specimen in specimens]
    facts = {
        "request": str(request),
        "specimens": codes,
        "pairs_per_direction": method.pairs_per_direction,
        "distance_mm": method.benchmark_mm,
        "places": list(dict.fromkeys(mark["place"] for mark in marks if mark.get("place"))),
    }
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="specimens.marked", by=by, at=at, facts=facts, key=key, payload=payload)
    return _pairs_of(codes)


def _pairs_of_method(request: Request) -> list[dict[str, Any]]:
    method = request.method
    return [
        {"direction": direction, "number": number, "nominal_mm": method.benchmark_mm}
        for direction in BenchmarkPair.Direction.values
        for number in range(1, method.pairs_per_direction + 1)
    ]


def _garment_pairs(request: Request, garment: GarmentMarks) -> list[dict[str, Any]]:
    """A pair at each point, on either side where the point says so, and the method's pairs in each square."""
    if request.method.applies_to != "garment":
        raise Refusal("Measuring points are for garments.", code="not_a_garment", field="points")
    points = list(MeasuringPoint.objects.filter(pk__in=garment.points).order_by("number"))
    if len(points) < len(set(garment.points)) or len({point.garment for point in points}) > 1:
        raise Refusal("These points do not belong to one garment. Choose again.", code="points", field="points")
    if garment.square_in and garment.square_in not in SQUARES:
        raise Refusal("A benchmark square has 10 or 18 inches.", code="square", field="square")
    panels = list(dict.fromkeys(panel.strip() for panel in garment.panels if panel.strip()))
    if garment.square_in and (not 1 <= len(panels) <= MOST_PANELS or any(len(panel) > 40 for panel in panels)):
        raise Refusal("Say on which panels the squares are marked.", code="no_panel", field="panels")
    if not points and not garment.square_in:
        raise Refusal("Choose at least one measuring point, or a benchmark square.", code="no_points", field="points")
    made = [
        {
            "direction": point.direction,
            "point": point,
            "side": side,
            "place": ", ".join(filter(None, (point.name, side))),
        }
        for point in points
        for side in (BenchmarkPair.Side.values if point.left_and_right else [""])
    ]
    made += [
        {
            "direction": direction,
            "place": f"{garment.square_in} in square, {panel}, {direction}",
            "nominal_mm": SQUARES[garment.square_in],
        }
        for panel in panels
        if garment.square_in
        for direction in BenchmarkPair.Direction.values
        for _ in range(request.method.pairs_per_direction)
    ]
    numbers = {direction: itertools.count(1) for direction in BenchmarkPair.Direction.values}
    return [{**mark, "number": next(numbers[mark["direction"]])} for mark in made]


@transaction.atomic
def lose_mark(
    *, pair_id: int, stage: int, reason: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> BenchmarkPair:
    """A mark is blurred, frayed or gone: the pair has no reading from this stage on, and none is estimated.

    Allowed while the reading is due. The readings before it stay; the loss is disclosed as a deviation.
    """
    found = BenchmarkPair.objects.select_related("specimen").get(pk=pair_id)
    (request,) = lock_requests([found.specimen.request_id])
    payload = ["lost", pair_id, stage, reason.strip()]
    pair = BenchmarkPair.objects.select_related("specimen").get(pk=pair_id)
    if trail.repeated(key=key, payload=payload, by=by):
        return pair
    ensure_open(request, READINGS)
    specimen = pair.specimen
    if pair.lost_stage is not None:
        raise Refusal(f"{specimen.short_code} {pair.name} is already given up.", code="already_lost")
    ensure_due(specimen, stage, request)
    if Reading.objects.in_force().filter(pair=pair, stage=stage).exists():
        raise Refusal(f"{specimen.short_code} {pair.name} is read at this stage.", code="already_read")
    if not reason.strip():
        raise Refusal("Say what happened to the mark; the report prints it.", code="no_reason", field="reason")
    check_read_at(at, [specimen], stage)
    pair.lost_stage, pair.lost_reason, pair.lost_by, pair.lost_at = stage, reason.strip(), by, at
    pair.save(update_fields=["lost_stage", "lost_reason", "lost_by", "lost_at"])
    when = f"after cycle {stage}" if stage else "before washing"
    job = request.sample.job
    deviate(
        job_id=job.pk,
        request_id=request.pk,
        specimen_id=specimen.pk,
        kind=Deviation.Kind.READING,
        text=f"{specimen.short_code} {pair.name}: no reading {when}, the mark is lost: {pair.lost_reason}",
        by=by,
        at=at,
    )
    if step := next_step(specimen, stage, request):
        advance(specimen=specimen, to=step[0], at=step[1])
    facts = {
        "what": f"{specimen.short_code} {pair.name} {when}",
        "specimen": specimen.code,
        "direction": pair.direction,
        "number": pair.number,
        "stage": stage,
        "reason": pair.lost_reason,
        "complete": [specimen.code] if step else [],
    }
    trail.record(stream=job.stream, kind="mark.lost", by=by, at=at, facts=facts, key=key, payload=payload)
    return pair


def _pairs_of(codes: list[str]) -> list[BenchmarkPair]:
    pairs = BenchmarkPair.objects.filter(specimen__code__in=codes).select_related("specimen")
    return list(pairs.order_by("specimen__number", "direction", "number"))
