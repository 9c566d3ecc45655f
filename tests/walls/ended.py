"""Who may no longer, and whose session ended: in the middle of the work, at every address."""

from datetime import timedelta

from django.conf import settings
from django.test import Client

from apps.accounts import services as accounts
from apps.accounts.models import User
from apps.trail.models import TrailEntry
from tests.walls.house import STAFF, TODAY, addresses


class Ended:
    def check_outside(self, client: Client, who: str) -> int:
        """Every page of this person's is shut, and every act undone."""
        before, asked = TrailEntry.objects.count(), 0
        roles = User.objects.get(username=who).roles
        session = client.cookies[settings.SESSION_COOKIE_NAME].value
        for address in addresses(1):
            if address.by_token or address.roles is None or not address.roles & roles:
                continue
            for send in (client.get, client.post):
                client.cookies[settings.SESSION_COOKIE_NAME] = session
                answer = send(address.path, headers={"HX-Request": "true"} if send == client.post else {})
                if answer.status_code != 405:
                    asked += 1
                    with self.subTest(who, path=address.path):
                        self.assertEqual(answer.status_code, 302)
                        self.assertTrue(answer.url.startswith("/sign-in/"), answer.url)
        self.assertEqual(TrailEntry.objects.count(), before)
        return asked

    def signed_in(self, who: str) -> Client:
        client = Client()
        client.force_login(User.objects.get(username=who))
        self.assertEqual(client.get("/password/").status_code, 200)
        return client

    def test_who_may_no_longer_sign_in_is_out_at_once(self):
        asked = 0
        for who in (*STAFF, "casey"):
            client, person = self.signed_in(who), User.objects.get(username=who)
            _, text = accounts.make_token(name="a walk", ends_on=TODAY.date() + timedelta(days=1), by=person, at=TODAY)
            bearer = {"authorization": f"Bearer {text}"}
            self.assertEqual(client.get("/api/1/me", headers=bearer).status_code, 200)
            User.objects.filter(pk=person.pk).update(is_active=False)
            asked += self.check_outside(client, who)
            self.assertEqual(client.get("/api/1/me", headers=bearer).status_code, 401)
        self.assertGreater(asked, 250)

    def test_an_ended_session_does_nothing(self):
        """The cookie is still there, the row behind it is not."""
        asked = 0
        for who in ("mara", "casey"):
            client = self.signed_in(who)
            client.session.flush()
            asked += self.check_outside(client, who)
        self.assertGreater(asked, 100)

    def test_who_has_a_role_no_longer_may_no_longer(self):
        for who, role, path in (("fran", "front_desk", "/receiving/new/"), ("lou", "laundry", "/laundry/loads/")):
            client = self.signed_in(who)
            self.assertNotEqual(client.get(path).status_code, 403)
            User.objects.filter(username=who).update(**{role: False, "bench": True})
            self.assertEqual(client.get(path).status_code, 403)
            self.assertEqual(client.post(path).status_code, 403)
