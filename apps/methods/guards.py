"""What the database itself says about the catalogue: an edition that a request used stays as it was used."""

from django.db import models

from apps.methods.models import (
    Confirmation,
    DryingProcedure,
    ExtraMeasurement,
    Figure,
    LaunderingProcedure,
    MeasuringPoint,
    RepeatabilityFigure,
    TestMethod,
)
from apps.trail.guarding import Guard, frozen_columns, insert_only, no_replace

SENTENCE = "a request uses this edition: it is never altered; a new edition is added beside it"
CONFIRMED = "what the lab said about a figure stands; a newer word is added after it"
NOT_OFFERED = "this edition lacks numbers: nothing is tested by it"
NOT_CONFIRMED = "a figure of this edition is not confirmed: it stays outside the accreditation"
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


def only_complete(model: type[models.Model], column: str, lacking: str) -> list[Guard]:
    """No request names a row of which the rules' numbers are not known (`lacking`: SQL over the row c)."""
    table = model._meta.db_table
    lacks = f"EXISTS (SELECT 1 FROM {table} c WHERE c.id = NEW.{column} AND ({lacking}))"
    name = f"{table}_complete"
    return [
        Guard(name, "intake_request", "insert", lacks, NOT_OFFERED),
        Guard(name, "intake_request", "update", f"{frozen_columns(column)} AND {lacks}", NOT_OFFERED),
    ]


FIGURE_USED = " OR ".join(
    f"OLD.owner IN (SELECT '{prefix}:' || c.code FROM {table} c JOIN intake_request r ON r.{column} = c.id)"
    for prefix, table, column in (
        ("method", "methods_testmethod", "method_id"),
        ("procedure", "methods_launderingprocedure", "procedure_id"),
        ("drying", "methods_dryingprocedure", "drying_id"),
    )
)
UNCONFIRMED = (
    "EXISTS (SELECT 1 FROM methods_figure f WHERE f.owner = 'method:' || NEW.code AND f.confidence <> 'H'"
    " AND NOT EXISTS (SELECT 1 FROM methods_confirmation c WHERE c.figure_id = f.id))"
)
METHOD_LACKS = (
    "c.specimens IS NULL OR c.pairs_per_direction IS NULL OR c.benchmark_mm IS NULL OR c.averaging = ''"
    " OR c.rounding_step IS NULL OR c.reading_resolution_mm IS NULL"
    " OR (c.applies_to = 'fabric' AND c.specimen_side_mm IS NULL)"
)

GUARDS = [
    *kept_once_used(TestMethod, "method_id"),
    *kept_once_used(LaunderingProcedure, "procedure_id"),
    *kept_once_used(DryingProcedure, "drying_id"),
    *only_complete(TestMethod, "method_id", METHOD_LACKS),
    *only_complete(LaunderingProcedure, "procedure_id", "c.wash_temp_c IS NULL OR c.load_mass_g IS NULL"),
    *only_complete(DryingProcedure, "drying_id", "c.kind = 'tumble' AND c.exhaust_max_c IS NULL"),
    Guard(
        "methods_testmethod_scope",
        "methods_testmethod",
        "update",
        f"NEW.in_scope AND NOT OLD.in_scope AND {UNCONFIRMED}",
        NOT_CONFIRMED,
    ),
    Guard("methods_testmethod_scope", "methods_testmethod", "insert", "NEW.in_scope", NOT_CONFIRMED),
    Guard("methods_figure_in_use", "methods_figure", "update", FIGURE_USED, SENTENCE),
    Guard("methods_figure_in_use", "methods_figure", "delete", FIGURE_USED, SENTENCE),
    *no_replace(Figure),
    *insert_only(Confirmation, sentence=CONFIRMED),
    *insert_only(
        RepeatabilityFigure, sentence="a repeatability that was adopted stands; a newer study is adopted after it"
    ),
    *no_replace(ExtraMeasurement),
    *no_replace(MeasuringPoint),
]
