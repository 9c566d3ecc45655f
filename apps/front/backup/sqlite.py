"""The SQLite file: copied by SQLite itself while people go on writing, and put in place as a whole."""

import os
import shutil
import sqlite3
from pathlib import Path

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from apps.core.errors import Refusal


def dump(connection: BaseDatabaseWrapper, target: Path) -> BaseDatabaseWrapper:
    """Copy the book to `target`; the connection given back looks at the copy."""
    connection.ensure_connection()
    with sqlite3.connect(target) as copy:
        connection.connection.backup(copy)
        (state,) = copy.execute("PRAGMA integrity_check").fetchone()
    copy.close()
    if state != "ok":
        raise Refusal(f"The database is damaged: {state}.", code="integrity")
    return _of_file(connection, target)


def load(connection: BaseDatabaseWrapper, source: Path) -> None:
    """Put the file in the place of the empty one, in one step."""
    place = Path(connection.settings_dict["NAME"])
    connection.close()
    place.parent.mkdir(parents=True, exist_ok=True)
    beside = place.with_name(place.name + ".restored")
    shutil.copyfile(source, beside)
    with beside.open("rb") as file:
        os.fsync(file.fileno())
    for rest in ("-wal", "-shm"):
        Path(f"{place}{rest}").unlink(missing_ok=True)
    beside.replace(place)


def _of_file(connection: BaseDatabaseWrapper, path: Path) -> BaseDatabaseWrapper:
    connections.databases["backup"] = {**connection.settings_dict, "NAME": str(path), "OPTIONS": {}}
    return connections["backup"]
