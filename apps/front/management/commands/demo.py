"""A lab to try things in: the invented scenario, served on this machine."""

import os
import threading

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.servers.basehttp import run
from django.core.wsgi import get_wsgi_application

from apps.accounts.models import Outgoing, User
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.front.management.commands.worker import work_for_ever, work_once
from apps.front.queries import LANDING
from apps.front.scenario import PASSWORD, Scenario


class Command(BaseCommand):
    help = "Make the invented demo lab (once) and serve it on this machine. Not for real work."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where to listen (default 8000)")
        parser.add_argument("--no-serve", action="store_true", help="make the data and stop")

    def handle(self, *args, port: int, no_serve: bool, **options) -> None:
        if settings.PRODUCTION or "DATABASE_URL" in os.environ:
            raise CommandError("The demo keeps to its own SQLite file. Unset DATABASE_URL and FULLING_MODE to run it.")
        settings.ADDRESS = f"http://127.0.0.1:{port}"
        call_command("migrate", verbosity=0)
        if not the_lab().is_demo:
            if User.objects.exists():
                raise CommandError(f"{settings.DATA_DIR} holds a real lab's book; the demo leaves it alone.")
            call_command("seal", name="Walkmühle Textile Laboratory (invented)", keep=True, verbosity=0)
            self.stdout.write("Writing the invented scenario ...")
            Scenario(clock.now()).write()
            Outgoing.objects.update(sent_at=clock.now())  # letters of the invented past go nowhere
            work_once()
        self.tell(port)
        if not no_serve:
            threading.Thread(target=work_for_ever, args=(2.0,), daemon=True).start()
            try:
                run("127.0.0.1", port, get_wsgi_application(), threading=True)
            except OSError as error:
                raise CommandError(
                    f"Port {port} cannot be used ({error.strerror}). Try --port with another."
                ) from error

    def tell(self, port: int) -> None:
        """Where it is and who can sign in."""
        self.stdout.write(f"\nFulling Room, the demo with invented data: http://127.0.0.1:{port}/\n\nSign in as")
        for user in User.objects.select_related("customer").order_by("customer_id", "pk"):
            roles = ", ".join(role.label for role in LANDING if role in user.roles)
            company = f" of {user.customer}" if user.customer else ""
            self.stdout.write(f"  {user.username:<7} {user.full_name}, {roles}{company}")
        self.stdout.write(
            f"each with the password {PASSWORD}\n\nStop with Ctrl-C. The data stays in {settings.DATA_DIR}.\n"
        )
