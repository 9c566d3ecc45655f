import uuid

from apps.accounts import queries, services
from apps.accounts.models import Customer
from apps.core.errors import Refusal
from apps.trail.models import TrailEntry
from tests.accounts.bad import BAD
from tests.cast import NOON, LabTestCase


class FindCustomerTests(LabTestCase):
    def test_the_very_name_however_it_is_typed(self):
        tuch = Customer.objects.create(name="Österreichische Tuch & Straße")
        for typed in ("österreichische tuch & strasse", "  ÖSTERREICHISCHE   Tuch & Straße "):
            self.assertEqual(queries.find_customer(typed), tuch)
        self.assertEqual(queries.find_customer("quellbach hemden"), self.quellbach)
        for typed in ("", "Quellbach", "\0", "x" * 10_000):
            self.assertIsNone(queries.find_customer(typed))

    def test_a_part_of_the_name(self):
        ost = Customer.objects.create(name="Østerbro Strik")
        self.assertEqual(list(queries.search_customers("ØSTER")), [ost])
        self.assertEqual(list(queries.search_customers("østerbro  s")), [ost])
        self.assertEqual(queries.search_customers(" ").count(), 3)
        self.assertEqual(list(queries.search_customers("\0")), [])


class CustomersPageTests(LabTestCase):
    url = "/customers/"

    def test_it_works(self):
        self.sign_in(self.fran)
        self.assertContains(self.client.get(self.url), "Zweitfaden Mode")
        found = self.client.get(self.url, {"q": "quell"})
        self.assertContains(found, "Quellbach Hemden")
        self.assertNotContains(found, "Zweitfaden Mode")
        self.assertContains(self.client.get(self.url, {"q": "nobody"}), "No company of that name")

    def test_who_may(self):
        addresses = (self.url, "/customers/new/", f"/customers/{self.quellbach.pk}/")
        for name in ("fran", "mara", "bea", "lou", "casey", None):
            self.sign_in(getattr(self, name) if name else None)
            for address in addresses:
                with self.subTest(name=name, address=address):
                    expected = {"fran": 200, "mara": 200, None: 302}.get(name, 403)
                    self.assertEqual(self.client.get(address).status_code, expected)

    def test_it_does_not_grow(self):
        self.sign_in(self.fran)
        with self.assertNumQueries(5):  # session, person, lab, count, customers
            self.client.get(self.url)
        Customer.objects.bulk_create(Customer(name=f"Invented {number}") for number in range(20))
        with self.assertNumQueries(5):
            self.client.get(self.url)

    def test_bad_searches(self):
        self.sign_in(self.fran)
        for text in BAD:
            with self.subTest(text=text[:12]):
                response = self.client.get(self.url, {"q": text, "page": text})
                self.assertEqual(response.status_code, 200)
                self.assertNotContains(response, "<script>alert")


class CustomerTests(LabTestCase):
    data = {"name": "Drittnaht AG", "address": "Invented Lane 3", "contact": "Ada Seam", "email": "ada@example.com"}

    def test_a_new_one(self):
        self.sign_in(self.fran)
        self.assertRedirects(self.client.post("/customers/new/", self.data), "/customers/")
        made = Customer.objects.get(name="Drittnaht AG")
        entry = TrailEntry.objects.get(stream=f"customer:{made.pk}")
        self.assertEqual((entry.kind, entry.actor_id), ("customer.created", self.fran.pk))
        self.assertEqual(entry.facts, {"customer_id": made.pk, **self.data})

    def test_a_double_tap_leaves_one(self):
        key = uuid.uuid4()
        made = [services.create_customer(**self.data, by=self.fran, at=NOON, key=key) for _ in range(2)]
        self.assertEqual(made[0], made[1])
        self.assertEqual(TrailEntry.objects.count(), 1)

    def test_one_name_is_one_customer(self):
        self.sign_in(self.fran)
        response = self.client.post("/customers/new/", {**self.data, "name": "QUELLBACH  hemden"})
        self.assertContains(response, "Quellbach Hemden is in the book already.")
        self.assertContains(response, "Invented Lane 3")
        with self.assertRaises(Refusal) as caught:
            services.create_customer(**{**self.data, "name": " "}, by=self.fran, at=NOON)
        self.assertEqual(caught.exception.code, "customer_name")

    def test_a_change(self):
        self.sign_in(self.mara)
        address = f"/customers/{self.quellbach.pk}/"
        self.assertRedirects(self.client.post(address, self.data), "/customers/")
        self.quellbach.refresh_from_db()
        self.assertEqual(self.quellbach.name, "Drittnaht AG")
        entry = TrailEntry.objects.get()
        self.assertEqual(entry.facts["name"], {"from": "Quellbach Hemden", "to": "Drittnaht AG"})
        self.client.post(address, self.data)
        self.assertEqual(TrailEntry.objects.count(), 1, "nothing changed, nothing to tell")

    def test_a_change_of_capitals_is_a_change(self):
        self.sign_in(self.fran)
        self.client.post(f"/customers/{self.quellbach.pk}/", {**self.data, "name": "QUELLBACH HEMDEN"})
        self.quellbach.refresh_from_db()
        self.assertEqual(self.quellbach.name, "QUELLBACH HEMDEN")

    def test_another_ones_name_is_taken(self):
        self.sign_in(self.fran)
        response = self.client.post(f"/customers/{self.quellbach.pk}/", {**self.data, "name": "zweitfaden mode"})
        self.assertContains(response, "Zweitfaden Mode is in the book already.")
        self.assertContains(response, "<h1>Quellbach Hemden</h1>")

    def test_bad_input(self):
        self.sign_in(self.fran)
        for text in BAD:
            for field in self.data:
                with self.subTest(text=text[:12], field=field):
                    response = self.client.post(f"/customers/{self.quellbach.pk}/", {**self.data, field: text})
                    self.assertIn(response.status_code, (200, 302))
                    if response.status_code == 200:
                        self.assertContains(response, "To correct:")
                        self.assertNotContains(response, "<script>alert")
        self.assertContains(self.client.post("/customers/new/"), "Name: This field is required.")
        self.assertEqual(self.client.get(f"/customers/{10**30}/").status_code, 404)
