"""What pages and the other rooms ask about methods, washes and dryings."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db import models
from django.db.models import Count, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, Concat

from apps.methods.catalogue.points import PRACTICE_OWNER
from apps.methods.models import (
    CatalogueRow,
    Confirmation,
    DryingProcedure,
    ExtraMeasurement,
    Figure,
    LaunderingProcedure,
    MeasuringPoint,
    RepeatabilityFigure,
    TestMethod,
)
from apps.trail.models import TrailEntry
from apps.trail.queries import timeline

Catalogued = TestMethod | LaunderingProcedure | DryingProcedure | ExtraMeasurement
MODELS: tuple[type[CatalogueRow], ...] = (TestMethod, LaunderingProcedure, DryingProcedure, ExtraMeasurement)


def offered_methods(applies_to: str) -> QuerySet[TestMethod]:
    """Methods that the front desk may choose for fabric or for garments."""
    return TestMethod.objects.filter(applies_to=applies_to, retired=False)


def procedures_for(method: TestMethod) -> QuerySet[LaunderingProcedure]:
    """Washes that go with a method: of its own family, so that a 2003 edition never meets a 2018 machine table."""
    return LaunderingProcedure.objects.filter(family=method.family, retired=False)


def dryings_for(method: TestMethod) -> QuerySet[DryingProcedure]:
    return DryingProcedure.objects.filter(family=method.family, retired=False)


def extras_for(method: TestMethod) -> QuerySet[ExtraMeasurement]:
    """What may be measured on the same specimens beside the change of length."""
    return method.extras.filter(retired=False)


def unconfirmed(owner: str | Catalogued | Iterable[str | Catalogued]) -> QuerySet[Figure]:
    """Figures of a method, wash or drying that the lab must hold against its own copy of the standard first.

    Of several at once, when several are given. What a manager confirmed or set is among them no more.
    """
    owners = [owner] if isinstance(owner, str | CatalogueRow) else owner
    keys = {each if isinstance(each, str) else each.owner for each in owners}
    return Figure.objects.filter(owner__in=keys).unconfirmed()


def repeatability_in_force(methods: Iterable[int]) -> dict[int, dict[tuple[str, str], RepeatabilityFigure]]:
    """By method what was adopted last, of each direction and scale; one query, however many methods."""
    found: dict[int, dict[tuple[str, str], RepeatabilityFigure]] = defaultdict(dict)
    rows = RepeatabilityFigure.objects.filter(method__in=set(methods)).select_related("by")
    for row in rows.order_by("at", "pk"):
        found[row.method_id][row.direction, row.scale] = row
    return found


def told_figures(row: Catalogued) -> dict[str, str]:
    """What the catalogue and the lab say of a row beside its columns, such as the water level; by its name."""
    figures = Figure.objects.filter(owner=row.owner).with_confirmations()
    return {figure.name: figure.stands for figure in figures if figure.is_known}


@dataclass(frozen=True)
class Standing:
    """A figure as it holds now: the catalogue's value, or the lab's own word where there is one."""

    name: str
    value: str
    source: str
    to_confirm: bool

    @property
    def is_known(self) -> bool:
        return bool(self.value)


def standing(owner: str | Catalogued, names: Sequence[str] = (), *, begins: str = "") -> list[Standing]:
    """Figures of a method, wash or drying as they hold now, in the catalogue's order: these, or those whose name
    begins so. One query."""
    key = owner if isinstance(owner, str) else owner.owner
    wanted = Q(name__startswith=begins) if begins else Q(name__in=names)
    said = Confirmation.objects.filter(figure=OuterRef("pk")).order_by("-ordinal")
    columns = {f"said_{name}": Subquery(said.values(name)[:1]) for name in ("was", "value", "note")}
    return [_standing(figure) for figure in Figure.objects.filter(wanted, owner=key).annotate(**columns)]


def _standing(figure: Any) -> Standing:
    if figure.said_value is None:
        to_confirm = figure.confidence != Figure.Confidence.HIGH
        return Standing(figure.name, figure.value, figure.source, to_confirm)
    own = figure.said_was != figure.said_value
    source = f"the lab's own copy, {figure.said_note}" if own else f"{figure.source}; {figure.said_note}"
    return Standing(figure.name, figure.said_value, source, to_confirm=False)


@dataclass(frozen=True)
class Sheet:
    """One row of the catalogue with the figures behind it, ready to print."""

    row: Catalogued
    figures: Sequence[Figure]

    @property
    def to_confirm(self) -> int:
        return sum(figure.to_confirm for figure in self.figures)

    @property
    def to_confirm_words(self) -> str:
        return f"{self.to_confirm} figure{'' if self.to_confirm == 1 else 's'} to be confirmed by the lab"


@dataclass(frozen=True)
class MethodWhole:
    sheet: Sheet
    washes: Sequence[Sheet]
    dryings: Sequence[Sheet]
    extras: Sequence[Sheet]
    repeatabilities: Sequence[RepeatabilityFigure]


def with_to_confirm(rows: QuerySet[Any]) -> QuerySet[Any]:
    """Each row with `to_confirm`: how many of its own figures the lab has yet to confirm."""
    figures = (
        Figure.objects.filter(
            owner=Concat(Value(f"{rows.model.OWNER}:"), OuterRef("code"), output_field=models.CharField())
        )
        .unconfirmed()
        .order_by()
        .values("owner")
        .annotate(number=Count("id"))
        .values("number")
    )
    return rows.annotate(to_confirm=Coalesce(Subquery(figures), 0))


def method_list() -> QuerySet[TestMethod]:
    """The catalogue's page: every edition, with `to_confirm` figures of its own; what is not offered last."""
    rows = with_to_confirm(TestMethod.objects.all())
    return rows.order_by("retired", "designation", "edition", "specimen_side_mm", "id")


def wash_list() -> QuerySet[LaunderingProcedure]:
    return with_to_confirm(LaunderingProcedure.objects.all()).order_by("retired", "family", "id")


def drying_list() -> QuerySet[DryingProcedure]:
    return with_to_confirm(DryingProcedure.objects.all()).order_by("retired", "family", "id")


def extra_list() -> QuerySet[ExtraMeasurement]:
    rows = with_to_confirm(ExtraMeasurement.objects.all()).prefetch_related("methods")
    return rows.order_by("retired", "designation", "edition", "option")


def sheet(row: Catalogued) -> Sheet:
    """One row with its figures and who confirmed them."""
    return Sheet(row, list(Figure.objects.filter(owner=row.owner).with_confirmations()))


def method_whole(method: TestMethod) -> MethodWhole:
    """A method with its washes, dryings and extra measurements and the figures of them all, in as many queries
    whatever the length of the tables."""
    washes, dryings, extras = list(procedures_for(method)), list(dryings_for(method)), list(extras_for(method))
    by_owner: dict[str, list[Figure]] = {row.owner: [] for row in (method, *washes, *dryings, *extras)}
    for figure in Figure.objects.filter(owner__in=by_owner).with_confirmations():
        by_owner[figure.owner].append(figure)
    return MethodWhole(
        sheet=Sheet(method, by_owner[method.owner]),
        washes=[Sheet(row, by_owner[row.owner]) for row in washes],
        dryings=[Sheet(row, by_owner[row.owner]) for row in dryings],
        extras=[Sheet(row, by_owner[row.owner]) for row in extras],
        repeatabilities=list(method.repeatabilities.select_related("by")[:20]),
    )


def row_of(owner: str) -> Catalogued | None:
    """The row that figures and the trail name so: "procedure:aatcc-1-iii"."""
    prefix, _, code = owner.partition(":")
    model = next((model for model in MODELS if prefix == model.OWNER), None)
    return model.objects.filter(code=code).first() if model else None


@dataclass(frozen=True)
class GarmentPoints:
    name: str
    points: Sequence[MeasuringPoint]


def points_for(garment: str) -> QuerySet[MeasuringPoint]:
    """Where a garment of this kind is measured, in the order of the drawing's numbers."""
    return MeasuringPoint.objects.filter(garment=garment).order_by("number")


def all_points() -> list[GarmentPoints]:
    """Every kind of garment with its measuring points, in the order of the kinds."""
    order = {kind: place for place, kind in enumerate(MeasuringPoint.Garment.values)}
    rows = sorted(MeasuringPoint.objects.all(), key=lambda point: (order[point.garment], point.number))
    groups = groupby(rows, key=lambda point: point.garment)
    return [GarmentPoints(MeasuringPoint.Garment(kind).label, list(points)) for kind, points in groups]


def measuring_practice() -> QuerySet[Figure]:
    """How any garment is laid and read."""
    return Figure.objects.filter(owner=PRACTICE_OWNER).with_confirmations()


def history(row: Catalogued) -> QuerySet[TrailEntry]:
    """What happened to a row of the catalogue, newest first."""
    return timeline(row.owner)


def confirmation_told(said: Confirmation) -> dict[str, Any]:
    """One word of the lab on a figure, as a timeline tells it."""
    text = f"Set to {said.value}, was {said.was or 'not known'}" if said.overrides else f"Confirmed: {said.value}"
    return {"at": said.at, "who": said.by.full_name, "text": text, "note": said.note}


def told(entry: TrailEntry) -> dict[str, Any]:
    """One entry of a row's history in the words of the lab."""
    facts = entry.facts
    text, note = {
        "figure.confirmed": (f"Confirmed: {facts.get('name')} {facts.get('value')}", facts.get("note", "")),
        "figure.overridden": (
            f"Set: {facts.get('name')} {facts.get('value')}, was {facts.get('was') or 'not known'}",
            facts.get("note", ""),
        ),
        "catalogue.copied": (f"Copied into {facts.get('copy')}", f"after {facts.get('after')}"),
        "catalogue.retired": ("Offered no more", facts.get("reason", "")),
        "catalogue.taken_back": ("Offered again", ""),
        "method.repeatability": (
            f"Repeatability of {facts.get('direction')} adopted: {facts.get('with_people')} %",
            f"study {facts.get('study')}, {facts.get('n')} readings by {facts.get('people')} people",
        ),
        "method.in_scope": ("Within the accreditation", ""),
        "method.out_of_scope": ("Outside the accreditation", ""),
    }.get(entry.kind, (entry.kind, ""))
    return {"at": entry.at, "who": entry.actor_name, "text": text, "note": note}
