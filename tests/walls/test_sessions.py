"""The door: coming in, going out, and what ends an open session."""

from unittest import mock

from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client

from apps.accounts import services as accounts
from apps.accounts.models import User
from tests.cast import NOON, PASSWORD, LabTestCase, a_received_job

ELSEWHERE = (
    "https://evil.example/",
    "//evil.example",
    "///evil.example",
    "/\\evil.example",
    "\\\\evil.example",
    "http:evil.example",
    "https:///evil.example",
    "javascript:alert(1)",
    "data:text/html,x",
    " //evil.example",
    "\t//evil.example",
    "/\t/evil.example",
    "http://testserver@evil.example/",
    "http://testserver.evil.example/",
    "ftp://testserver/",
)
NO_ADDRESS = ("x", "front:home", "1", "٣", "*", "a b", "%00", "\0", "_")


class DoorTests(LabTestCase):
    def come_in(self, username="mara", password=PASSWORD, **more):
        return self.client.post("/sign-in/", {"username": username, "password": password, **more})

    def is_in(self, client=None) -> bool:
        return (client or self.client).get("/password/").status_code == 200

    def test_the_session_is_a_new_one_after_signing_in(self):
        """Whoever planted a session before does not share the one after."""
        self.client.get("/sign-in/")
        session = self.client.session
        session["planted"] = "yes"
        session.save()
        before = session.session_key
        self.client.cookies[settings.SESSION_COOKIE_NAME] = before
        token = self.client.get("/sign-in/").cookies["csrftoken"].value
        self.come_in()
        self.assertTrue(self.is_in())
        self.assertNotEqual(self.client.session.session_key, before)
        self.assertFalse(Session.objects.filter(pk=before).exists())
        self.assertNotEqual(self.client.cookies["csrftoken"].value, token)

    def test_the_session_s_cookie(self):
        self.come_in()
        cookie = self.client.cookies[settings.SESSION_COOKIE_NAME]
        self.assertEqual((cookie["httponly"], cookie["samesite"], cookie["path"]), (True, "Lax", "/"))

    def test_another_person_s_session_is_not_taken_over(self):
        """Fran's open session is gone once Mara signs in at the same browser; nothing of Fran's is carried on."""
        self.client.force_login(self.fran)
        session = self.client.session
        session["of"] = "fran"
        session.save()
        self.client.logout()
        self.come_in()
        self.assertNotIn("of", self.client.session)

    def test_signing_out_ends_it_on_the_server(self):
        self.come_in()
        kept = Client()
        kept.cookies[settings.SESSION_COOKIE_NAME] = self.client.session.session_key
        self.assertTrue(self.is_in(kept))
        answer = self.client.post("/sign-out/")
        self.assertEqual(answer["Clear-Site-Data"], '"cache"')
        self.assertFalse(self.is_in(kept))
        self.assertEqual(self.client.get("/sign-out/").status_code, 405)

    def test_who_is_deactivated_is_out_at_once(self):
        self.client.force_login(self.bea)
        self.assertTrue(self.is_in())
        roles = {"roles": self.bea.roles, "customer": None}
        who = {"full_name": "Bea Bench", "email": "", "by": self.mara, "at": NOON}
        accounts.change_person(person_id=self.bea.pk, is_active=False, **roles, **who)
        self.assertFalse(self.is_in())
        self.assertEqual(self.client.post("/samples/26-00001A/readings/enter/").status_code, 302)
        self.assertContains(self.come_in("bea"), "do not go together")

    def test_a_role_taken_away_is_gone_at_once(self):
        self.client.force_login(self.lou)
        self.assertEqual(self.client.post("/laundry/loads/").status_code, 422)
        User.objects.filter(pk=self.lou.pk).update(laundry=False, bench=True)
        self.assertEqual(self.client.post("/laundry/loads/").status_code, 403)

    def test_a_password_changed_elsewhere_ends_the_others(self):
        here, there = Client(), Client()
        for client in (here, there):
            client.force_login(self.bea)
        new = {"old": PASSWORD, "password": "quite-another-word", "again": "quite-another-word"}
        self.assertEqual(here.post("/password/", new).status_code, 302)
        self.assertTrue(self.is_in(here))
        self.assertFalse(self.is_in(there))
        accounts.set_password(person_id=self.bea.pk, password="given-by-the-manager", by=self.mara, at=NOON)
        self.assertFalse(self.is_in(here))

    def test_nothing_tells_who_is_known_here(self):
        """A wrong password, a name that nobody has and a deactivated person get one and the same answer."""
        User.objects.filter(pk=self.lou.pk).update(is_active=False)
        told = set()
        for username, password in (("mara", "wrong"), ("nobody", "wrong"), ("lou", PASSWORD)):
            answer = self.come_in(username, password)
            self.assertEqual(answer.status_code, 200)
            told.add(answer.content.decode().split("<form")[1].replace(username, "").split("csrfmiddlewaretoken")[0])
            self.assertContains(answer, "do not go together")
        self.assertEqual(len(told), 1)

    def test_the_way_on_stays_in_the_house(self):
        for next_page in (*ELSEWHERE, *NO_ADDRESS):
            for how in ("form", "address", "signed in"):
                with self.subTest(next_page, how=how):
                    self.client.logout()
                    if how == "form":
                        answer = self.come_in(next=next_page)
                    elif how == "address":
                        query = {"next": next_page}
                        answer = self.client.post(
                            "/sign-in/", {"username": "mara", "password": PASSWORD}, query_params=query
                        )
                    else:
                        self.client.force_login(self.mara)
                        answer = self.client.get("/sign-in/", {"next": next_page})
                    self.assertEqual(answer.status_code, 302)
                    self.assertNotIn("evil", answer.url)
                    self.assertNotRegex(answer.url, r"^(\w+:|[/\\]{2})")
        self.assertEqual(self.come_in(next="/laundry/?page=2").url, "/laundry/?page=2")

    def test_the_way_on_after_an_answer_stays_in_the_house(self):
        from apps.intake import services as intake

        request = a_received_job(self).samples.get().requests.get()
        self.client.force_login(self.mara)
        for next_page in (*ELSEWHERE[:6], *NO_ADDRESS):
            row = intake.send_back(request_id=request.pk, to="front_desk", reason="why", by=self.mara, at=NOON)
            answer = self.client.post(f"/send-backs/{row.pk}/answer/", {"answer": "so", "next": next_page})
            with self.subTest(next_page):
                self.assertEqual(answer.status_code, 302)
                self.assertNotIn("evil", answer.url)

    def test_back_from_the_door_to_the_page_that_was_asked_for(self):
        """A form sent after the session ended leads back to its page, and only to one of this house."""
        answer = self.client.post("/lab/", {}, headers={"referer": "http://testserver/lab/?x=1"})
        self.assertEqual(answer.url, "/sign-in/?next=/lab/%3Fx%3D1")
        for referer in ("http://evil.example/lab/", "//evil.example", "http://[", "javascript:alert(1)"):
            answer = self.client.post("/lab/", {}, headers={"referer": referer})
            self.assertEqual(answer.url, "/sign-in/?next=/")

    def test_a_cookie_that_was_tampered_with_is_nobody(self):
        for value in ("x" * 5000, "'; --", "../../etc", "\xe4\x80", "a" * 32):
            self.client.cookies[settings.SESSION_COOKIE_NAME] = value
            self.client.cookies["messages"] = value
            with self.subTest(value[:20]):
                self.assertEqual(self.client.get("/").status_code, 302)
                self.assertEqual(self.client.get("/sign-in/").status_code, 200)

    def test_a_refused_host(self):
        for host in ("evil.example", "testserver.evil.example", "testserver:80@evil.example", "a b", ""):
            with self.subTest(host), mock.patch("logging.Logger.error"):
                answer = self.client.get("/sign-in/", headers={"host": host})
                self.assertEqual(answer.status_code, 400)
                self.assertNotIn("evil", answer.content.decode())
