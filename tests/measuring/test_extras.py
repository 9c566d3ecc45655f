"""Skew by diagonals, twist on garments: read on the same specimens, put right with a reason, told everywhere."""

from decimal import Decimal
from uuid import uuid4

from django.db import IntegrityError, transaction
from django.urls import reverse

from apps.core.errors import Refusal
from apps.measuring.models import ExtraReading
from apps.measuring.queries import extras_of, extras_offered
from apps.measuring.services import ExtraEntry, GarmentMarks, SheetRefused, cut_and_mark, enter_extras
from apps.methods.queries import points_for
from apps.reporting.csvtext import csv_of
from apps.reporting.facts import Facts, freeze
from tests.cast import NOON, LabTestCase, a_marked_request, after_cycle, with_originals, with_readings
from tests.measuring.support import issue
from tests.measuring.test_garments import a_garment

ONE = {"count": 1, "fewer_reason": "short"}


class ExtraCase(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **ONE)
        self.specimen = self.request.specimens.get()
        self.skew = extras_offered(self.request)[0]

    def enter(self, first: str, second: str, *, stage: int = 0, unit: str = "mm", place: str = "", **how):
        specimen, extra = how.pop("specimen", self.specimen), how.pop("extra", self.skew)
        request = how.pop("request", self.request)
        entry = ExtraEntry("cell", extra.pk, specimen.pk, place, first, second)
        return enter_extras(request_id=request.pk, stage=stage, entries=[entry], unit=unit, by=self.bea, at=NOON, **how)


class SkewTests(ExtraCase):
    def test_skew_from_the_diagonals_and_its_change(self):
        self.enter("353.5", "353.5")
        with_originals(self, self.request)
        after_cycle(self, self.request)
        self.enter("360", "345", stage=1)
        figures = extras_of([self.request])[self.request.pk].figures
        self.assertEqual([str(figure.shown) for figure in figures], ["0.0", "4.3"])
        self.assertEqual(figures[1].change, Decimal("4.3"))
        self.assertEqual(figures[1].derivation, "100 × 2 (360 − 345) / (360 + 345) = +4.3 %")

    def test_the_same_again_is_nothing_and_another_value_needs_a_reason(self):
        self.enter("353", "354")
        self.assertEqual(self.enter("353", "354"), [])
        with self.assertRaises(Refusal) as refused:
            self.enter("355", "354")
        self.assertEqual(refused.exception.field, "reason")
        self.enter("355", "354", reason="a slip")
        self.assertEqual([row.void_reason for row in ExtraReading.objects.order_by("pk")], ["a slip", ""])
        key = uuid4()
        self.assertEqual(self.enter("350", "354", reason="x", key=key), self.enter("350", "354", reason="x", key=key))

    def test_bad_input(self):
        for first, second in (("", "1"), ("x", "1"), ("-1", "1"), ("1e3", "1"), ("0", "1"), ("🧵", "1"), ("\0", "1")):
            with self.subTest(first), self.assertRaises(SheetRefused):
                self.enter(first, second)
        with self.assertRaises(SheetRefused) as refused:
            self.enter("1", "1", stage=1)
        self.assertIn("not to be read after cycle 1", refused.exception.cells["cell"])
        for how in ({"place": "left"}, {"unit": "ell"}, {"specimen": a_marked_request(self, **ONE).specimens.get()}):
            with self.subTest(str(how)), self.assertRaises(Refusal):
                self.enter("1", "1", **how)

    def test_the_database_agrees(self):
        (row,) = self.enter("353", "354")
        rows = ExtraReading.objects.filter(pk=row.pk)
        for change in ({"first_mm": 1}, {"stage": 1}, {"place": "left"}, {"void_reason": "x"}):
            with self.subTest(str(change)), self.assertRaises(IntegrityError), transaction.atomic():
                rows.update(**change)
        with self.assertRaises(IntegrityError), transaction.atomic():
            rows.delete()
        columns = {f.attname: getattr(row, f.attname) for f in ExtraReading._meta.fields if f.attname != "id"}
        with self.assertRaises(IntegrityError), transaction.atomic():
            ExtraReading.objects.create(**columns)
        issue(self.request, by=self.mara)
        with self.assertRaises(IntegrityError), transaction.atomic():
            ExtraReading.objects.create(**{**columns, "stage": 1})


class TwistTests(ExtraCase):
    def setUp(self):
        self.request = a_garment(self)
        points = tuple(points_for("top").filter(name="chest width").values_list("pk", flat=True))
        cut_and_mark(request_id=self.request.pk, count=3, garment=GarmentMarks(points), by=self.bea, at=NOON)
        self.specimen = self.request.specimens.first()
        (self.skew,) = extras_offered(self.request)

    def test_twist_has_a_sign_or_is_nothing_and_sides_stay_apart(self):
        self.enter("0", "600", place="left")
        self.enter("-12.5", "600", place="right")
        found = extras_of([self.request])[self.request.pk]
        self.assertEqual([str(figure.shown) for figure in found.figures], ["0.0", "-2.1"])
        self.assertEqual([(mean.place, str(mean.shown)) for mean in found.means], [("left", "0.0"), ("right", "-2.1")])

    def test_a_displacement_longer_than_its_seam(self):
        for first in ("600", "+-1", "--1", "0x"):
            with self.subTest(first), self.assertRaises(SheetRefused):
                self.enter(first, "500", place="left")

    def test_in_facts_paper_and_csv(self):
        for place in ("left", "right"):
            self.enter("12", "600", place=place)
        with_readings(self, self.request, 0, ["500"] * 3)
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, ["490"] * 3)
        facts = Facts(freeze([self.request]))
        (request,) = facts.requests
        self.assertEqual(request.extra_means[0][1:], ("before washing", "left", "+2.0", "1"))
        self.assertEqual(request.extra_figures[1][1:5], ("A1 right", "before washing", "12; 600 mm", "+2.0"))
        self.assertIn(",extra,", csv_of(facts))

    def test_results_page_tells_them(self):
        self.enter("12", "600", place="left")
        self.sign_in(self.lou)
        page = self.client.get(reverse("measuring:results", args=[self.request.sample.code]))
        self.assertContains(page, "100 × 12 / 600 = +2.0 %")


class PageTests(ExtraCase):
    def setUp(self):
        super().setUp()
        self.sign_in(self.bea)
        self.address = f"{reverse('measuring:extras', args=[self.request.sample.code])}?request=1&stage=0"
        self.cell = f"extra_{self.skew.pk}_{self.specimen.pk}_"

    def post(self, first: str, second: str, **more):
        data = {"unit": "mm", "key": str(uuid4()), f"{self.cell}_a": first, f"{self.cell}_b": second, **more}
        return self.client.post(self.address, data)

    def test_it_keeps_and_shows(self):
        self.assertContains(self.client.get(self.address), "A1 AC")
        self.assertRedirects(self.post("360", "345"), self.address)
        self.assertContains(self.client.get(self.address), "+4.3 %")
        readings = self.client.get(reverse("measuring:readings", args=[self.request.sample.code]))
        self.assertContains(readings, "Skew and twist")

    def test_bad_input_keeps_what_was_typed(self):
        for first, second, more in (
            ("x", "345", {}),
            ("360", "", {}),
            ("360", "9" * 10_000, {}),
            ("", "", {}),
            ("360", "345", {"unit": "ell"}),
            ("360", "345", {"at": "noon"}),
            ("360", "345", {"reason": "\0"}),
        ):
            with self.subTest(first=first, second=second[:5], more=str(more)):
                answer = self.post(first, second, **more)
                self.assertEqual(answer.status_code, 422)
        self.assertContains(self.post("x", "345"), 'value="345"', status_code=422)
        self.assertEqual(self.client.get(self.address.replace("stage=0", "stage=9")).status_code, 404)

    def test_who_may(self):
        for user, status in ((self.mara, 200), (self.lou, 403), (self.casey, 403)):
            self.sign_in(user)
            self.assertEqual(self.client.get(self.address).status_code, status)

    def test_the_number_of_queries_does_not_grow(self):
        for count in (2, 12):
            request = a_marked_request(self, count=count, fewer_reason="short")
            address = f"{reverse('measuring:extras', args=[request.sample.code])}?request=1&stage=0"
            self.client.get(address)
            with self.subTest(count), self.assertNumQueries(10):
                self.client.get(address)
