"""Who comes in: a token and nothing else, and every answer is JSON."""

from datetime import timedelta
from unittest import mock

from django.core.cache import cache

from apps.accounts import services as accounts
from apps.accounts.models import Token, User
from apps.core import clock
from tests.accounts.bad import BAD
from tests.api.support import ApiTestCase
from tests.cast import NOON


class DoorTests(ApiTestCase):
    def with_header(self, header: str, address: str = "/api/1/me"):
        return self.client.get(address, headers={"authorization": header})

    def test_whose_token_it_is(self):
        self.assertEqual(
            self.told(self.casey, "me"),
            {
                "person": "Casey Quellbach",
                "roles": ["customer"],
                "customer": "Quellbach Hemden",
                "token": {"name": Token.objects.get().name, "ends_on": "2026-03-03"},
            },
        )
        self.assertEqual(Token.objects.get().last_used_on, NOON.date())

    def test_without_a_token(self):
        response = self.client.get("/api/1/me")
        self.refused(response, 401, "token", "Authorization")
        self.assertEqual(response["WWW-Authenticate"], 'Bearer realm="Fulling Room"')

    def test_garbage_is_no_token(self):
        for bad in (*(text for text in BAD if text.strip() and text.isascii()), "x" * 100_000, "fulling_" + "a" * 43):
            for header in (f"Bearer {bad}", bad, f"Basic {bad}"):
                with self.subTest(header=header[:20]):
                    self.refused(self.with_header(header), 401, "token", "Authorization")
        self.assertIn("invalid_token", self.with_header("Bearer wrong")["WWW-Authenticate"])

    def test_the_scheme_is_bearer_however_written(self):
        text = self.token(self.bea)
        for scheme in ("Bearer", "bearer", "BEARER"):
            self.assertEqual(self.with_header(f"{scheme} {text}").status_code, 200)
        self.refused(self.with_header(f"Basic {text}"), 401, "token", "Authorization")
        self.refused(self.with_header(text), 401, "token", "Authorization")

    def test_an_ended_token_is_dead(self):
        text = self.token(self.bea)
        accounts.end_token(token_id=Token.objects.get().pk, by=self.mara, at=NOON)
        self.refused(self.with_header(f"Bearer {text}"), 401, "token", "Authorization")

    def test_a_token_past_its_last_day_is_dead(self):
        text = self.token(self.bea)
        with clock.set_to(NOON + timedelta(days=2)):
            self.refused(self.with_header(f"Bearer {text}"), 401, "token", "Authorization")

    def test_who_may_not_sign_in_sends_no_program_either(self):
        text = self.token(self.bea)
        User.objects.filter(pk=self.bea.pk).update(is_active=False)
        self.refused(self.with_header(f"Bearer {text}"), 401, "token", "Authorization")

    def test_rights_go_with_the_roles(self):
        self.assertEqual(self.ask(self.bea, "specimens/26-00001A-A1A").status_code, 404)
        User.objects.filter(pk=self.bea.pk).update(bench=False)
        for address in ("me", "jobs", "specimens/26-00001A-A1A"):
            self.refused(self.ask(self.bea, address), 403, "right")

    def test_a_customer_reads_and_no_more(self):
        self.refused(self.ask(self.casey, "specimens/26-00001A-A1A"), 403, "right")
        self.refused(self.readings(self.casey, {}), 403, "right")

    def test_no_cookie_is_asked_for_or_set(self):
        response = self.ask(self.bea, "me")
        self.assertEqual(dict(response.cookies), {})
        self.assertNotIn("Cookie", response.get("Vary", ""))

    def test_other_verbs(self):
        for verb in ("post", "put", "patch", "delete", "options", "trace"):
            response = getattr(self.client, verb)("/api/1/jobs")
            with self.subTest(verb=verb):
                self.refused(response, 405, "method")
                self.assertEqual(response["Allow"], "GET, HEAD")
        response = self.client.get("/api/1/readings")
        self.refused(response, 405, "method")
        self.assertEqual(response["Allow"], "POST")
        self.refused(self.client.post("/api/1/openapi.json"), 405, "method")

    def test_an_unknown_address_is_answered_in_json(self):
        for address in ("2/jobs", "1/", "1/jobs/", "1/nothing", "1/jobs/%00", "1/jobs/a%0Ab", "%0A", "1/jobs/a/b"):
            with self.subTest(address=address):
                self.refused(self.client.get(f"/api/{address}"), 404, "not_found")
        self.refused(self.client.post("/api/1/nothing"), 404, "not_found")

    def test_a_program_that_runs_wild_is_braked(self):
        cache.clear()
        with mock.patch("apps.api.views.door.MOST_A_MINUTE", 2):
            self.told(self.bea, "me")
            self.told(self.bea, "me")
            response = self.ask(self.bea, "me")
            self.refused(response, 429, "too_often")
            self.assertEqual(response["Retry-After"], "60")
            self.told(self.mara, "me")
            with clock.set_to(NOON + timedelta(minutes=1)):
                self.told(self.bea, "me")
