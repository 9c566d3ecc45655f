import uuid

from django.urls import reverse

from apps.equipment import services
from apps.equipment.models import Equipment
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase

LIST, NEW = "/equipment/", "/equipment/new/"
GOOD = {
    "name": "Washer 3",
    "kind": "washer",
    "maker": "Invented Works 500",
    "serial_number": "IW-0042",
    "location": "Laundry",
    "calibration_due": "2027-03-01",
}
LONG = "x" * 10_000


class PageCase(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.washer = cls.washers[0]
        cls.edit = f"/equipment/{cls.washer.pk}/"
        cls.out, cls.back = f"{cls.edit}out-of-service/", f"{cls.edit}return/"

    def setUp(self):
        self.sign_in(self.mara)

    def post(self, address: str, **data):
        return self.client.post(address, {"key": str(uuid.uuid4()), **data})

    def as_it_is(self, **changes) -> dict:
        washer = Equipment.objects.get(pk=self.washer.pk)
        shown = {name: getattr(washer, name) for name in ("name", "maker", "serial_number", "location", "version")}
        return {**shown, "calibration_due": washer.calibration_due or "", **changes}


class AddressTests(PageCase):
    def test_names(self):
        pk = self.washer.pk
        for name, args, address in (
            ("list", [], LIST),
            ("new", [], NEW),
            ("edit", [pk], self.edit),
            ("out_of_service", [pk], self.out),
            ("return", [pk], self.back),
        ):
            self.assertEqual(reverse(f"equipment:{name}", args=args), address)

    def test_who_may(self):
        pages = {LIST: "get", NEW: "get", self.edit: "get", self.out: "post", self.back: "post"}
        for name in ("nobody", "fran", "bea", "lou", "mara", "casey", "dana"):
            self.sign_in(getattr(self, name, None))
            for address, verb in pages.items():
                with self.subTest(name=name, address=address):
                    status = getattr(self.client, verb)(address).status_code
                    seen = name == "mara" or (address == LIST and name in ("fran", "bea", "lou"))
                    self.assertEqual(status, 302 if name == "nobody" else 200 if seen else 403)
        for name in ("fran", "lou", "casey"):
            self.sign_in(getattr(self, name))
            for address in (NEW, self.edit):
                self.assertEqual(self.post(address, **GOOD).status_code, 403)
        self.assertEqual(TrailEntry.objects.filter(stream__startswith="equipment:").count(), 0)

    def test_verbs_and_what_is_not_there(self):
        self.assertEqual(self.client.get(self.out).status_code, 405)
        self.assertEqual(self.client.get(self.back).status_code, 405)
        self.assertEqual(self.client.post(LIST).status_code, 405)
        for number in (0, 987654321, 10**30):
            for address in (f"/equipment/{number}/", f"/equipment/{number}/out-of-service/"):
                self.assertEqual(self.post(address, reason="x").status_code, 404)


class ListTests(PageCase):
    def test_shows_state_and_what_is_overdue(self):
        services.put_out_of_service(equipment_id=self.washer.pk, reason="door seal leaks", by=self.mara, at=NOON)
        Equipment.objects.filter(name="D1").update(calibration_due="2026-03-01")
        Equipment.objects.filter(name="D2").update(calibration_due="2026-03-02")
        page = self.client.get(LIST)
        self.assertContains(page, "door seal leaks")
        self.assertContains(page, "out of service")
        self.assertContains(page, ">overdue<", count=1)
        self.assertContains(page, self.edit)

    def test_others_see_no_way_to_change(self):
        self.sign_in(self.lou)
        page = self.client.get(LIST)
        self.assertContains(page, "W1")
        self.assertNotContains(page, self.edit)
        self.assertNotContains(page, NEW)

    def test_does_not_grow(self):
        for rows in (4, 24):
            Equipment.objects.bulk_create(
                Equipment(name=f"R{n}", kind="rule") for n in range(rows - Equipment.objects.count())
            )
            with self.assertNumQueries(5):
                page = self.client.get(LIST)
            self.assertEqual(len(page.context["page"]), rows)

    def test_in_pages_of_fifty(self):
        Equipment.objects.bulk_create(Equipment(name=f"R{n}", kind="rule") for n in range(60))
        self.assertEqual(len(self.client.get(LIST).context["page"]), 50)
        self.assertEqual(len(self.client.get(LIST, {"page": 2}).context["page"]), 14)
        for number in ("0", "-3", "NaN", "1e999", "9" * 40, "\0"):
            self.assertEqual(self.client.get(LIST, {"page": number}).status_code, 200)


# field, what is typed, a piece of the sentence beside it
BAD_DETAILS = [
    ("name", "", "This field is required"),
    ("name", "   ", "This field is required"),
    ("name", LONG, "at most 60 characters"),
    ("name", "W\0", "Null characters are not allowed"),
    ("maker", LONG, "at most 120 characters"),
    ("maker", "a\0b", "Null characters are not allowed"),
    ("serial_number", LONG, "at most 80 characters"),
    ("location", LONG, "at most 120 characters"),
    ("calibration_due", "soon", "Enter a valid date"),
    ("calibration_due", "2026-02-30", "Enter a valid date"),
    ("calibration_due", "-1", "Enter a valid date"),
    ("calibration_due", "1e999", "Enter a valid date"),
    ("calibration_due", "NaN", "Enter a valid date"),
    ("calibration_due", LONG, "Enter a valid date"),
    ("calibration_due", "2\0", "Enter a valid date"),
    ("calibration_due", "🧵", "Enter a valid date"),
    ("calibration_due", "9999-12-31", "more than 20 years away"),
    ("calibration_due", "0001-01-01", "more than 20 years away"),
]


class BadInput:
    """Bad input: a sentence beside the field, the rest kept, nothing written."""

    def assert_sentence(self, page, field: str, sentence: str, kept: dict, form: str = "form"):
        self.assertEqual(page.status_code, 200)
        bound = page.context[form]
        self.assertIn(sentence, " ".join(bound.errors.get(field, [])))
        for name, value in kept.items():
            if name != field:
                self.assertEqual(bound[name].value(), value)
        self.assertContains(page, 'class="error"')


class NewPageTests(PageCase, BadInput):
    def test_works(self):
        self.assertContains(self.client.get(NEW), "Add equipment")
        self.assertRedirects(self.post(NEW, **GOOD), LIST)
        washer = Equipment.objects.get(name="Washer 3")
        self.assertEqual((washer.serial_number, str(washer.calibration_due)), ("IW-0042", "2027-03-01"))
        self.assertEqual(TrailEntry.objects.get(stream=washer.stream).actor_name, "Mara Manager")

    def test_only_name_and_kind_are_asked_for(self):
        self.assertRedirects(self.post(NEW, name="Balance 🧵", kind="balance"), LIST)
        self.assertTrue(Equipment.objects.filter(name="Balance 🧵").exists())

    def test_bad_input(self):
        cases = [
            *BAD_DETAILS,
            ("kind", "", "This field is required"),
            ("kind", "spaceship", "Select a valid choice"),
            ("kind", LONG, "Select a valid choice"),
            ("kind", "washer\0", "Select a valid choice"),
            ("name", "w1", "There is a washer named W1 already"),
        ]
        for field, typed, sentence in cases:
            with self.subTest(field=field, typed=typed[:20]):
                self.assert_sentence(self.post(NEW, **{**GOOD, field: typed}), field, sentence, GOOD)
        self.assertEqual(Equipment.objects.count(), 4)

    def test_a_tampered_page(self):
        for key in ("", "x", "\0", LONG, "1e999"):
            with self.subTest(key=key[:10]):
                self.assertEqual(self.client.post(NEW, {"key": key}).status_code, 200)
        self.assertContains(self.client.post(NEW, {}), "This field is required")
        washer = Equipment.objects.first()
        self.assertContains(self.client.post(f"/equipment/{washer.pk}/", {}), "This field is required")
        self.assertEqual(Equipment.objects.count(), 4)

    def test_a_double_click_adds_one(self):
        key = str(uuid.uuid4())
        for _ in range(2):
            self.assertRedirects(self.post(NEW, **{**GOOD, "key": key}), LIST)
        page = self.post(NEW, **{**GOOD, "key": key, "name": "Washer 4"})
        self.assertContains(page, "already sent with other content")
        self.assertEqual(Equipment.objects.count(), 5)


class EditPageTests(PageCase, BadInput):
    def test_works(self):
        self.assertContains(self.client.get(self.edit), 'value="W1"')
        page = self.post(self.edit, **self.as_it_is(location="Hall 2", calibration_due="2027-01-31"))
        self.assertRedirects(page, self.edit)
        page = self.client.get(self.edit)
        self.assertContains(
            page, "calibration or verification due: nothing to 31 Jan 2027; location: nothing to Hall 2"
        )

    def test_the_kind_stays_whatever_is_sent(self):
        self.post(self.edit, **self.as_it_is(kind="dryer", location="Hall 2"))
        washer = Equipment.objects.get(pk=self.washer.pk)
        self.assertEqual((washer.kind, washer.location), ("washer", "Hall 2"))

    def test_bad_input(self):
        kept = {"maker": "Invented Works", "serial_number": "7", "location": "Hall 2", "calibration_due": "2027-01-31"}
        for field, typed, sentence in [*BAD_DETAILS, ("name", "w2", "There is a washer named W2 already")]:
            with self.subTest(field=field, typed=typed[:20]):
                page = self.post(self.edit, **{**self.as_it_is(**kept), field: typed})
                self.assert_sentence(page, field, sentence, kept)
                self.assertContains(page, 'name="version" value="1"')
        self.assertEqual(Equipment.objects.get(pk=self.washer.pk).version, 1)

    def test_a_stale_page_is_told_and_may_be_sent_again(self):
        old = self.as_it_is(location="Hall 3")
        self.post(self.edit, **self.as_it_is(location="Hall 2"))
        page = self.post(self.edit, **old)
        self.assertContains(page, "W1 was changed after this page was opened. It now says location: Hall 2.")
        self.assertEqual(page.context["form"]["location"].value(), "Hall 3")
        self.assertContains(page, 'name="version" value="2"')
        self.assertRedirects(self.post(self.edit, **{**old, "version": 2}), self.edit)
        self.assertEqual(Equipment.objects.get(pk=self.washer.pk).location, "Hall 3")

    def test_a_tampered_version_is_stale(self):
        for version in ("", "abc", "-1", "1.0", "1e999", "NaN", "9" * 50, "\0", "🧵", "²"):
            with self.subTest(version=version[:10]):
                page = self.post(self.edit, **self.as_it_is(location="Hall 2", version=version))
                self.assertContains(page, "changed after this page was opened")
        page = self.client.post(self.edit, {"name": "W1", "location": "Hall 2"})
        self.assertContains(page, "changed after this page was opened")

    def test_does_not_grow_with_its_history(self):
        for count in (2, 20):
            for n in range(count):
                services.put_out_of_service(equipment_id=self.washer.pk, reason=f"{n}", by=self.mara, at=NOON)
                services.return_to_service(equipment_id=self.washer.pk, by=self.mara, at=NOON)
            with self.assertNumQueries(6):
                page = self.client.get(self.edit)
        self.assertEqual(len(page.context["entries"]), 44)


class ServicePageTests(PageCase, BadInput):
    def test_out_and_back(self):
        self.assertRedirects(self.post(self.out, reason="door seal leaks"), self.edit)
        page = self.client.get(self.edit)
        self.assertContains(page, "Out of service because: door seal leaks")
        self.assertNotContains(page, self.out)
        self.assertRedirects(self.post(self.back, checked="new seal, ran dry", version=2), self.edit)
        self.assertContains(self.client.get(self.edit), "new seal, ran dry")
        self.assertTrue(Equipment.objects.get(pk=self.washer.pk).in_service)

    def test_bad_reasons(self):
        for typed, sentence in (
            ("", "This field is required"),
            ("  ", "This field is required"),
            (LONG, "at most 200 characters"),
            ("a\0", "Null characters are not allowed"),
        ):
            with self.subTest(typed=typed[:10]):
                page = self.post(self.out, reason=typed)
                self.assert_sentence(page, "reason", sentence, {}, form="service_form")
        self.assertEqual(self.client.post(self.out, {}).status_code, 200)
        self.assertTrue(Equipment.objects.get(pk=self.washer.pk).in_service)

    def test_out_twice_is_told(self):
        self.post(self.out, reason="door seal leaks")
        page = self.post(self.out, reason="something else")
        self.assertContains(page, "W1 is out of service already: door seal leaks")

    def test_return_of_a_stale_or_tampered_page(self):
        self.assertContains(self.post(self.back, version=1), "W1 is in service already")
        self.post(self.out, reason="door seal leaks")
        for version in (1, "", "x", "\0", LONG):
            page = self.post(self.back, version=version, checked="new seal")
            self.assertContains(page, "was changed meanwhile")
            self.assertContains(page, "new seal")
        self.assertContains(self.post(self.back, version=2, checked=LONG), "at most 200 characters")
        self.assertFalse(Equipment.objects.get(pk=self.washer.pk).in_service)
