"""The catalogue enters the database: what is missing is added, what is there stays as it is."""

from django.db import connection, models, transaction

from apps.methods.catalogue.dryings import DRYINGS
from apps.methods.catalogue.entries import Entry
from apps.methods.catalogue.methods import METHODS
from apps.methods.catalogue.washes import WASHES
from apps.methods.models import DryingProcedure, Figure, LaunderingProcedure, TestMethod

TABLES: tuple[tuple[type[models.Model], tuple[Entry, ...]], ...] = (
    (TestMethod, METHODS),
    (LaunderingProcedure, WASHES),
    (DryingProcedure, DRYINGS),
)


@transaction.atomic
def load() -> None:
    """Add the rows and figures that are missing. An edition once used, or set by the lab, is never altered."""
    if Figure._meta.db_table not in connection.introspection.table_names():
        return  # migrated only up to an earlier room
    known = set(Figure.objects.values_list("owner", "name"))
    figures = []
    for model, entries in TABLES:
        codes = set(model.objects.values_list("code", flat=True))
        model.objects.bulk_create(model(code=each.code, **each.columns) for each in entries if each.code not in codes)
        for each in entries:
            owner = model(code=each.code).owner
            figures += [Figure(owner=owner, **vars(fact)) for fact in each.facts if (owner, fact.name) not in known]
    Figure.objects.bulk_create(figures, batch_size=500)
