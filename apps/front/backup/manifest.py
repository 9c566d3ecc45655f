"""What a backup says of itself, so that a damaged or a newer one is told before it is touched."""

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from zipfile import ZipFile

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader

from apps.core.errors import Refusal

FORMAT = 1
MANIFEST, BOOK = "manifest.json", "book"
PIECE = 1 << 20


@dataclass(frozen=True)
class Manifest:
    """`tables`: name -> (rows, SHA-256 over them in the order of their keys)."""

    format: int
    vendor: str
    made_at: str
    lab: str
    migrations: list[str]
    book_sha256: str
    tables: dict[str, tuple[int, str]]

    def text(self) -> str:
        return json.dumps(asdict(self), indent=1, sort_keys=True)


def read(path: Path) -> Manifest:
    """The manifest of a backup, after every byte of it was looked at."""
    damaged = Refusal(f"{path} is damaged or no backup of this house. Take another one.", code="damaged")
    try:
        with ZipFile(path) as bundle:
            told = json.loads(bundle.read(MANIFEST))
            if told.get("format", 0) > FORMAT:
                raise Refusal("This backup is of a newer version of the house. Install that first.", code="newer")
            manifest = Manifest(**{**told, "tables": {name: tuple(row) for name, row in told["tables"].items()}})
            with bundle.open(BOOK) as book:
                whole = sha256_of(book) == manifest.book_sha256
    except Refusal:
        raise
    except Exception as error:  # whatever its bytes make the readers stumble over
        raise damaged from error
    if not whole:
        raise damaged
    return manifest


def sha256_of(file: Any) -> str:
    found = hashlib.sha256()
    while piece := file.read(PIECE):
        found.update(piece)
    return found.hexdigest()


def applied(connection: BaseDatabaseWrapper) -> list[str]:
    """The migrations that this database has had."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT app, name FROM django_migrations")
        return sorted(f"{app}.{name}" for app, name in cursor.fetchall())


def known(connection: BaseDatabaseWrapper) -> set[str]:
    """The migrations that this version of the house has."""
    return {f"{app}.{name}" for app, name in MigrationLoader(connection).graph.nodes}


def digests(connection: BaseDatabaseWrapper, told: Callable[[str], None]) -> dict[str, tuple[int, str]]:
    """Every table of ours: how many rows, and a SHA-256 over them. `told` hears each table's name."""
    there = set(connection.introspection.table_names())
    found = {}
    for model in apps.get_models(include_auto_created=True):
        table, key = model._meta.db_table, model._meta.pk.column
        if table in there:
            told(table)
            found[table] = _digest(_rows(connection, table, key))
    return dict(sorted(found.items()))


def _rows(connection: BaseDatabaseWrapper, table: str, key: str) -> Iterator[tuple]:
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {quote(table)} LIMIT 0")
        # Columns by name: a table that was remade by a migration has them in another order.
        names = ", ".join(quote(name) for name in sorted(column[0] for column in cursor.description))
    with connection.chunked_cursor() as cursor:
        cursor.execute(f"SELECT {names} FROM {quote(table)} ORDER BY {quote(key)}")
        while rows := cursor.fetchmany(500):
            yield from rows


def _digest(rows: Iterator[tuple]) -> tuple[int, str]:
    found, number = hashlib.sha256(), 0
    for row in rows:
        number += 1
        plain = tuple(bytes(value) if isinstance(value, memoryview) else value for value in row)
        found.update(repr(plain).encode())
    return number, found.hexdigest()
