"""What every answer carries, whatever happened; and what an answer never tells."""

import json
from pathlib import Path
from unittest import mock

from django.http import HttpResponse
from django.test import Client, override_settings

from apps.reporting.models import Report
from tests.walls.house import STAFF, addresses
from tests.walls.page import Page
from tests.walls.walker import is_page

POLICY = {
    "default-src 'self'",
    "img-src 'self' data:",
    "object-src 'none'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
    "form-action 'self'",
}
ROOT = Path(__file__).resolve().parent.parent.parent


class Headers:
    def check(self, answer: HttpResponse, what: str) -> None:
        with self.subTest(what, status=answer.status_code):
            self.assertEqual(set(answer["Content-Security-Policy"].split("; ")), POLICY)
            self.assertEqual(answer["X-Content-Type-Options"], "nosniff")
            self.assertEqual(answer["X-Frame-Options"], "DENY")
            self.assertEqual(answer["Referrer-Policy"], "same-origin")
            self.assertEqual(answer["Cross-Origin-Opener-Policy"], "same-origin")
            said = {part.strip() for part in answer["Cache-Control"].split(",")}
            self.assertTrue(said & {"no-cache", "no-store"}, said)
            if answer["Content-Type"] != "text/javascript; charset=utf-8":
                self.assertIn("private", said)

    def test_every_page_and_file_of_everybody(self):
        statuses, inline = set(), []
        for who in (*STAFF, "casey", None):
            self.client.logout()
            if who:
                self.sign_in(who)
            for address in addresses(3 if who == "mara" else 1):
                answer = self.client.get(address.path)
                statuses.add(answer.status_code)
                self.check(answer, f"{who} at {address.path}")
                if is_page(answer):
                    inline += Page(answer.content.decode()).unwelcome
        self.assertEqual(inline, [])
        self.assertEqual(statuses, {200, 302, 401, 403, 404, 405, 422})

    def broken(self) -> HttpResponse:
        fault = RuntimeError(f"{ROOT} password=demo")
        with mock.patch("apps.accounts.views.queries.people", side_effect=fault), mock.patch("logging.Logger.error"):
            return self.client.get("/people/")

    def test_errors_too(self):
        self.sign_in("mara")
        self.client.raise_request_exception = False
        self.check(self.client.get("/none-such/"), "no such page")
        self.check(Client(enforce_csrf_checks=True).post("/sign-in/"), "no token")
        self.check(self.client.post("/lab/", b"x", content_type="multipart/form-data"), "no form")
        broken = self.broken()
        self.assertEqual(broken.status_code, 500)
        self.check(broken, "broken")
        with mock.patch("logging.Logger.error"):
            answer = self.client.get("/", headers={"host": "evil.example"})
        self.assertEqual(answer.status_code, 400)
        self.assertIn("Content-Security-Policy", answer)

    def test_an_error_tells_nothing_of_the_inside(self):
        self.sign_in("mara")
        self.client.raise_request_exception = False
        answers = [self.broken(), self.client.get("/none-such/"), Client(enforce_csrf_checks=True).post("/lab/")]
        answers += [self.client.get("/people/none-such/"), self.client.get("/jobs/26-99999X/")]
        for answer in answers:
            text = answer.content.decode()
            for inside in (str(ROOT), "Traceback", "RuntimeError", "password=", "site-packages", "urlpatterns", ".py"):
                self.assertNotIn(inside, text)
            self.assertIn("<h1>", text)
            self.assertEqual(Page(text).unwelcome, [])

    @override_settings(SECURE_SSL_REDIRECT=True)
    def test_a_refused_host_has_a_policy_over_https_too(self):
        with mock.patch("logging.Logger.error"):
            answer = self.client.get("/", headers={"host": "evil.example"})
        self.assertEqual(answer.status_code, 400)
        self.assertIn("Content-Security-Policy", answer)

    def test_files_are_files(self):
        """A download is never shown as a page, and its name is one."""
        self.sign_in("casey")
        reports = [
            report for report in Report.objects.all() if self.client.get(f"/reports/{report}/").status_code == 200
        ]
        self.assertGreaterEqual(len(reports), 2)
        for report in reports:
            for end, kind in ((".pdf", "application/pdf"), (".csv", "text/csv; charset=utf-8")):
                answer = self.client.get(f"/reports/{report}{end}")
                self.assertEqual(answer["Content-Type"], kind)
                self.assertEqual(answer["Content-Disposition"], f'attachment; filename="{report}{end}"')
                self.check(answer, end)

    def test_the_watch_is_told_this_and_no_more(self):
        for who in (None, "mara"):
            if who:
                self.sign_in(who)
            answer = self.client.get("/healthz", {"verbose": "1", "format": "full"})
            self.assertEqual(json.loads(answer.content), {"database": "ok", "guards": "ok"})
            self.assertEqual(set(answer.cookies), set())
        self.assertEqual(self.client.post("/healthz").status_code, 405)
