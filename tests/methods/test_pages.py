from django.urls import reverse

from apps.methods.models import DryingProcedure, ExtraMeasurement, Figure, LaunderingProcedure, TestMethod
from tests.cast import LabTestCase
from tests.methods.support import a_figure, confirm, method

LIST = "/methods/"
WHOLE = "/methods/aatcc-tm135-2018-small/"
WASH, DRYING, EXTRA = "/methods/washes/aatcc-1-iii/", "/methods/dryings/aatcc-b/", "/methods/extras/aatcc-tm207-2017/"
LISTS = (LIST, "/methods/washes/", "/methods/dryings/", "/methods/points/")


def everybody(case: LabTestCase) -> dict:
    names = ("fran", "bea", "lou", "mara", "casey", "dana")
    return {"nobody": None, **{name: getattr(case, name) for name in names}}


class MethodPagesTests(LabTestCase):
    def test_addresses(self):
        self.assertEqual(reverse("methods:list"), LIST)
        self.assertEqual(reverse("methods:method", args=["aatcc-tm135-2018-small"]), WHOLE)
        self.assertEqual(reverse("methods:wash", args=["aatcc-1-iii"]), WASH)
        self.assertEqual(reverse("methods:drying", args=["aatcc-b"]), DRYING)

    def test_the_list_shows_every_edition(self):
        self.sign_in(self.bea)
        page = self.client.get(LIST)
        for text in ("AATCC TM135-2003", "AATCC TM135-2018", "AATCC TM150-2018", "ISO 5077:2007", "To confirm"):
            self.assertContains(page, text)
        self.assertContains(page, f'href="{WHOLE}"')
        self.assertContains(page, "not complete, not offered", count=5)
        self.assertContains(page, "AATCC TM179-2019 option 1")

    def test_washes_and_dryings_have_lists_too(self):
        self.sign_in(self.lou)
        page = self.client.get("/methods/washes/")
        for text in (
            "AATCC LP1 (1) III",
            "41 ± 3",
            "ISO 6330 4N",
            "ISO 6330 type B, table not known",
            f'href="{WASH}"',
        ):
            self.assertContains(page, text)
        page = self.client.get("/methods/dryings/")
        for text in ("AATCC A(i)", "68 ± 6", "ISO 6330 F (low)", f'href="{DRYING}"'):
            self.assertContains(page, text)

    def test_a_method_whole_with_figures_sources_and_marks(self):
        self.sign_in(self.lou)
        page = self.client.get(WHOLE)
        self.assertContains(page, "380 mm")
        self.assertContains(page, "AATCC TM135-2018 clause 9.1.1, seen in an extract")
        self.assertContains(page, "to be confirmed by the lab")
        self.assertContains(page, "not known: the lab sets it")
        self.assertContains(page, "AATCC LP1 (1) III")
        self.assertContains(page, "AATCC A(i) tumble dry, normal")
        self.assertContains(page, "AATCC TM179-2019 option 2")
        self.assertNotContains(page, "ISO 6330 4N")
        self.assertNotContains(page, "Confirm<")

    def test_an_edition_not_seen_says_what_is_missing(self):
        self.sign_in(self.bea)
        page = self.client.get("/methods/aatcc-tm135-2014/")
        self.assertContains(page, "Not offered: numbers are missing")
        self.assertContains(page, "specimens, pairs in each direction, side of a specimen (mm)")
        self.assertContains(page, "None in the catalogue.")

    def test_a_wash_a_drying_and_an_extra_measurement_whole(self):
        self.sign_in(self.lou)
        for address, texts in {
            WASH: ("86 ± 2 strokes/min", "1993 AATCC Standard Reference Detergent", "Top-loading washer with agitator"),
            DRYING: ("Hang by two corners", "not above 26 °C (78 °F)"),
            EXTRA: ("100 × AA′ / AB", "B 25 mm (1 in) below the cross seam", "AATCC TM150-2018"),
        }.items():
            for text in texts:
                self.assertContains(self.client.get(address), text)

    def test_where_garments_are_measured(self):
        self.sign_in(self.bea)
        page = self.client.get("/methods/points/")
        for text in ("Pyjama bottom", "One inch (25 mm) below the armhole", "left and right", "at least 600 lx"):
            self.assertContains(page, text)
        self.assertContains(page, "common practice, no source")

    def test_who_confirmed_and_what_was_set(self):
        self.sign_in(self.fran)
        confirm(self, a_figure("procedure:aatcc-1-iii", "agitation"), "88 ± 2 strokes/min")
        confirm(self, a_figure("procedure:aatcc-1-iii", "wash time"))
        page = self.client.get(WASH)
        for text in (
            "set by the lab",
            "catalogue: 86 ± 2 strokes/min",
            "confirmed",
            "Set: agitation 88 ± 2 strokes/min",
        ):
            self.assertContains(page, text)

    def test_the_managers_buttons_are_the_managers(self):
        for person, count in ((self.lou, 0), (self.mara, Figure.objects.filter(owner="procedure:aatcc-1-iii").count())):
            self.sign_in(person)
            page = self.client.get(WASH)
            self.assertContains(page, "/methods/figures/", count=count)
            self.assertContains(page, f'href="{WASH}copy/"', count=1 if count else 0)
            self.assertContains(page, f'action="{WASH}retire/"', count=1 if count else 0)
            self.assertNotContains(self.client.get(EXTRA), "Copy into")

    def test_what_is_sure_carries_no_mark(self):
        self.sign_in(self.lou)
        figures = self.client.get(WHOLE).context["whole"].sheet.figures
        marked = {figure.name for figure in figures if figure.to_confirm}
        self.assertIn("averaging", marked)
        self.assertNotIn("reported to the nearest", marked)

    def test_every_row_has_its_page(self):
        self.sign_in(self.mara)
        for model in (TestMethod, LaunderingProcedure, DryingProcedure, ExtraMeasurement):
            for row in model.objects.all():
                self.assertEqual(self.client.get(reverse(row.page, args=[row.code])).status_code, 200)

    def test_refuses_what_is_not_there(self):
        self.sign_in(self.mara)
        for code in ("none-such", "A" * 10_000, "1e999", "-1"):
            for room in ("", "washes/", "dryings/", "extras/"):
                self.assertEqual(self.client.get(f"/methods/{room}{code}/").status_code, 404)
        self.assertEqual(self.client.post(WHOLE).status_code, 405)
        for number in ("0", "-1", "NaN", "99999999999999999999", "\0"):
            for address in (*LISTS, WASH):
                self.assertEqual(self.client.get(address, {"page": number}).status_code, 200)

    def test_who_may(self):
        for name, person in everybody(self).items():
            self.sign_in(person)
            for address in (*LISTS, WHOLE, WASH, DRYING, EXTRA):
                with self.subTest(name=name, address=address):
                    wanted = {"nobody": 302, "casey": 403, "dana": 403}.get(name, 200)
                    self.assertEqual(self.client.get(address).status_code, wanted)

    def test_lists_do_not_grow(self):
        """Whatever the length: 2 rows of a kind and 22."""
        self.sign_in(self.bea)
        ExtraMeasurement.objects.all().delete()
        for model, keep, address, queries in (
            (TestMethod, ["aatcc-tm135-2018-small", "aatcc-tm150-2018"], LIST, 6),
            (LaunderingProcedure, ["aatcc-1-iii", "iso-6330-2012-4n"], "/methods/washes/", 5),
            (DryingProcedure, ["aatcc-b", "iso-6330-2012-a"], "/methods/dryings/", 5),
        ):
            if model is not TestMethod:  # of which somebody signs for each
                model.objects.exclude(code__in=keep).delete()
            first = model.objects.count()
            for copies in (0, 20):
                values = model.objects.filter(code=keep[0]).values().get()
                name = "edition" if model is TestMethod else "label"
                model.objects.bulk_create(
                    model(**{**values, "id": None, "code": f"own-{n}", name: f"own {n}"}) for n in range(copies)
                )
                with self.subTest(address), self.assertNumQueries(queries):
                    page = self.client.get(address)
                self.assertEqual(len(page.context["page"]), copies + first)

    def test_pages_do_not_grow(self):
        self.sign_in(self.mara)
        for address, owner, queries in (
            (WHOLE, method().owner, 12),
            (WASH, "procedure:aatcc-1-iii", 8),
            (DRYING, "drying:aatcc-b", 8),
            (EXTRA, "extra:aatcc-tm207-2017", 9),
            ("/methods/points/", "points:garments", 6),
        ):
            for more in (2, 20):
                for n in range(more):
                    figure = Figure.objects.create(
                        owner=owner, name=f"{more} {n}", value="1", source="x", confidence="L"
                    )
                    confirm(self, figure)
                with self.subTest(address=address, more=more), self.assertNumQueries(queries):
                    self.client.get(address)
