"""A link by letter: for who is new, and for who forgot the password."""

import re
from datetime import timedelta
from unittest.mock import patch

from django.contrib.auth.tokens import PasswordResetTokenGenerator

from apps.accounts import services
from apps.accounts.models import Outgoing, User
from apps.core import clock
from apps.trail.models import TrailEntry
from tests.accounts.bad import BAD
from tests.cast import NOON, PASSWORD, LabTestCase

CHOSEN = "seven-sheep-in-a-row"


def link_in(letter: Outgoing) -> str:
    """The path of the link; letters hold whole addresses."""
    (found,) = re.findall(r"^http://127.0.0.1:8000(/password/new/\S+)$", letter.body, re.M)
    return found


class InvitationTests(LabTestCase):
    def add(self, **how):
        data = {"username": "nadia", "full_name": "Nadia Needle", "email": "nadia@example.com", "password": ""}
        return self.client.post("/people/new/", {**data, "customer": self.quellbach.pk, **how}, follow=True)

    def test_a_new_person_chooses_the_password_by_letter(self):
        self.sign_in(self.mara)
        self.assertContains(self.add(), "A letter with a link goes to nadia@example.com.")
        nadia = User.objects.get(username="nadia")
        self.assertFalse(nadia.has_usable_password())
        letter = Outgoing.objects.get(to="nadia@example.com")
        self.sign_in(None)
        self.assertContains(self.client.get(link_in(letter)), "Nadia Needle")
        answer = self.client.post(link_in(letter), {"password": CHOSEN, "again": CHOSEN}, follow=True)
        self.assertContains(answer, "Your password is set. Sign in as nadia.")
        nadia.refresh_from_db()
        self.assertTrue(nadia.check_password(CHOSEN))
        entry = TrailEntry.objects.get(stream=f"user:{nadia.pk}", kind="password.set")
        self.assertEqual((entry.actor_name, entry.facts), ("Nadia Needle", {"own": True, "by_letter": True}))
        self.assertNotIn(link_in(letter).split("/")[-2], str(list(TrailEntry.objects.values_list("facts", flat=True))))

    def test_a_link_is_used_once(self):
        services.invite(person_id=self.casey.pk, by=self.mara, at=NOON)
        link = link_in(Outgoing.objects.get())
        self.client.post(link, {"password": CHOSEN, "again": CHOSEN})
        for answer in (self.client.get(link), self.client.post(link, {"password": PASSWORD, "again": PASSWORD})):
            self.assertContains(answer, "This link no longer holds", status_code=410)
        self.casey.refresh_from_db()
        self.assertTrue(self.casey.check_password(CHOSEN))

    def test_a_link_holds_three_days(self):
        services.invite(person_id=self.casey.pk, by=self.mara, at=NOON)
        link = link_in(Outgoing.objects.get())
        made = PasswordResetTokenGenerator()._now()
        for days, status in ((2, 200), (4, 410)):
            with patch.object(PasswordResetTokenGenerator, "_now", return_value=made + timedelta(days=days)):
                self.assertEqual(self.client.get(link).status_code, status)

    def test_links_that_are_none(self):
        services.invite(person_id=self.casey.pk, by=self.mara, at=NOON)
        _, _, _, name, token, _ = link_in(Outgoing.objects.get()).split("/")
        for wrong in (f"{name}/{token[:-1]}x", f"AAAA/{token}", f"{'OTk5' * 20}/{token}", f"MQ/{token}", f"{name}/x"):
            with self.subTest(wrong=wrong):
                self.assertEqual(self.client.get(f"/password/new/{wrong}/").status_code, 410)
        services.change_person(
            person_id=self.casey.pk, full_name="Casey", email="casey@example.com", roles=frozenset(),
            customer=self.quellbach, is_active=False, by=self.mara, at=NOON,
        )  # fmt: skip
        self.assertEqual(self.client.get(f"/password/new/{name}/{token}/").status_code, 410)

    def test_a_weak_password_is_refused(self):
        services.invite(person_id=self.casey.pk, by=self.mara, at=NOON)
        link = link_in(Outgoing.objects.get())
        for password, again, sentence in (
            ("short", "short", "too short"),
            (CHOSEN, "another", "The two are not the same"),
            ("", "", "This field is required"),
            *[(bad, "x", "alert") for bad in BAD if bad],
        ):
            with self.subTest(password=password):
                answer = self.client.post(link, {"password": password, "again": again})
                self.assertEqual(answer.status_code, 200)
                self.assertContains(answer, sentence if sentence != "alert" else "Not saved yet")
        self.assertEqual(self.client.get(link).status_code, 200)

    def test_who_may_not_sign_in_or_has_no_address_is_not_invited(self):
        self.sign_in(self.mara)
        User.objects.filter(pk=self.casey.pk).update(email="")
        User.objects.filter(pk=self.dana.pk).update(is_active=False)
        for who, sentence in ((self.casey, "Write down an address first."), (self.dana, "may not sign in")):
            self.assertContains(self.client.post(f"/people/{who.pk}/invite/", follow=True), sentence)
        self.assertContains(self.add(email=""), "Give a first password, or an e-mail address for an invitation.")
        self.assertFalse(Outgoing.objects.exists())
        self.assertEqual(self.client.post("/people/999999/invite/").status_code, 404)


class ForgottenTests(LabTestCase):
    def ask(self, name):
        return self.client.post("/password/forgotten/", {"name": name})

    def test_by_user_name_or_by_address(self):
        for name in ("casey", "CASEY@example.com"):
            self.assertContains(self.ask(name), "a letter with a link is on its way")
        self.assertEqual([letter.to for letter in Outgoing.objects.all()], ["casey@example.com"] * 2)
        self.assertTrue(User.objects.get(pk=self.casey.pk).check_password(PASSWORD), "the old one goes on")

    def test_the_answer_is_the_same_for_nobody(self):
        User.objects.filter(pk=self.dana.pk).update(is_active=False)
        known = self.ask("casey").content
        written = TrailEntry.objects.count()
        for name in ("nobody", "dana", "dana@example.com", "x" * 254, "🧺", "' OR 1=1"):
            self.assertEqual(self.ask(name).content, known)
        self.assertEqual(Outgoing.objects.count(), 1)
        self.assertEqual(TrailEntry.objects.count(), written + 6)
        self.assertNotIn("nobody", str(list(TrailEntry.objects.values_list("facts", flat=True))))

    def test_not_more_than_a_few_letters_an_hour(self):
        for _ in range(5):
            self.ask("casey")
        self.assertEqual(Outgoing.objects.count(), 3)
        with clock.set_to(NOON + timedelta(minutes=61)):
            self.ask("casey")
        self.assertEqual(Outgoing.objects.count(), 4)

    def test_bad_input(self):
        for name in ("", "\0", "x" * 10_000):
            answer = self.ask(name)
            self.assertEqual(answer.status_code, 200)
            self.assertContains(answer, "Nothing sent")
        self.assertFalse(Outgoing.objects.exists())
