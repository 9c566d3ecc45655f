"""Too many wrong passwords: the name waits, from this address, and nobody else does."""

from datetime import timedelta

from axes.models import AccessAttempt
from django.test import RequestFactory, override_settings
from django.utils import timezone

from apps.accounts import services
from apps.core.addresses import client_address
from tests.cast import NOON, PASSWORD, LabTestCase

TOO_MANY = "Too many wrong passwords. Wait a quarter of an hour"


class LockOutTests(LabTestCase):
    def come_in(self, username="fran", password="wrong one", address="203.0.113.5"):
        return self.client.post("/sign-in/", {"username": username, "password": password}, REMOTE_ADDR=address)

    def lock(self, username="fran"):
        for _ in range(9):
            self.assertContains(self.come_in(username), "do not go together")
        return self.come_in(username)

    def test_after_ten_the_right_one_does_not_help_either(self):
        self.assertContains(self.lock(), TOO_MANY, status_code=429)
        answer = self.come_in(password=PASSWORD)
        self.assertContains(answer, TOO_MANY, status_code=429)
        self.assertContains(answer, 'value="fran"', status_code=429)
        self.assertNotContains(answer, PASSWORD, status_code=429)
        self.assertNotIn("_auth_user_id", self.client.session)

    def test_a_name_that_nobody_has_is_answered_alike(self):
        self.assertContains(self.lock("nobody"), TOO_MANY, status_code=429)

    def test_others_and_elsewhere_come_in(self):
        self.lock()
        self.assertEqual(self.come_in("bea", PASSWORD).status_code, 302)
        self.client.logout()
        self.assertEqual(self.come_in(password=PASSWORD, address="203.0.113.6").status_code, 302)

    def test_a_right_one_clears_the_count(self):
        for _ in range(9):
            self.come_in()
        self.assertEqual(self.come_in(password=PASSWORD).status_code, 302)
        self.client.logout()
        self.assertContains(self.come_in(), "do not go together")

    def test_a_quarter_of_an_hour_later(self):
        self.lock()
        AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(minutes=15, seconds=1))
        self.assertEqual(self.come_in(password=PASSWORD).status_code, 302)

    def test_a_new_password_lets_in_at_once(self):
        self.lock()
        services.set_password(person_id=self.fran.pk, password="seven-sheep-in-a-row", by=self.mara, at=NOON)
        self.assertEqual(self.come_in(password="seven-sheep-in-a-row").status_code, 302)


class AddressTests(LabTestCase):
    def seen(self, proxies: int, remote: str, forwarded: str | None = None) -> str | None:
        headers = {} if forwarded is None else {"HTTP_X_FORWARDED_FOR": forwarded}
        with override_settings(PROXIES=proxies):
            return client_address(RequestFactory().get("/", REMOTE_ADDR=remote, **headers))

    def test_what_the_caller_makes_up_is_not_believed(self):
        for proxies, forwarded, seen in (
            (0, "198.51.100.1", "192.0.2.1"),
            (1, "198.51.100.1", "198.51.100.1"),
            (1, "10.0.0.1, 198.51.100.1", "198.51.100.1"),
            (2, "10.0.0.1, 198.51.100.1, 192.0.2.9", "198.51.100.1"),
            (2, "198.51.100.1", "192.0.2.1"),
            (1, "2001:db8::1", "2001:db8::1"),
            (1, "rubbish", None),
            (1, None, "192.0.2.1"),
        ):
            with self.subTest(proxies=proxies, forwarded=forwarded):
                self.assertEqual(self.seen(proxies, "192.0.2.1", forwarded), seen)
        self.assertIsNone(self.seen(0, ""))
