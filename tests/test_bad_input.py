"""Nothing that is typed breaks the house: every form of every page as it stands, well filled, field by field spoilt.

An answer either did the thing or says in a sentence why not, with all that was typed still in its place; it never is a
500, and nothing typed comes back as markup. FULLING_WALK=whole tries up to 250 bad values a form, and ten times as
much at random: long.
"""

import logging
import os
from datetime import timedelta
from typing import ClassVar
from unittest import mock
from urllib.parse import quote

import pytest
from django.db import transaction

from apps.accounts.models import Role
from apps.trail.models import TrailEntry
from tests.walls.forms import Made, forms_of_the_house, name_of, random_faults, watching
from tests.walls.house import TODAY, HouseTestCase, addresses, arguments, patterns
from tests.walls.page import Page
from tests.walls.values import LONG, MARKUP, WORDS, well_filled
from tests.walls.walker import Walk, is_page

WHOLE = os.environ.get("FULLING_WALK") == "whole"
POSTS_A_FORM = 250 if WHOLE else 2
INPUTS = 20_000 if WHOLE else 2_000  # at form level, over all forms together
# Below these the walk has lost its way: pages are no longer found, forms no longer well filled.
FORMS, POSTS, DONE = 105, 700, 88
# Refused: every figure of the edition is to be confirmed first; the cycles stand as they are typed;
# the air of this minute is read already.
LATER = {"methods:scope", "reporting:cycles", "equipment:log"}
ASKED = ("page", "request", "stage", "group", "day", "q", "show", "next", "specimen_mass_g")
RUBBISH = ("\0", "\U0001f9f5", "\u0663\u0664\u0665" * 3, "\u00b2" * 9, "9" * 25, "-1", "0000-00-00", MARKUP, LONG)
IN_AN_ADDRESS = ("\0", "\U0001f9f5", "\u0663\u0664\u0665", "9" * 25, "-1", "%2e%2e%2f", "a" * 3000, MARKUP)
BODIES = (
    ("application/json", b'{"key": [1]}'),
    ("application/x-www-form-urlencoded", b"\xff\xfe=%ED%A0%80&%00=%00&name=%ff&" * 3),
    ("application/x-www-form-urlencoded; charset=none-such", b"name=1"),
    ("multipart/form-data; boundary=x", b"--x\r\nContent-Disposition: form-data; name="),
    ("multipart/form-data", b"no boundary"),
    ("application/x-www-form-urlencoded", b"&".join(b"f%d=1" % number for number in range(5100))),
)


@pytest.mark.once
class BadInputTests(HouseTestCase):
    made: ClassVar[dict[str, Made]] = {}

    @classmethod
    def setUpTestData(cls) -> None:
        super().setUpTestData()
        with watching(cls.made):
            walk = Walk()
            cls.found = walk.forms()
        cls.done = walk.done
        posting = [found for found in cls.found if found.form.method == "post"]
        cls.posting = [found for found in posting if found.view != "accounts:sign_out"]

    def setUp(self) -> None:
        logging.disable(logging.CRITICAL)
        self.addCleanup(logging.disable, logging.NOTSET)
        self.enterContext(mock.patch("apps.reporting.views.verifying.QUESTIONS", 1_000_000))  # one address asks it all
        self.walk = Walk()

    def no_faults(self) -> None:
        told = "\n".join(self.walk.faults[:60])
        self.assertEqual(len(self.walk.faults), 0, f"of {self.walk.posts} requests\n{told}")

    def test_every_address_is_walked(self):
        for view, pattern in patterns():
            names = set(pattern.pattern.converters)
            self.assertTrue(arguments(view, names), f"{view} takes {names}: say in tests/walls/house.py what they mean")

    def test_every_form_keeps_its_countenance(self):
        for found in self.found:
            if found.view != "accounts:sign_out":
                self.walk.spoil_all(found, POSTS_A_FORM)
        self.no_faults()
        undone = {found.view for found in self.posting} - self.done
        print(f"{len(self.found)} forms, {self.walk.posts} requests, {len(self.done)} acts done")
        self.assertGreaterEqual(len(self.found), FORMS)
        self.assertGreaterEqual(self.walk.posts, POSTS)
        self.assertGreaterEqual(len(self.done), DONE, undone)
        self.assertEqual(undone - LATER, set(), "well filled, and not done: see tests/walls/values.py")

    def test_every_form_takes_anything(self):
        """Each class as its view builds it, filled at random: it answers, in sentences, and keeps what was typed."""
        unseen = {name_of(kind) for kind in forms_of_the_house() - {one.kind for one in self.made.values()}}
        self.assertEqual(unseen, set(), "no page or post of the walk makes these forms")
        each = max(1, INPUTS // len(self.made))
        told = [f"{name[:60]}: {bad}" for name, made in self.made.items() for bad in random_faults(made, each)[:3]]
        inputs = each * len(self.made)
        print(f"{len(self.made)} forms of {len({one.kind for one in self.made.values()})} classes, {inputs} inputs")
        self.assertEqual(told, [])

    def test_what_is_kept_never_becomes_markup(self):
        """Markup wherever text is taken, kept where the house keeps it; then every page is read again."""
        kept = 0
        for found in self.posting:
            if found.view != "accounts:password":
                good = well_filled(found.form)
                for name in good:
                    controls = found.form.of(name)
                    if controls and controls[0].kind in ("text", "textarea") and good[name][0] in WORDS.values():
                        good[name] = [MARKUP]
                answer = self.walk.send(found, good, "with markup")
                kept += answer is not None and answer.status_code == 302
        for who, page in self.walk.pages(2):
            if page.unwelcome:
                self.walk.faults.append(f"{who} at {page.address}: {page.unwelcome[:3]}")
        self.no_faults()
        self.assertGreaterEqual(kept, 20)

    def test_what_is_asked_in_an_address(self):
        """Every page with rubbish after the question mark, and with rubbish where a number or a code belongs."""
        for number, address in enumerate(address for address in addresses(1) if not address.by_token):
            asked, put = (RUBBISH, IN_AN_ADDRESS) if WHOLE else ([RUBBISH[number % 9]], [IN_AN_ADDRESS[number % 8]])
            for value in asked:
                self.look(f"{address.path}?{'&'.join(f'{name}={quote(value[:2000])}' for name in ASKED)}", address)
            for part in [part for part in address.path.split("/") if any(sign.isdigit() for sign in part)]:
                for value in put:
                    self.look(address.path.replace(part, quote(value, safe="")), address)
        self.no_faults()

    def look(self, path: str, address) -> None:
        who = "casey" if address.roles == {Role.CUSTOMER} else "mara"
        answer = self.walk.get(who, path)
        if answer is not None:
            if answer.status_code not in (200, 301, 302, 400, 404, 405, 410, 422):
                self.walk.faults.append(f"{who} at {path[:120]}: answered {answer.status_code}")
            if is_page(answer) and Page(answer.content.decode()).unwelcome:
                self.walk.faults.append(f"{who} at {path[:120]}: markup in the answer")

    def test_bodies_that_are_no_form(self):
        rooms = {found.view.split(":")[0]: found for found in self.posting}
        self.assertGreaterEqual(len(rooms), 7)
        for found in rooms.values():
            for kind, body in BODIES:
                with self.subTest(found.form.action, kind=kind), transaction.atomic():
                    answer = self.walk.client(found.who, anew=True).generic(
                        "POST", found.form.action, body, content_type=kind
                    )
                    self.assertIn(answer.status_code, (200, 302, 400, 404, 422))
                    transaction.set_rollback(True)

    def test_settings_at_their_ends(self):
        """Whatever the lab may set, its pages still open."""
        found = next(found for found in self.posting if found.view == "accounts:lab")
        stands = found.form.as_it_stands()
        numbers = [name for name, (value, *_) in stands.items() if value.isdigit()]
        self.assertGreaterEqual(len(numbers), 5)
        ends = [{name: [value]} for name in numbers for value in ("0", "1", "168", "720", "32767", "9" * 19)]
        ends += [{"opens_at": ["00:00"], "closes_at": ["00:01"]}, {"opens_at": ["23:58"], "closes_at": ["23:59"]}]
        for end in ends:
            with transaction.atomic():
                answer = self.walk.send(found, stands | end, str(end))
                for path in ("/receiving/new/", "/lab/", "/approvals/") if answer and answer.status_code == 302 else ():
                    if self.walk.get("mara", path) is None:
                        self.walk.faults[-1] += f" <- {end}"
                transaction.set_rollback(True)
        self.no_faults()

    def test_a_clock_that_is_wrong(self):
        """Moments in the future, in another century, before the step before: a sentence, and nothing is done."""
        for found in self.posting:
            for name in [name for name in found.form.names if found.form.of(name)[0].kind == "datetime-local"]:
                for moment in (TODAY + timedelta(minutes=9), TODAY + timedelta(days=900), TODAY.replace(year=1999)):
                    sent = well_filled(found.form) | {name: [f"{moment:%Y-%m-%dT%H:%M}"]}
                    with self.subTest(str(found), field=name, moment=moment), transaction.atomic():
                        answer = self.walk.client(found.who, anew=True).post(found.form.action, sent)
                        self.assertIn(answer.status_code, (200, 422))
                        self.assertTrue(Page(answer.content.decode()).told)
                        transaction.set_rollback(True)

    def test_what_a_field_says_it_takes_the_database_holds(self):
        """Texts as long as a form lets through, in letters of four bytes."""
        tried = 0
        for found in self.posting:
            good = well_filled(found.form)
            for control in found.form.controls:
                if control.is_typed and control.longest:
                    tried += 1
                    sent = good | {control.name: ["\U0001f9f5" * control.longest]}
                    self.walk.spoil(found, sent, f"{control.name} as long as it may be", control.name)
        self.no_faults()
        self.assertGreater(tried, 60)

    def test_the_same_form_sent_twice(self):
        """The same key and content: the old answer, nothing written anew. With other content, or by somebody else: a
        sentence, and nothing written either."""
        twice = 0
        for found in [found for found in self.posting if found.form.of("key")]:
            good = well_filled(found.form)
            with self.subTest(str(found)), transaction.atomic():
                before = TrailEntry.objects.count()
                first = self.walk.repeat(found, good)
                if first is not None and first.status_code == 302 and TrailEntry.objects.count() > before:
                    twice += 1
                    self.assertEqual(self.walk.repeat(found, good, again=True).status_code, 302)
                    typed = [name for name in found.form.names if found.form.of(name)[0].is_typed]
                    for name in [name for name in typed if good[name][0] in WORDS.values()][:1]:
                        self.walk.repeat(found, good | {name: ["something else"]}, again=True)
                transaction.set_rollback(True)
        self.no_faults()
        self.assertGreater(twice, 25)
