"""A backup back into an empty place."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser

from apps.core.errors import Refusal
from apps.front.backup import acts


class Command(BaseCommand):
    help = (
        "Put a backup into an empty place: no SQLite file yet, or a PostgreSQL database without tables. Every table is "
        "compared with the backup's manifest, then brought to this version. Run check_lab afterwards, and on "
        "PostgreSQL grants."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="made by manage.py backup")

    def handle(self, *args, file: Path, verbosity: int, **options) -> None:
        told = (lambda table: self.stdout.write(f"  {table}")) if verbosity > 1 else lambda _: None
        try:
            manifest = acts.put_back(file, told=told)
        except Refusal as refusal:
            raise CommandError(str(refusal)) from refusal
        rows = sum(number for number, _ in manifest.tables.values())
        self.stdout.write(f"The book of {manifest.lab} of {manifest.made_at} is back: {rows:,} rows, each as it was.")
