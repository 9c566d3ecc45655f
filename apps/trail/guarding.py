"""Guards: rules that the database itself keeps, whoever writes. Triggers, told once for both databases.

Each app lists its own in its `guards.py` as `GUARDS`; `trail/apps.py` installs them all after `migrate`.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module

from django.apps import apps
from django.db import connection, models, transaction
from django.db.models.options import Options
from django.utils.module_loading import module_has_submodule

PREFIX = "guard_"


@dataclass(frozen=True)
class Guard:
    """Refuse an `event` (insert, update or delete) of a row in `table` when `when` holds.

    `when` is SQL over OLD and NEW that both databases read (IS DISTINCT FROM is put into SQLite's words).
    `lock_first` (PostgreSQL): rows to hold FOR SHARE before looking, so that an approval not yet committed is waited
    for; a query without the state in its WHERE. `sqlite_only` guards close SQLite's REPLACE.
    """

    name: str
    table: str
    event: str
    when: str
    sentence: str
    lock_first: tuple[str, ...] = ()
    sqlite_only: bool = False

    @property
    def trigger(self) -> str:
        return f"{PREFIX}{self.name}_{self.event}"


def frozen_columns(*columns: str) -> str:
    """Condition: one of these columns would change."""
    return "(" + " OR ".join(f'OLD."{column}" IS DISTINCT FROM NEW."{column}"' for column in columns) + ")"


def no_replace(model: type[models.Model]) -> list[Guard]:
    """A row keeps its key, and none is put over another.

    SQLite's INSERT OR REPLACE and UPDATE OR REPLACE throw the other row out without asking the delete guards.
    """
    meta = model._meta
    table, key = meta.db_table, meta.pk.column
    uniques = [([field.column], None) for field in meta.local_fields if field.unique]
    uniques += [
        ([meta.get_field(name).column for name in constraint.fields], constraint.condition)
        for constraint in meta.constraints
        if isinstance(constraint, models.UniqueConstraint)
    ]
    clauses = [
        " AND ".join(
            [f"t.{column} = NEW.{column}" for column in columns]
            + [_plain_condition(condition, meta, row) for row in ("t", "NEW") if condition]
        )
        for columns, condition in uniques
    ]
    taken = " OR ".join(clauses)
    sentence = "this row exists; it is not replaced"
    insert = f"EXISTS (SELECT 1 FROM {table} t WHERE {taken})"
    update = f"EXISTS (SELECT 1 FROM {table} t WHERE t.{key} <> OLD.{key} AND ({taken}))"
    return [
        Guard(f"{table}_same_key", table, "update", frozen_columns(key), "a row keeps the key it was given"),
        Guard(f"{table}_no_replace", table, "insert", insert, sentence, sqlite_only=True),
        Guard(f"{table}_no_replace", table, "update", update, sentence, sqlite_only=True),
    ]


def _plain_condition(condition: models.Q, meta: Options, row: str) -> str:
    """The condition of a partial unique constraint as SQL: equal to, or null, and nothing else."""
    parts = []
    for name, value in condition.children:
        name, _, lookup = name.partition("__")
        column = f"{row}.{meta.get_field(name).column}"
        if lookup == "isnull" and condition.connector == models.Q.AND and not condition.negated:
            parts.append(f"{column} IS {'' if value else 'NOT '}NULL")
        elif not lookup and isinstance(value, bool | str) and condition.connector == models.Q.AND:
            parts.append(f"{column} = {int(value) if isinstance(value, bool) else repr(value)}")
        else:
            raise ValueError(f"A guard cannot be made of this condition: {condition}")
    return " AND ".join(parts)


def insert_only(model: type[models.Model], *, sentence: str) -> list[Guard]:
    """Rows are added and never changed or removed."""
    table = model._meta.db_table
    return [
        Guard(f"{table}_insert_only", table, event, "1 = 1", sentence) for event in ("update", "delete")
    ] + no_replace(model)


def never_deleted(model: type[models.Model], *, sentence: str) -> list[Guard]:
    table = model._meta.db_table
    return [Guard(f"{table}_stays", table, "delete", "1 = 1", sentence), *no_replace(model)]


def write_once(model: type[models.Model], *columns: str, sentence: str) -> Guard:
    """These columns keep what they were first given."""
    table = model._meta.db_table
    return Guard(f"{table}_write_once", table, "update", frozen_columns(*columns), sentence)


def written_once_but(model: type[models.Model], closing: tuple[str, ...], sentence: str) -> list[Guard]:
    """A row stays as it was written; only these columns, which close it, are filled in later, and once."""
    table = model._meta.db_table
    rest = [field.column for field in model._meta.local_fields if field.column not in (*closing, "id")]
    return [
        *never_deleted(model, sentence=sentence),
        write_once(model, *rest, sentence=sentence),
        Guard(f"{table}_closed_once", table, "update", f"OLD.{closing[0]} IS NOT NULL", sentence),
    ]


def all_guards() -> list[Guard]:
    """Every app's guards, in the order of the apps."""
    found: list[Guard] = []
    for config in apps.get_app_configs():
        if module_has_submodule(config.module, "guards"):
            found += import_module(f"{config.name}.guards").GUARDS
    return found


def _sqlite_sql(guard: Guard) -> list[str]:
    when = guard.when.replace("IS DISTINCT FROM", "IS NOT")
    sentence = guard.sentence.replace("'", "''")
    return [
        f"CREATE TRIGGER {guard.trigger} BEFORE {guard.event.upper()} ON {guard.table} FOR EACH ROW WHEN ({when})"
        f" BEGIN SELECT RAISE(ABORT, '{sentence}'); END"
    ]


def _postgres_sql(guard: Guard) -> list[str]:
    sentence = guard.sentence.replace("'", "''")
    locks = "".join(f"PERFORM 1 FROM {query} FOR SHARE; " for query in guard.lock_first)
    row = "OLD" if guard.event == "delete" else "NEW"
    return [
        f"CREATE OR REPLACE FUNCTION {guard.trigger}() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN {locks}"
        f"IF ({guard.when}) THEN RAISE EXCEPTION '{sentence}' USING ERRCODE = 'restrict_violation'; END IF;"
        f" RETURN {row}; END $guard$",
        f"CREATE TRIGGER {guard.trigger} BEFORE {guard.event.upper()} ON {guard.table} FOR EACH ROW"
        f" EXECUTE FUNCTION {guard.trigger}()",
    ]


def _truncate_sql(table: str) -> list[str]:
    trigger = f"{PREFIX}{table}_truncate"
    return [
        f"CREATE OR REPLACE FUNCTION {trigger}() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN"
        f" RAISE EXCEPTION 'this table is not emptied' USING ERRCODE = 'restrict_violation'; END $guard$",
        f"CREATE TRIGGER {trigger} BEFORE TRUNCATE ON {table} EXECUTE FUNCTION {trigger}()",
    ]


def installed_triggers() -> set[str]:
    """Names of the guards that the database has now."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'")
        return {name for (name,) in cursor.fetchall() if name.startswith(PREFIX)}


def missing_triggers() -> set[str]:
    """Guards that should stand and do not."""
    tables = set(connection.introspection.table_names())
    wanted = {guard.trigger for guard in _wanted(tables)}
    if connection.vendor == "postgresql":
        wanted |= {f"{PREFIX}{table}_truncate" for table in {guard.table for guard in _wanted(tables)}}
    return wanted - installed_triggers()


def altered_triggers() -> set[str]:
    """Guards that stand under their name and do something else than they should."""
    guards = _wanted(set(connection.introspection.table_names()))
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            wanted = {guard.trigger: _sqlite_sql(guard)[0] for guard in guards}
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        else:
            wanted = {guard.trigger: _postgres_sql(guard)[0].split("$guard$")[1].strip() for guard in guards}
            cursor.execute(
                "SELECT t.tgname, btrim(p.prosrc) FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid"
                " WHERE NOT t.tgisinternal"
            )
        return {name for name, text in cursor.fetchall() if wanted.get(name, text) != text}


def _wanted(tables: Iterable[str]) -> list[Guard]:
    sqlite = connection.vendor == "sqlite"
    return [guard for guard in all_guards() if guard.table in tables and (sqlite or not guard.sqlite_only)]


def drop() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            for name in installed_triggers():
                cursor.execute(f"DROP TRIGGER {name}")
        else:
            cursor.execute(
                "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
                " WHERE NOT t.tgisinternal AND t.tgname LIKE %s",
                [PREFIX.replace("_", r"\_") + "%"],
            )
            for trigger, table in cursor.fetchall():
                cursor.execute(f"DROP TRIGGER {trigger} ON {table}")


def install() -> None:
    """Put all guards in place, replacing those that are there, in one transaction. Missing tables are skipped."""
    with transaction.atomic():
        drop()
        guards = _wanted(set(connection.introspection.table_names()))
        with connection.cursor() as cursor:
            for guard in guards:
                for statement in _sqlite_sql(guard) if connection.vendor == "sqlite" else _postgres_sql(guard):
                    cursor.execute(statement)
            if connection.vendor == "postgresql":
                for table in sorted({guard.table for guard in guards}):
                    for statement in _truncate_sql(table):
                        cursor.execute(statement)


@contextmanager
def suspended(*, reason: str) -> Iterator[None]:
    """Lift the guards inside one transaction, for a data migration. Needs the owner's role; leaves a trail entry."""
    from apps.core import clock
    from apps.trail.services import record

    with transaction.atomic():
        drop()
        yield
        record(stream="guards", kind="guards.suspended", by=None, at=clock.now(), facts={"reason": reason})
        install()
