"""The whole book into one file."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser

from apps.core.errors import Refusal
from apps.front.backup import acts


class Command(BaseCommand):
    help = (
        "Write the whole book into one file, as it is at one moment, while people go on working: the database with a "
        "manifest of every table. On PostgreSQL run it as the role that owns the tables."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="such as /backups/2026-03-02.zip; it must not be there yet")

    def handle(self, *args, file: Path, verbosity: int, **options) -> None:
        told = (lambda table: self.stdout.write(f"  {table}")) if verbosity > 1 else lambda _: None
        try:
            manifest = acts.make(file, told=told)
        except Refusal as refusal:
            raise CommandError(str(refusal)) from refusal
        rows = sum(number for number, _ in manifest.tables.values())
        size = file.stat().st_size / 1e6
        self.stdout.write(f"{file}: {rows:,} rows in {len(manifest.tables)} tables, {size:,.1f} MB. Keep it elsewhere.")
