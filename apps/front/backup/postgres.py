"""PostgreSQL: pg_dump and pg_restore, found on the path or where Debian keeps them."""

import os
import shutil
import subprocess
from pathlib import Path

from django.db.backends.base.base import BaseDatabaseWrapper

from apps.core.errors import Refusal


def dump(connection: BaseDatabaseWrapper, target: Path) -> BaseDatabaseWrapper:
    """Dump the moment that this connection's transaction sees; people go on writing. To be called in a transaction of
    REPEATABLE READ, so that the digests are of that same moment."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_export_snapshot()")
        (snapshot,) = cursor.fetchone()
    _run(
        "pg_dump", connection, "--format=custom", "--no-owner", "--no-acl", f"--snapshot={snapshot}", f"--file={target}"
    )
    return connection


def load(connection: BaseDatabaseWrapper, source: Path) -> None:
    """All or nothing, into a database without tables."""
    connection.close()
    rights = ("--no-owner", "--no-acl", "--exit-on-error", "--single-transaction")
    _run("pg_restore", connection, *rights, f"--dbname={connection.settings_dict['NAME']}", str(source))


def program(name: str) -> str:
    """The newest there is: an older pg_dump refuses a newer server."""
    versions = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda path: float(path.parts[4]))
    found = str(versions[-1]) if versions else shutil.which(name)
    if found is None:
        raise Refusal(f"{name} is missing. Install it: apt-get install postgresql-client.", code="no_program")
    return found


def _run(name: str, connection: BaseDatabaseWrapper, *arguments: str) -> None:
    given = connection.settings_dict
    environment = {
        **os.environ,
        **{
            variable: str(given[setting])
            for variable, setting in (
                *(("PGHOST", "HOST"), ("PGPORT", "PORT"), ("PGUSER", "USER")),
                *(("PGPASSWORD", "PASSWORD"), ("PGDATABASE", "NAME")),
            )
            if given[setting]
        },
    }
    done = subprocess.run([program(name), *arguments], env=environment, capture_output=True, text=True)
    if done.returncode:
        raise Refusal(f"{name} failed: {done.stderr.strip()[-800:]}", code="program_failed")
