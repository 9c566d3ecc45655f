"""Check a report's file on any machine: no database, no network, only the lab's public certificate."""

from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from apps.reporting.seal.checking import examine


class Command(BaseCommand):
    help = "Check a report's file: its seal, its attachments against what it prints, its figures reckoned anew."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the PDF")
        parser.add_argument(
            "--certificate",
            type=Path,
            default=Path(settings.SEAL_CERTIFICATE),
            help="the lab's public certificate or certificates (PEM); else the one of the settings",
        )

    def handle(self, *args, file: Path, certificate: Path, **options) -> None:
        try:
            content, trusted = file.read_bytes(), certificate.read_bytes()
        except OSError as error:
            raise CommandError(f"{error.filename}: {error.strerror}") from error
        found = examine(content, trusted)
        for check in found.checks:
            self.stdout.write(f"{'ok ' if check.holds else 'NO '} {check.what}: {check.told}")
        if not found.valid:
            raise CommandError("not valid")
        self.stdout.write(
            f"Valid: report {found.number} is as the laboratory made it.\n"
            "Whether it is still in force, only the laboratory's own page can say."
        )
