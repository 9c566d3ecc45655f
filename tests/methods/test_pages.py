from django.urls import reverse

from apps.methods.models import TestMethod
from tests.cast import LabTestCase

LIST = "/methods/"
WHOLE = "/methods/aatcc-tm135-2018-small/"


def everybody(case: LabTestCase) -> dict:
    names = ("fran", "bea", "lou", "mara", "casey", "dana")
    return {"nobody": None, **{name: getattr(case, name) for name in names}}


class MethodPagesTests(LabTestCase):
    def test_addresses(self):
        self.assertEqual(reverse("methods:list"), LIST)
        self.assertEqual(reverse("methods:method", args=["aatcc-tm135-2018-small"]), WHOLE)

    def test_the_list_shows_every_edition(self):
        self.sign_in(self.bea)
        page = self.client.get(LIST)
        for text in ("AATCC TM135-2003", "AATCC TM135-2018", "AATCC TM150-2018", "ISO 5077:2007", "To confirm"):
            self.assertContains(page, text)
        self.assertContains(page, f'href="{WHOLE}"')

    def test_a_method_whole_with_figures_sources_and_marks(self):
        self.sign_in(self.lou)
        page = self.client.get(WHOLE)
        self.assertContains(page, "380 mm")
        self.assertContains(page, "AATCC TM135-2018 clause 9.1.1, seen in an extract")
        self.assertContains(page, "to be confirmed by the lab")
        self.assertContains(page, "not known: the lab sets it")
        self.assertContains(page, "AATCC LP1 (1) III")
        self.assertContains(page, "AATCC A(i) tumble dry, normal")
        self.assertNotContains(page, "ISO 6330 4N")

    def test_what_is_sure_carries_no_mark(self):
        self.sign_in(self.lou)
        figures = self.client.get(WHOLE).context["whole"].sheet.figures
        marked = {figure.name for figure in figures if figure.to_confirm}
        self.assertIn("averaging", marked)
        self.assertNotIn("reported to the nearest", marked)

    def test_every_method_has_its_page(self):
        self.sign_in(self.mara)
        for code in TestMethod.objects.values_list("code", flat=True):
            self.assertEqual(self.client.get(f"/methods/{code}/").status_code, 200)

    def test_refuses_what_is_not_there(self):
        self.sign_in(self.mara)
        for code in ("none-such", "A" * 10_000, "1e999", "-1"):
            self.assertEqual(self.client.get(f"/methods/{code}/").status_code, 404)
        self.assertEqual(self.client.post(WHOLE).status_code, 405)
        for number in ("0", "-1", "NaN", "99999999999999999999", "\0"):
            self.assertEqual(self.client.get(LIST, {"page": number}).status_code, 200)

    def test_who_may(self):
        for name, person in everybody(self).items():
            self.sign_in(person)
            for address in (LIST, WHOLE):
                with self.subTest(name=name, address=address):
                    wanted = {"nobody": 302, "casey": 403, "dana": 403}.get(name, 200)
                    self.assertEqual(self.client.get(address).status_code, wanted)

    def test_does_not_grow(self):
        self.sign_in(self.bea)
        TestMethod.objects.exclude(code__in=["aatcc-tm135-2018-small", "aatcc-tm150-2018"]).delete()
        for copies in (0, 20):
            values = TestMethod.objects.filter(code="aatcc-tm135-2018-small").values().get()
            TestMethod.objects.bulk_create(
                TestMethod(**{**values, "id": None, "code": f"copy-{n}", "edition": f"{n}"}) for n in range(copies)
            )
            with self.assertNumQueries(5):
                page = self.client.get(LIST)
            self.assertEqual(len(page.context["page"]), copies + 2)
        with self.assertNumQueries(7):
            self.client.get(WHOLE)
