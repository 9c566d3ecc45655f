from django.test import override_settings

from apps.accounts.models import User
from apps.trail.models import TrailEntry
from tests.accounts.bad import BAD
from tests.cast import NOON, PASSWORD, LabTestCase


class SignInTests(LabTestCase):
    url = "/sign-in/"

    def come_in(self, username="fran", password=PASSWORD, **more):
        return self.client.post(self.url, {"username": username, "password": password, **more})

    def test_it_works(self):
        response = self.come_in()
        self.assertRedirects(response, "/", fetch_redirect_response=False)
        self.assertEqual(int(self.client.session["_auth_user_id"]), self.fran.pk)
        entry = TrailEntry.objects.get(stream=f"user:{self.fran.pk}")
        self.assertEqual((entry.kind, entry.actor_name, entry.at), ("sign_in.done", "Fran Frontdesk", NOON))

    def test_it_leads_back_to_where_one_was_going(self):
        self.assertContains(self.client.get(self.url + "?next=/password/"), 'name="next" value="/password/"')
        self.assertRedirects(self.come_in(next="/password/"), "/password/")

    def test_it_leads_nowhere_else(self):
        for wanted in ("https://example.com/", "//example.com/", "javascript:alert(1)", "\0", "/\\example.com"):
            with self.subTest(wanted=wanted):
                self.client.logout()
                self.assertRedirects(self.come_in(next=wanted), "/", fetch_redirect_response=False)

    def test_who_is_in_already_goes_on(self):
        self.sign_in(self.mara)
        self.assertRedirects(self.client.get(self.url + "?next=/people/"), "/people/")

    def test_a_wrong_password(self):
        response = self.come_in(password="something else")
        self.assertContains(response, "do not go together")
        self.assertContains(response, 'value="fran"')
        self.assertNotContains(response, "something else")
        self.assertNotIn("_auth_user_id", self.client.session)
        entry = TrailEntry.objects.get(stream="sign-in")
        self.assertEqual((entry.kind, entry.facts), ("sign_in.failed", {"username": "fran", "known": True}))
        self.assertIsNone(entry.actor_id)

    def test_a_name_that_nobody_has_is_not_kept(self):
        self.come_in(username="my-secret-phrase")
        self.assertEqual(TrailEntry.objects.get().facts, {"username": "", "known": False})

    def test_who_may_not_sign_in_does_not(self):
        User.objects.filter(pk=self.fran.pk).update(is_active=False)
        self.assertContains(self.come_in(), "do not go together")

    def test_bad_input(self):
        for text in BAD:
            for data in ({"username": text, "password": text}, {"username": text}, {"password": text}, {}):
                with self.subTest(text=text[:12], fields=sorted(data)):
                    response = self.client.post(self.url, data)
                    self.assertContains(response, "Not signed in")
                    self.assertNotContains(response, "<script>alert")

    @override_settings(LOGIN_REDIRECT_URL="nowhere:yet")
    def test_without_a_first_page_it_ends_at_the_password(self):
        self.assertRedirects(self.come_in(), "/password/")

    def test_it_is_never_kept_in_a_cache(self):
        self.assertIn("no-store", self.client.get(self.url).headers["Cache-Control"])

    def test_a_page_for_the_lab_asks_for_sign_in_first(self):
        self.assertRedirects(self.client.get("/people/?page=2"), "/sign-in/?next=/people/%3Fpage%3D2")


class SignOutTests(LabTestCase):
    def test_it_works(self):
        self.sign_in(self.lou)
        self.assertRedirects(self.client.post("/sign-out/"), "/sign-in/")
        self.assertNotIn("_auth_user_id", self.client.session)

    def test_a_link_does_not_sign_out(self):
        self.sign_in(self.lou)
        self.assertEqual(self.client.get("/sign-out/").status_code, 405)
        self.assertIn("_auth_user_id", self.client.session)


class PasswordTests(LabTestCase):
    url = "/password/"
    chosen = "twelve threads a side"

    def change(self, old=PASSWORD, password=chosen, again=None):
        return self.client.post(self.url, {"old": old, "password": password, "again": again or password})

    def test_everybody_may(self):
        for person in (self.fran, self.bea, self.lou, self.mara, self.casey):
            self.sign_in(person)
            self.assertContains(self.client.get(self.url), person.username)

    def test_it_works_and_one_stays_signed_in(self):
        self.sign_in(self.bea)
        self.assertRedirects(self.change(), self.url)
        self.bea.refresh_from_db()
        self.assertTrue(self.bea.check_password(self.chosen))
        entry = TrailEntry.objects.get(stream=f"user:{self.bea.pk}")
        self.assertEqual((entry.kind, entry.facts, entry.actor_id), ("password.set", {"own": True}, self.bea.pk))

    def test_it_refuses(self):
        self.sign_in(self.bea)
        for how, sentence in [
            ({"old": "not this"}, "This is not your password until now."),
            ({"again": "thirteen threads a side"}, "The two are not the same."),
            ({"password": "short"}, "too short"),
            ({"password": "1234567890123"}, "entirely numeric"),
            ({"password": "bea@example.com"}, "too similar"),
        ]:
            with self.subTest(how=how):
                response = self.change(**how)
                self.assertContains(response, sentence)
                self.assertContains(response, "To correct:")
        self.bea.refresh_from_db()
        self.assertTrue(self.bea.check_password(PASSWORD))
        self.assertFalse(TrailEntry.objects.exists())

    def test_bad_input(self):
        self.sign_in(self.bea)
        for text in BAD:
            with self.subTest(text=text[:12]):
                self.assertEqual(self.change(old=text, password=text).status_code, 200)
        self.assertEqual(self.client.post(self.url).status_code, 200)
