"""What stands around every page: the rooms by role, the scan field, and the pages of refusal."""

from django.core.exceptions import SuspiciousOperation
from django.template.loader import render_to_string
from django.test import Client, RequestFactory, override_settings
from django.urls import path
from django.views.defaults import bad_request

from apps.accounts.context import ROOMS, rooms
from apps.accounts.gates import open_to_all
from apps.accounts.models import Lab, Role
from labsite.urls import urlpatterns as the_labs
from tests.cast import LabTestCase


@open_to_all
def broken(request):
    raise RuntimeError("a bearing has gone")


@open_to_all
def suspicious(request):
    raise SuspiciousOperation("what is this")


urlpatterns = [path("broken/", broken), path("suspicious/", suspicious), *the_labs]


class RoomsTests(LabTestCase):
    def labels(self, *roles: Role) -> list[str]:
        return [label for label, _, _ in rooms(RequestFactory().get("/people/new/"), frozenset(roles))]

    def test_each_sees_the_own_rooms(self):
        self.assertLessEqual({"Customers", "People", "Lab"}, set(self.labels(Role.MANAGER)))
        self.assertNotIn("People", self.labels(Role.FRONT_DESK, Role.BENCH, Role.LAUNDRY))
        self.assertNotIn("Customers", self.labels(Role.CUSTOMER))
        self.assertEqual(self.labels(), [])

    def test_a_room_of_two_roles_is_named_once(self):
        self.assertEqual(self.labels(Role.FRONT_DESK, Role.MANAGER).count("Customers"), 1)

    def test_the_room_one_is_in_is_marked(self):
        here = [label for label, _, here in rooms(RequestFactory().get("/people/new/"), frozenset(Role)) if here]
        self.assertEqual(here, ["People"])

    def test_a_room_that_is_not_built_is_left_out(self):
        try:
            ROOMS.append(({Role.BENCH}, "Loft", "loft:door"))
            self.assertNotIn("Loft", self.labels(Role.BENCH))
        finally:
            ROOMS.pop()


class PageTests(LabTestCase):
    def test_the_scan_field_is_for_the_lab(self):
        for name, shown in (("fran", True), ("bea", True), ("casey", False), (None, False)):
            self.sign_in(getattr(self, name) if name else None)
            with self.subTest(name=name):
                page = self.client.get("/password/" if name else "/sign-in/")
                self.assertEqual(b'class="scan"' in page.content, shown)

    def test_sign_out_is_a_post_with_a_token(self):
        self.sign_in(self.fran)
        page = self.client.get("/password/")
        self.assertContains(page, '<form method="post" action="/sign-out/"><input type="hidden" name="csrfmiddleware')
        self.assertContains(page, "hx-headers=")
        self.client.logout()
        self.assertNotContains(self.client.get("/sign-in/"), "hx-headers=")

    def test_invented_data_say_so(self):
        self.assertNotContains(self.client.get("/sign-in/"), "Invented data.")
        Lab.objects.update(is_demo=True, name="Lab <of> ours")
        page = self.client.get("/sign-in/")
        self.assertContains(page, "Invented data.")
        self.assertContains(page, "Lab &lt;of&gt; ours")

    def test_nothing_inline_that_the_policy_refuses(self):
        self.sign_in(self.mara)
        for address in ("/people/", "/people/new/", "/lab/", "/customers/", "/nowhere/"):
            text = self.client.get(address).content.decode()
            with self.subTest(address=address):
                self.assertNotRegex(text, r"\sstyle=|<style|\son[a-z]+=|<script>|javascript:")
                self.assertIn('"includeIndicatorStyles": false', text)
                self.assertIn("lang=", text)

    def test_a_message_is_in_the_live_region(self):
        self.sign_in(self.mara)
        page = self.client.post("/customers/new/", {"name": "Viertsaum"}, follow=True)
        self.assertRegex(page.content.decode(), r'(?s)role="status" aria-live="polite".*Viertsaum is in the book')

    def test_a_message_can_be_swapped_in_alone(self):
        self.assertIn('hx-swap-oob="true"', render_to_string("parts/messages.html", {"oob": True}))


@override_settings(ROOT_URLCONF="tests.core.test_ground")
class RefusalPageTests(LabTestCase):
    def test_not_found(self):
        for person in (None, self.fran, self.casey):
            self.sign_in(person)
            self.assertContains(self.client.get("/nowhere/"), "Nothing under this address", status_code=404)

    def test_a_missing_right(self):
        self.sign_in(self.casey)
        page = self.client.get("/people/")
        self.assertContains(page, "Your roles do not cover this page", status_code=403)
        self.assertContains(page, "Casey Quellbach", status_code=403)

    def test_a_page_open_too_long(self):
        client = Client(enforce_csrf_checks=True)
        client.force_login(self.fran)
        self.assertContains(client.post("/password/"), "This page was open too long", status_code=403)

    def test_a_request_that_cannot_be_read(self):
        self.assertContains(self.client.get("/suspicious/"), "could not be read", status_code=400)
        self.assertContains(bad_request(RequestFactory().get("/"), ValueError()), "could not be read", status_code=400)

    def test_a_fault_of_ours(self):
        self.client.raise_request_exception = False
        with self.assertLogs("django.request", "ERROR"):
            page = self.client.get("/broken/")
        self.assertContains(page, "Something broke on our side", status_code=500)
        self.assertNotContains(page, "bearing", status_code=500)


class PartTests(LabTestCase):
    def test_steps_are_told_in_words_too(self):
        steps = [{"word": "Received", "state": "done"}, {"word": "Washed", "state": "now", "note": "cycle 2 of 3"}]
        html = render_to_string("parts/steps.html", {"steps": [*steps, {"word": "Reported", "state": "todo"}]})
        for words in ("(done)", "(under way)", "(to come)", "cycle 2 of 3", 'aria-current="step"'):
            self.assertIn(words, html)

    def test_a_caution(self):
        html = render_to_string("parts/caution.html", {"points": ["Hot <drum>", "Wet floor"]})
        self.assertIn("Caution", html)
        self.assertIn("<li>Hot &lt;drum&gt;</li>", html)

    def test_nothing_here_yet(self):
        html = render_to_string(
            "parts/empty.html", {"title": "No jobs", "href": "/x/", "label": "Log one", "next": True}
        )
        self.assertIn('<a class="button button--next" href="/x/">Log one</a>', html)
        self.assertNotIn("<a", render_to_string("parts/empty.html", {"title": "No jobs"}))

    def test_a_timeline(self):
        entries = [{"at": None, "who": "Lou <Laundry>", "text": "Cycle 1", "note": "load 14"}]
        html = render_to_string("parts/timeline.html", {"entries": entries})
        self.assertIn("Lou &lt;Laundry&gt;", html)
        self.assertIn("load 14", html)
