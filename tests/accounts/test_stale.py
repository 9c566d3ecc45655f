"""A page that was open while somebody else saved: told what the row says now, and kept as it was typed."""

from apps.accounts import services
from apps.accounts.models import Customer, Lab, User
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase
from tests.walls.page import Form, Page


class StaleTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.mara)

    def form(self, url: str) -> Form:
        return next(form for form in Page(self.client.get(url).content.decode(), url).forms if form.action == url)

    def told(self, url: str, sent: dict, *sentences: str) -> Form:
        """The answer to a stale page: its sentences, and the form as it stands in it."""
        entries = TrailEntry.objects.count()
        answer = self.client.post(url, sent)
        self.assertEqual(TrailEntry.objects.count(), entries)
        for sentence in ("was changed after this page was opened", *sentences):
            self.assertContains(answer, sentence)
        page = Page(answer.content.decode(), url)
        for name, (value, *_) in sent.items():
            if name not in ("shown", "csrfmiddlewaretoken"):
                self.assertTrue(page.shows(name, value), name)
        return next(form for form in page.forms if form.action == url)

    def test_a_customer(self):
        url = f"/customers/{self.quellbach.pk}/"
        mine = self.form(url).as_it_stands() | {"contact": ["Somebody Else"]}
        other = {"name": "Quellbach Hemden", "contact": "Casey Quellbach", "email": "new@example.com"}
        services.change_customer(customer_id=self.quellbach.pk, address="", **other, by=self.fran, at=NOON)
        again = self.told(url, mine, "email: new@example.com")
        self.assertEqual(self.client.post(url, again.as_it_stands()).status_code, 302)
        row = Customer.objects.get(pk=self.quellbach.pk)
        self.assertEqual((row.contact, row.email), ("Somebody Else", "casey@example.com"))

    def test_a_person(self):
        url = f"/people/{self.bea.pk}/"
        mine = self.form(url).as_it_stands() | {"email": ["bea@bench.example"]}
        roles = frozenset({*self.bea.roles, *self.lou.roles})
        who = {"full_name": "Bea Bench", "email": "bea@example.com", "customer": None, "is_active": True}
        services.change_person(person_id=self.bea.pk, roles=roles, **who, by=self.mara, at=NOON)
        again = self.told(url, mine, "roles: bench, laundry")
        self.assertEqual(self.client.post(url, again.as_it_stands()).status_code, 302)
        row = User.objects.get(pk=self.bea.pk)
        self.assertEqual((row.email, row.laundry), ("bea@bench.example", False))

    def test_the_lab(self):
        mine = self.form("/lab/").as_it_stands() | {"phone": ["+00 invented"]}
        Lab.objects.update(wash_minutes=75, reader_may_approve=True)
        again = self.told("/lab/", mine, "wash minutes: 75", "reader may approve: yes")
        self.assertEqual(self.client.post("/lab/", again.as_it_stands()).status_code, 302)
        row = Lab.objects.get()
        self.assertEqual((row.phone, row.wash_minutes), ("+00 invented", 60))

    def test_a_page_of_the_same_is_not_stale(self):
        """Two who save one after the other, each after looking: neither is asked anything."""
        for contact in ("First", "Second"):
            url = f"/customers/{self.quellbach.pk}/"
            sent = self.form(url).as_it_stands() | {"contact": [contact]}
            self.assertEqual(self.client.post(url, sent).status_code, 302)

    def test_a_mark_that_was_tampered_with_is_stale(self):
        url = f"/customers/{self.quellbach.pk}/"
        for mark in ("", "x", "\0", "x" * 10_000, "٣"):
            sent = self.form(url).as_it_stands() | {"shown": [mark], "contact": ["Somebody Else"]}
            with self.subTest(mark[:5]):
                self.told(url, sent)
