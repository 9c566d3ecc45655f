"""/healthz: for the machine that watches."""

from unittest import mock

from django.test import TestCase

from apps.trail import guarding


class HealthTests(TestCase):
    def test_says_that_database_and_guards_stand(self):
        response = self.client.get("/healthz")
        self.assertEqual((response.status_code, response.json()), (200, {"database": "ok", "guards": "ok"}))

    def test_says_when_a_guard_is_missing(self):
        with mock.patch.object(guarding, "installed_triggers", return_value=set()):
            response = self.client.get("/healthz")
        self.assertEqual((response.status_code, response.json()["guards"]), (503, "missing"))

    def test_refuses_writes(self):
        self.assertEqual(self.client.post("/healthz").status_code, 405)
