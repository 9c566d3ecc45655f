"""What the database itself says about the catalogue: an edition that a request used stays as it was used."""

from django.db import models

from apps.methods.models import DryingProcedure, Figure, LaunderingProcedure, TestMethod
from apps.trail.guarding import Guard, frozen_columns, no_replace

SENTENCE = "a request uses this edition: it is never altered; a new edition is added beside it"
MAY_CHANGE = {"retired", "in_scope"}


def kept_once_used(model: type[models.Model], column: str) -> list[Guard]:
    """Rows that a request names in `column` are not deleted, and change only in what the lab says about them."""
    meta = model._meta
    used = f"EXISTS (SELECT 1 FROM intake_request r WHERE r.{column} = OLD.id)"
    frozen = frozen_columns(*(field.column for field in meta.local_fields if field.name not in MAY_CHANGE))
    name = f"{meta.db_table}_in_use"
    return [
        Guard(name, meta.db_table, "update", f"{frozen} AND {used}", SENTENCE),
        Guard(name, meta.db_table, "delete", used, SENTENCE),
        *no_replace(model),
    ]


FIGURE_USED = " OR ".join(
    f"OLD.owner IN (SELECT '{prefix}:' || c.code FROM {table} c JOIN intake_request r ON r.{column} = c.id)"
    for prefix, table, column in (
        ("method", "methods_testmethod", "method_id"),
        ("procedure", "methods_launderingprocedure", "procedure_id"),
        ("drying", "methods_dryingprocedure", "drying_id"),
    )
)

GUARDS = [
    *kept_once_used(TestMethod, "method_id"),
    *kept_once_used(LaunderingProcedure, "procedure_id"),
    *kept_once_used(DryingProcedure, "drying_id"),
    Guard("methods_figure_in_use", "methods_figure", "update", FIGURE_USED, SENTENCE),
    Guard("methods_figure_in_use", "methods_figure", "delete", FIGURE_USED, SENTENCE),
    *no_replace(Figure),
]
