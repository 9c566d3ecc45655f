"""Work in the background: files of issued reports, letters. One or many may run; each row is taken by one of them."""

import logging
import time

from django.core.management.base import BaseCommand, CommandParser
from django.db import close_old_connections
from django.db.utils import InterfaceError, OperationalError

from apps.accounts.services import send_due
from apps.core import clock
from apps.intake.services import tell_delays
from apps.reporting.services import build_pending

log = logging.getLogger("worker")


def work_once() -> int:
    """One round; how many things were done."""
    done = build_pending(limit=20, now=clock.now()) + tell_delays(limit=20, now=clock.now())
    return done + send_due(now=clock.now())


def work_for_ever(pause: float) -> None:
    """Round after round. A database that is gone for a while is waited for."""
    while True:
        close_old_connections()
        try:
            done = work_once()
        except (OperationalError, InterfaceError) as error:
            log.warning("The database does not answer (%s); trying again.", error)
            done = 0
        if not done:
            time.sleep(pause)


class Command(BaseCommand):
    help = "Build the files of issued reports and send letters, until stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="do what is waiting now, then end")
        parser.add_argument("--pause", type=float, default=2.0, help="seconds between rounds when nothing waits")

    def handle(self, *args, once: bool, pause: float, **options) -> None:
        if not once:
            return work_for_ever(pause)
        total = 0
        while done := work_once():
            total += done
        self.stdout.write(f"{total} done.")
