"""A certificate of the lab's own for the seal on its reports."""

from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from apps.core import clock
from apps.reporting.seal.keys import NoSeal, make_own, the_seal


class Command(BaseCommand):
    help = "Make the key and certificate that reports are sealed with. The public one may be given to customers."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True, help="the laboratory's name, as the certificate says it")
        parser.add_argument("--keep", action="store_true", help="do nothing when there is a seal already")

    def handle(self, *args, name: str, keep: bool, **options) -> None:
        try:
            if keep and the_seal():
                return
            seal = make_own(
                certificate=Path(settings.SEAL_CERTIFICATE),
                key=Path(settings.SEAL_KEY),
                name=name,
                now=clock.now(),
                password=settings.SEAL_PASSWORD,
            )
        except NoSeal as error:
            raise CommandError(str(error)) from error
        if options["verbosity"]:
            self.stdout.write(
                f"Made {settings.SEAL_CERTIFICATE} (public) and {settings.SEAL_KEY} (secret: keep a copy elsewhere).\n"
                f"SHA-256 of the certificate: {seal.fingerprint}\n"
                "It is the lab's own certificate: it shows that a file is unchanged, and is no qualified one."
            )
