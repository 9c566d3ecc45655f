"""Making a backup and putting one back."""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile

from django.core.management import call_command
from django.db import connection, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from apps.core import clock
from apps.core.errors import Refusal
from apps.front.backup import postgres, sqlite
from apps.front.backup.manifest import BOOK, FORMAT, MANIFEST, Manifest, applied, digests, known, read, sha256_of


def _tools() -> ModuleType:
    return sqlite if connection.vendor == "sqlite" else postgres


def make(path: Path, *, told: Callable[[str], None] = lambda _: None) -> Manifest:
    """Write the whole book into one file, as it was at one moment. A file that is there is not written over."""
    if path.exists():
        raise Refusal(f"{path} is there already. Name another file.", code="exists")
    if not path.parent.is_dir():
        raise Refusal(f"There is no folder {path.parent}.", code="no_folder")
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".backup-") as folder:
        book, unfinished = Path(folder, BOOK), Path(folder, "unfinished")
        manifest = _dump(book, told)
        with ZipFile(unfinished, "w", ZIP_STORED) as bundle:
            bundle.writestr(MANIFEST, manifest.text())
            # What pg_dump writes is packed already.
            bundle.write(book, BOOK, ZIP_DEFLATED if connection.vendor == "sqlite" else ZIP_STORED)
        read(unfinished)
        unfinished.replace(path)
    return manifest


def _dump(book: Path, told: Callable[[str], None]) -> Manifest:
    at = clock.now()
    with _one_moment():
        seen = _tools().dump(connection, book)
        lab, tables, migrations = _lab_name(seen), digests(seen, told), applied(seen)
        if seen is not connection:
            seen.close()
            del connections[seen.alias], connections.databases[seen.alias]
    with book.open("rb") as file:
        return Manifest(FORMAT, connection.vendor, at.isoformat(), lab, migrations, sha256_of(file), tables)


@contextmanager
def _one_moment() -> Iterator[None]:
    """PostgreSQL: a transaction that sees one moment, while people go on writing. SQLite's copy is one by itself."""
    if connection.vendor == "sqlite":
        yield
        return
    with transaction.atomic():
        connection.cursor().execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        yield


def _lab_name(seen: BaseDatabaseWrapper) -> str:
    """Asked without the model: an older book may lack columns of it."""
    with seen.cursor() as cursor:
        cursor.execute("SELECT name FROM accounts_lab")
        return cursor.fetchone()[0]


def put_back(path: Path, *, told: Callable[[str], None] = lambda _: None) -> Manifest:
    """Put a backup into an empty place, see that every table is what it was, and bring it to this version."""
    manifest = read(path)
    if manifest.vendor != connection.vendor:
        raise Refusal(
            f"This backup is of {manifest.vendor}, and this house keeps its book in {connection.vendor}.",
            code="other_database",
        )
    newer = set(manifest.migrations) - known(connection)
    if newer:
        raise Refusal(
            f"This backup is of a newer version of the house ({min(newer)}). Install that first.", code="newer"
        )
    if connection.introspection.table_names():
        raise Refusal(
            "There is a book here already, and it is not written over. Restore into an empty place, look at it, and "
            "only then take the old one away.",
            code="not_empty",
        )
    with tempfile.TemporaryDirectory(prefix="restore-") as folder, ZipFile(path) as bundle:
        _tools().load(connection, Path(bundle.extract(BOOK, folder)))
    wrong = [name for name, row in digests(connection, told).items() if manifest.tables.get(name) != row]
    if wrong or not manifest.tables:
        raise Refusal(
            f"Not every table came back as it was: {', '.join(wrong)}. Do not use what stands here now; take another "
            "backup and another empty place.",
            code="other_rows",
        )
    call_command("migrate", verbosity=0)
    return manifest
