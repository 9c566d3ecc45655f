"""Specimens, marks, readings and what they come to, as facts."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from apps.intake.models import CutPlan, Request, Specimen
from apps.intake.queries import PATTERNS
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.queries import BASIS, Extras, Rested, fewer_pairs, study
from apps.methods.models import MeasuringPoint
from apps.reporting.facts.record import People, local


class Specimens:
    """All specimens of some requests, set aside or not, with their marks and every reading ever made: three queries."""

    def __init__(self, specimens: list[Specimen], pairs: list[BenchmarkPair], readings: list[Reading]) -> None:
        self._specimens: dict[int, list[Specimen]] = defaultdict(list)
        self._pairs: dict[int, list[BenchmarkPair]] = defaultdict(list)
        self._readings: dict[int, list[Reading]] = defaultdict(list)
        for specimen in specimens:
            self._specimens[specimen.request_id].append(specimen)
        for pair in pairs:
            self._pairs[pair.specimen_id].append(pair)
        for reading in readings:
            self._readings[reading.pair_id].append(reading)

    @classmethod
    def of(cls, requests: Sequence[Request]) -> "Specimens":
        readings = Reading.objects.filter(pair__specimen__request__in=requests)
        pairs = BenchmarkPair.objects.filter(specimen__request__in=requests).select_related("lost_by", "point")
        return cls(
            list(Specimen.objects.filter(request__in=requests).select_related("spot").order_by("number")),
            list(pairs.order_by("direction", "number")),
            list(readings.select_related("read_by", "voided_by").order_by("stage", "id")),
        )

    @property
    def readers(self) -> set[int]:
        """Who entered a reading that is in force."""
        return {r.read_by_id for rows in self._readings.values() for r in rows if r.voided_at is None}

    def tell(self, people: People) -> None:
        for rows in self._readings.values():
            for reading in rows:
                people.add(reading.read_by, "read the distances")
                if reading.voided_by:
                    people.add(reading.voided_by, "corrected readings")

    def span(self, request: Request) -> list[datetime]:
        specimens = self._specimens[request.pk]
        return [r.at for s in specimens for pair in self._pairs[s.pk] for r in self._readings[pair.pk]]

    def frozen(self, request: Request, result: Any) -> list[dict[str, Any]]:
        changes = {row.pair.pk: row for row in result.rows}
        return [
            {
                "code": specimen.code,
                "short": specimen.short_code,
                "number": specimen.number,
                "cycles_valid": specimen.cycles_valid,
                "times_wetted": specimen.times_wetted,
                "set_aside": specimen.set_aside_reason,
                "pairs": [self._pair(pair, changes.get(pair.pk)) for pair in self._pairs[specimen.pk]],
            }
            for specimen in self._specimens[request.pk]
        ]

    def cutting(self, request: Request) -> dict[str, Any] | None:
        """Where the specimens lay in the cloth; None for garments and for what was cut without a plan."""
        plan: CutPlan | None = getattr(request, "cut_plan", None)
        placed = [specimen for specimen in self._specimens[request.pk] if hasattr(specimen, "spot")]
        if plan is None or not placed:
            return None
        return {
            "pattern": plan.pattern,
            "pattern_told": PATTERNS[plan.pattern],
            "reason": plan.reason,
            **{name: getattr(plan, name) for name in ("width_mm", "length_mm", "side_mm")},
            "cuts": [
                {"specimen": one.code, "short": one.short_code, "x_mm": one.spot.x_mm, "y_mm": one.spot.y_mm}
                for one in placed
            ],
        }

    def _pair(self, pair: BenchmarkPair, row: Any) -> dict[str, Any]:
        readings = self._readings[pair.pk]
        lost = pair.lost_stage is not None
        return {
            "direction": pair.direction,
            "number": pair.number,
            "place": pair.place,
            "group": pair.group,
            "point": pair.point.number if pair.point else None,
            "side": pair.side,
            "nominal_mm": pair.nominal_mm,
            "lost": {
                "from_stage": pair.lost_stage,
                "reason": pair.lost_reason,
                "by": pair.lost_by.full_name,
                "at": local(pair.lost_at),
            }
            if lost
            else None,
            "readings": [_reading(r, row) for r in readings if r.voided_at is None],
            "superseded": [
                {
                    **_reading(r, None),
                    "voided_by": r.voided_by.full_name,
                    "voided_at": local(r.voided_at),
                    "reason": r.void_reason,
                }
                for r in readings
                if r.voided_at is not None
            ],
        }


def _reading(reading: Reading, row: Any) -> dict[str, Any]:
    """As typed, with its unit, and the same in millimetres; the change when the pair counts."""
    return {
        "stage": reading.stage,
        "text": reading.text,
        "unit": reading.unit,
        "mm": reading.mm,
        "by": reading.read_by.full_name,
        "at": local(reading.at),
        "recorded_at": local(reading.recorded_at),
        "change": row.changes.get(reading.stage) if row else None,
        "change_shown": row.shown.get(reading.stage) if row else None,
    }


def frozen_rests(rows: Sequence[Rested]) -> list[dict[str, Any]]:
    """How the specimens rested before they were read, as far as the book knows."""
    return [_rest(row) for row in rows]


def _rest(row: Rested) -> dict[str, Any]:
    rest, stay = row.rest, row.rest.stay
    return {
        "specimen": row.specimen.code,
        "stage": row.stage,
        "room": stay.room.name if stay.room else "",
        "since": local(stay.since),
        "hours": rest.need.hours,
        "why": rest.need.why,
        "from_dry_side": stay.from_dry_side,
        "hand_ironed": stay.hand_ironed,
        "ready": rest.ready,
        "ready_at": local(rest.ready_at) if rest.ready_at else None,
        "basis": rest.basis,
        "basis_told": BASIS[rest.basis] if rest.basis else "",
        "excursions": [{"since": local(span.since), "until": local(span.until)} for span in rest.excursions],
        "gaps": [{"since": local(span.since), "until": local(span.until)} for span in rest.gaps],
        "by": stay.by.full_name,
    }


def frozen_extras(extras: Extras | None) -> dict[str, list[dict[str, Any]]]:
    """Skew and twist: each specimen's figure with what was read, and the means; sides are kept apart."""
    if extras is None:
        return {"figures": [], "means": []}
    figures = [
        {
            "measurement": str(figure.reading.extra),
            "title": figure.reading.extra.title,
            "formula": figure.reading.extra.get_formula_display(),
            "specimen": figure.specimen.code,
            "stage": figure.reading.stage,
            "side": figure.reading.place,
            "first": figure.reading.first_text,
            "second": figure.reading.second_text,
            "unit": figure.reading.unit,
            "value": figure.value,
            "shown": figure.shown,
            "change": figure.change,
            "by": figure.reading.read_by.full_name,
            "at": local(figure.reading.at),
        }
        for figure in extras.figures
    ]
    means = [
        {
            "measurement": str(mean.extra),
            "title": mean.extra.title,
            "formula": mean.extra.get_formula_display(),
            "stage": mean.stage,
            "side": mean.place,
            "shown": mean.shown,
            "specimens": mean.specimens,
        }
        for mean in extras.means
    ]
    return {"figures": figures, "means": means}


def frozen_results(result: Any) -> dict[str, Any]:
    return {
        "results": [_direction(direction) for direction in result.directions],
        "points": [_point(point) for point in _points(result)],
        "curve": {
            direction: [[stage, change] for stage, change in points] for direction, points in result.curve.items()
        },
        "curve_note": result.curve_note,
        "complete": result.complete,
        "missing": list(result.missing),
    }


def _points(result: Any) -> list[MeasuringPoint]:
    """Where the garments of a request are measured, each point once."""
    found = {row.pair.point_id: row.pair.point for row in result.rows if row.pair.point}
    return sorted(found.values(), key=lambda point: point.number)


def _point(point: MeasuringPoint) -> dict[str, Any]:
    return {
        "number": point.number,
        "garment": point.get_garment_display(),
        "name": point.name,
        "direction": point.direction,
        "left_and_right": point.left_and_right,
        "sentence": point.sentence,
    }


def _direction(found: Any) -> dict[str, Any]:
    verdict = found.verdict
    return {
        "direction": found.direction,
        "along": found.along,
        "asked": found.asked,
        "fewer_pairs": fewer_pairs(found),
        "stage": found.stage,
        "change": found.summary.change,
        "reported": found.reported,
        "sd": found.summary.sd,
        "specimens": found.summary.n_specimens,
        "pairs": found.summary.n_pairs,
        "per_specimen": {code: found.per_specimen[code] for code in found.summary.per_specimen},
        "u": found.u,
        "division_mm": found.spread.step_mm if found.spread else None,
        "lower": found.lower,
        "upper": found.upper,
        "no_verdict": found.no_verdict,
        "warning": found.warning,
        "verdict": {
            "state": found.state,
            "lower_limit": verdict.lower_limit,
            "upper_limit": verdict.upper_limit,
            "p_conform": None if verdict.p_conform is None else f"{verdict.p_conform:.3f}",
        }
        if verdict
        else None,
        **_adopted(found.spread),
    }


def _adopted(spread: Any) -> dict[str, Any]:
    """What was adopted for the reading; nothing where nothing was."""
    adopted = spread.adopted if spread else None
    if adopted is None:
        return {}
    told = {
        "percent": adopted.percent,
        "u": spread.reading,
        "counts": spread.reading_counts,
        "n": adopted.n,
        "people": adopted.people,
        "dof": adopted.dof,
        "on": adopted.on.isoformat(),
        "study": adopted.study,
        "told": study(adopted),
    }
    return {"reading": told}
