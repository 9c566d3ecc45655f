"""The catalogue enters the database: what is missing is added, what is there stays as it is."""

from django.db import connection, transaction

from apps.methods.catalogue.dryings import DRYINGS
from apps.methods.catalogue.entries import Entry
from apps.methods.catalogue.extras import EXTRAS
from apps.methods.catalogue.methods import METHODS
from apps.methods.catalogue.points import POINTS, PRACTICE, PRACTICE_OWNER
from apps.methods.catalogue.washes import WASHES
from apps.methods.models import (
    CatalogueRow,
    DryingProcedure,
    ExtraMeasurement,
    Figure,
    LaunderingProcedure,
    MeasuringPoint,
    TestMethod,
)

TABLES: tuple[tuple[type[CatalogueRow], tuple[Entry, ...]], ...] = (
    (TestMethod, METHODS),
    (LaunderingProcedure, WASHES),
    (DryingProcedure, DRYINGS),
    (ExtraMeasurement, EXTRAS),
)


@transaction.atomic
def load() -> None:
    """Add the rows and figures that are missing. An edition once used, or set by the lab, is never altered."""
    if Figure._meta.db_table not in connection.introspection.table_names():
        return  # migrated only up to an earlier room
    known = set(Figure.objects.values_list("owner", "name"))
    told = [(PRACTICE_OWNER, fact) for fact in PRACTICE]
    for model, entries in TABLES:
        codes = set(model.objects.values_list("code", flat=True))
        new = [each for each in entries if each.code not in codes]
        model.objects.bulk_create(model(code=each.code, **each.columns) for each in new)
        _link(new)
        told += [(model(code=each.code).owner, fact) for each in entries for fact in each.facts]
    Figure.objects.bulk_create(
        (Figure(owner=owner, **vars(fact)) for owner, fact in told if (owner, fact.name) not in known), batch_size=500
    )
    places = set(MeasuringPoint.objects.values_list("garment", "name"))
    MeasuringPoint.objects.bulk_create(
        MeasuringPoint(**vars(point)) for point in POINTS if (point.garment, point.name) not in places
    )


def _link(new: list[Entry]) -> None:
    """Extra measurements that were just added, to the methods whose specimens they may use."""
    links = [(each.code, method) for each in new for method in each.linked]
    if not links:
        return
    extras = dict(ExtraMeasurement.objects.values_list("code", "pk"))
    methods = dict(TestMethod.objects.values_list("code", "pk"))
    between = ExtraMeasurement.methods.through
    between.objects.bulk_create(
        between(extrameasurement_id=extras[code], testmethod_id=methods[method])
        for code, method in links
        if method in methods
    )
