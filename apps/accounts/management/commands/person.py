"""manage.py person USERNAME --name "..." --roles manager,bench: for the first manager, before anybody can sign in."""

import getpass
import secrets

from django.core.management.base import BaseCommand, CommandError

from apps.accounts import services
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.errors import Refusal


class Command(BaseCommand):
    help = "Add a person of the lab. The password is asked for; with --generate one is made up and printed once."

    def add_arguments(self, parser) -> None:
        parser.add_argument("username")
        parser.add_argument("--name", required=True, help="the full name, as it stands in reports")
        parser.add_argument("--email", default="")
        parser.add_argument("--roles", default="manager", help="one or more of: " + ",".join(STAFF_ROLES))
        parser.add_argument("--generate", action="store_true", help="make up a password and print it")

    def handle(self, *, username: str, name: str, email: str, roles: str, generate: bool, **options) -> None:
        wanted = {role.strip() for role in roles.split(",")}
        if unknown := wanted - set(STAFF_ROLES):
            raise CommandError(f"No such role: {', '.join(sorted(unknown))}. There are: {', '.join(STAFF_ROLES)}.")
        password = secrets.token_urlsafe(15) if generate else self._asked()
        try:
            person = services.create_person(
                username=username,
                full_name=name,
                email=email,
                roles=frozenset(Role(role) for role in wanted),
                customer=None,
                password=password,
                by=None,
                at=clock.now(),
            )
        except Refusal as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"{person.full_name} may sign in as {person.username} ({person.role_words}).")
        if generate:
            self.stdout.write(f"Password, shown this once: {password}")

    def _asked(self) -> str:
        password = getpass.getpass("Password: ")
        if password != getpass.getpass("Once more: "):
            raise CommandError("The two are not the same. Nothing was added.")
        return password
