"""Every address x every role, and nobody: who gets what. The table is in DEVELOPERS.md."""

import os
import re
from datetime import timedelta
from pathlib import Path

from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.converters import IntConverter, UUIDConverter

from apps.accounts.models import Role, User
from apps.accounts.services import make_token
from tests.cast import NOON, LabTestCase

DEVELOPERS = Path(__file__).resolve().parent.parent / "DEVELOPERS.md"
BEGIN, END = "<!-- who gets what: begin -->", "<!-- who gets what: end -->"
COLUMNS = {"nobody": None, **{role.value: role for role in Role}}


def addresses(resolver: URLResolver | None = None, before: str = "") -> list[tuple[str, URLPattern, str]]:
    """(the pattern as written, the pattern, an address that fits it and means nothing)."""
    found = []
    for pattern in (resolver or get_resolver()).url_patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            found += addresses(pattern, route)
        else:
            filled = route
            for name, converter in _converters(route, pattern).items():
                filled = filled.replace(name, _nothing(converter))
            found.append(("/" + route, pattern, "/" + filled))
    return found


def _converters(route: str, pattern: URLPattern) -> dict[str, object]:
    return {
        part: converter
        for key, converter in pattern.pattern.converters.items()
        for part in [route[route.rindex("<", 0, route.index(f"{key}>")) : route.index(f"{key}>") + len(key) + 1]]
    }


def _nothing(converter: object) -> str:
    if isinstance(converter, IntConverter):
        return "987654321"
    if isinstance(converter, UUIDConverter):
        return "00000000-0000-4000-8000-000000000000"
    return "26-99999X"


def is_by_token(pattern: URLPattern) -> bool:
    return getattr(pattern.callback, "by_token", False)


class WhoGetsWhatTests(LabTestCase):
    def setUp(self):
        self.tokens: dict[int, str] = {}

    def test_every_view_says_who_may(self):
        silent = [route for route, pattern, _ in addresses() if not hasattr(pattern.callback, "allowed_roles")]
        self.assertEqual(silent, [], "these views have no gate; use role_required or open_to_all")

    def test_the_gates_hold(self):
        """GET and POST everywhere: without sign-in to the sign-in page, without the right 403, with it neither."""
        people = {"nobody": None, Role.FRONT_DESK: self.fran, Role.BENCH: self.bea, Role.LAUNDRY: self.lou}
        people |= {Role.MANAGER: self.mara, Role.CUSTOMER: self.casey}
        for role, person in people.items():
            self.sign_in(person)
            for route, pattern, address in addresses():
                allowed = pattern.callback.allowed_roles
                if allowed is None or route.startswith("/sign-out"):
                    continue
                for verb in ("get", "post"):
                    if person is not None:
                        self.sign_in(person)
                    response = self.ask(person, verb, address, pattern)
                    if response.status_code == 405:
                        continue
                    with self.subTest(role=role, route=route, verb=verb):
                        if person is None and is_by_token(pattern):
                            self.assertEqual(response.status_code, 401)
                            self.assertIn("Bearer", response["WWW-Authenticate"])
                        elif person is None:
                            self.assertEqual(response.status_code, 302)
                            self.assertTrue(response.url.startswith("/sign-in/"), response.url)
                        elif role not in allowed:
                            self.assertEqual(response.status_code, 403)
                        else:
                            self.assertLess(response.status_code, 500)
                            self.assertNotEqual(response.status_code, 403)

    def test_a_session_opens_nothing_that_is_for_programs(self):
        for route, pattern, address in addresses():
            if is_by_token(pattern):
                for person in (self.mara, self.bea, self.casey):
                    self.sign_in(person)
                    with self.subTest(route=route, person=person):
                        self.assertIn(self.client.get(address).status_code, (401, 405))
                        self.assertIn(self.client.post(address).status_code, (401, 405))

    def ask(self, person: User | None, verb: str, address: str, pattern: URLPattern):
        """As this person: by the session, or by a token where programs ask."""
        headers = {}
        if person is not None and is_by_token(pattern):
            headers = {"authorization": f"Bearer {self.token_of(person)}"}
        return getattr(self.client, verb)(address, headers=headers)

    def token_of(self, person: User) -> str:
        if person.pk not in self.tokens:
            ends_on = NOON.date() + timedelta(days=1)
            _, self.tokens[person.pk] = make_token(name="a walk", ends_on=ends_on, by=person, at=NOON)
        return self.tokens[person.pk]

    def test_the_table_in_the_developers_guide(self):
        """`FULLING_REWRITE=yes tests/run tests/test_roles.py` puts what the code does into the guide."""
        before, written, after = re.split(f"{BEGIN}\n|{END}", DEVELOPERS.read_text())
        table = self.table() + "\n"
        if "FULLING_REWRITE" in os.environ:
            DEVELOPERS.write_text(f"{before}{BEGIN}\n{table}{END}{after}")
        else:
            self.assertEqual(written, table, "DEVELOPERS.md and the gates differ; the second is what the code does")

    def table(self) -> str:
        rows = []
        self.sign_in(self.mara)
        for route, pattern, address in addresses():
            allowed = pattern.callback.allowed_roles
            verbs = self.verbs(pattern, address)
            cells = ["yes" if allowed is None or role in allowed else "–" for role in COLUMNS.values()]
            rows.append(f"| `{route}` | {verbs} | " + " | ".join(cells) + " |")
        head = "| address | verbs | " + " | ".join(name.replace("_", " ") for name in COLUMNS) + " |"
        return "\n".join([head, "|---" * (2 + len(COLUMNS)) + "|", *sorted(rows)])

    def verbs(self, pattern: URLPattern, address: str) -> str:
        """What the address answers to, asked as somebody who may."""
        people = {Role.MANAGER: self.mara, Role.FRONT_DESK: self.fran, Role.BENCH: self.bea, Role.LAUNDRY: self.lou}
        people |= {Role.CUSTOMER: self.casey}
        allowed = pattern.callback.allowed_roles
        may = [person for role, person in people.items() if allowed is None or role in allowed]
        found = []
        for verb in ("get", "post"):
            self.client.force_login(may[0])
            if self.ask(may[0], verb, address, pattern).status_code != 405:
                found.append(verb.upper())
        return " ".join(found)
