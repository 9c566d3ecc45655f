"""What pages and the other rooms ask about methods, washes and dryings."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import models
from django.db.models import Count, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, Concat

from apps.methods.models import DryingProcedure, Figure, LaunderingProcedure, TestMethod

Catalogued = TestMethod | LaunderingProcedure | DryingProcedure


def offered_methods(applies_to: str) -> QuerySet[TestMethod]:
    """Methods that the front desk may choose for fabric or for garments."""
    return TestMethod.objects.filter(applies_to=applies_to, retired=False)


def procedures_for(method: TestMethod) -> QuerySet[LaunderingProcedure]:
    """Washes that go with a method: of its own family, so that a 2003 edition never meets a 2018 machine table."""
    return LaunderingProcedure.objects.filter(family=method.family, retired=False)


def dryings_for(method: TestMethod) -> QuerySet[DryingProcedure]:
    return DryingProcedure.objects.filter(family=method.family, retired=False)


def unconfirmed(owner: str | Catalogued) -> QuerySet[Figure]:
    """Figures of a method, wash or drying that the lab must hold against its own copy of the standard first."""
    key = owner if isinstance(owner, str) else owner.owner
    return Figure.objects.filter(owner=key).exclude(confidence=Figure.Confidence.HIGH)


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


def method_list() -> QuerySet[TestMethod]:
    """The catalogue's page: every edition, with `to_confirm` figures of its own; retired ones last."""
    figures = (
        Figure.objects.filter(owner=Concat(Value("method:"), OuterRef("code"), output_field=models.CharField()))
        .exclude(confidence=Figure.Confidence.HIGH)
        .order_by()
        .values("owner")
        .annotate(number=Count("id"))
        .values("number")
    )
    return TestMethod.objects.annotate(to_confirm=Coalesce(Subquery(figures), 0)).order_by(
        "retired", "designation", "edition", "specimen_side_mm"
    )


def method_whole(method: TestMethod) -> MethodWhole:
    """A method with its washes and dryings and the figures of them all: three queries, however long the tables."""
    washes, dryings = list(procedures_for(method)), list(dryings_for(method))
    by_owner: dict[str, list[Figure]] = {row.owner: [] for row in (method, *washes, *dryings)}
    for figure in Figure.objects.filter(owner__in=by_owner):
        by_owner[figure.owner].append(figure)
    return MethodWhole(
        sheet=Sheet(method, by_owner[method.owner]),
        washes=[Sheet(row, by_owner[row.owner]) for row in washes],
        dryings=[Sheet(row, by_owner[row.owner]) for row in dryings],
    )
