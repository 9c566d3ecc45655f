"""The whole book looked through: what the database itself should hold, then what each room says of its own."""

import re
from collections.abc import Callable, Iterator

from django.apps import apps
from django.db import connection, models
from django.db.models import Exists, OuterRef

from apps.core.faults import Fault
from apps.measuring.queries import work_faults
from apps.reporting.queries import issued_faults
from apps.trail import guarding
from apps.trail.queries import blob_faults, chain_faults


def guard_faults() -> Iterator[Fault]:
    for name in sorted(guarding.missing_triggers()):
        yield Fault("guard_missing", f"guard {name}", "it is missing; manage.py migrate puts it back")
    for name in sorted(guarding.altered_triggers()):
        yield Fault("guard_altered", f"guard {name}", "it is not what it should be; manage.py migrate puts it right")


def constraint_faults() -> Iterator[Fault]:
    """Named constraints of the models that the database no longer has."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT group_concat(sql, char(10)) FROM sqlite_master")
            there = set(re.findall(r'"(\w+)"', cursor.fetchone()[0]))
        else:
            cursor.execute("SELECT conname FROM pg_constraint UNION SELECT indexname FROM pg_indexes")
            there = {name for (name,) in cursor.fetchall()}
    for model in _ours():
        for constraint in model._meta.constraints:
            if constraint.name not in there:
                where = f"constraint {constraint.name}"
                yield Fault("constraint_missing", where, f"{model._meta.db_table} has lost it")


def orphan_faults() -> Iterator[Fault]:
    """Rows that point at a row which is not there."""
    for model in _ours():
        for field in model._meta.local_fields:
            if not isinstance(field, models.ForeignKey):
                continue
            target = field.remote_field.model._base_manager.filter(pk=OuterRef(field.attname))
            lost = model._base_manager.exclude(**{field.attname: None}).filter(~Exists(target))
            for key in lost.order_by("pk").values_list("pk", flat=True).iterator():
                yield Fault("orphan", f"{model._meta.db_table} {key}", f"its {field.name} is not there")


def _ours() -> list[type[models.Model]]:
    return [model for model in apps.get_models(include_auto_created=True) if model.__module__.startswith("apps.")]


CHECKS: dict[str, Callable[[], Iterator[Fault]]] = {
    "guards": guard_faults,
    "constraints": constraint_faults,
    "rows that point nowhere": orphan_faults,
    "the trail": chain_faults,
    "stored files": blob_faults,
    "specimens, cycles and readings": work_faults,
    "issued reports": issued_faults,
}
