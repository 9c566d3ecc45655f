from datetime import time

from apps.accounts.models import Lab
from apps.trail.models import TrailEntry
from tests.accounts.bad import BAD
from tests.cast import LabTestCase


class LabTests(LabTestCase):
    url = "/lab/"

    def form(self) -> dict[str, str]:
        """What the page shows, to be sent back."""
        bound = self.client.get(self.url).context["form"]
        return {field.name: field.value() for field in bound if field.value() not in (None, False)}

    def test_it_works(self):
        self.sign_in(self.mara)
        response = self.client.post(self.url, {**self.form(), "name": "Invented Lab", "opens_at": "07:30"})
        self.assertRedirects(response, self.url)
        lab = Lab.objects.get()
        self.assertEqual((lab.name, lab.opens_at, lab.closes_at), ("Invented Lab", time(7, 30), time(17)))
        entry = TrailEntry.objects.get(stream="lab")
        self.assertEqual(
            entry.facts,
            {
                "name": {"from": "This laboratory", "to": "Invented Lab"},
                "opens_at": {"from": "08:00", "to": "07:30"},
            },
        )

    def test_nothing_changed_leaves_no_entry(self):
        self.sign_in(self.mara)
        self.assertRedirects(self.client.post(self.url, self.form()), self.url)
        self.assertFalse(TrailEntry.objects.exists())

    def test_it_refuses(self):
        self.sign_in(self.mara)
        for how, sentence in [
            ({"closes_at": "08:00"}, "The lab closes after it opens."),
            ({"retention_years": "0"}, "greater than or equal to 1"),
            ({"wash_minutes": "-5"}, "greater than or equal to 0"),
            ({"wash_minutes": "0"}, "greater than or equal to 1"),
            ({"tumble_minutes": "721"}, "less than or equal to 720"),
            ({"air_dry_hours": "9223372036854775807"}, "less than or equal to 168"),
            ({"late_entry_hours": "40000"}, "less than or equal to 720"),
            ({"wash_minutes": "1e999"}, "Enter a whole number."),
            ({"tie": "never"}, "never is not one of the available choices"),
            ({"name": ""}, "This field is required."),
        ]:
            with self.subTest(how=how):
                response = self.client.post(self.url, {**self.form(), **how, "phone": "+00 invented"})
                self.assertContains(response, sentence)
                self.assertContains(response, 'value="+00 invented"')
        self.assertFalse(TrailEntry.objects.exists())

    def test_who_may(self):
        for name in ("fran", "bea", "lou", "casey", "mara"):
            self.sign_in(getattr(self, name))
            with self.subTest(name=name):
                self.assertEqual(self.client.get(self.url).status_code, 200 if name == "mara" else 403)

    def test_bad_input(self):
        self.sign_in(self.mara)
        shown = self.form()
        for text in BAD:
            with self.subTest(text=text[:12]):
                response = self.client.post(self.url, dict.fromkeys(shown, text))
                self.assertContains(response, "Not saved yet")
                self.assertNotContains(response, "<script>alert")
        for field in shown:
            with self.subTest(field=field):
                self.assertContains(self.client.post(self.url, {**shown, field: "\0"}), "To correct:")
        self.assertContains(self.client.post(self.url), "Not saved yet")
