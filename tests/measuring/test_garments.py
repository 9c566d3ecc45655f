"""Garments: pairs at the catalogue's points, left and right kept, squares on panels, a result for each place."""

from decimal import Decimal
from itertools import groupby

from django.db import IntegrityError, transaction
from django.urls import reverse

from apps.core.errors import Refusal
from apps.intake.models import Deviation, Request
from apps.intake.services import JobDetails, ReviewDetails, SampleDetails, receive_job
from apps.measuring import outlines
from apps.measuring.models import BenchmarkPair
from apps.measuring.queries import results_of
from apps.measuring.services import GarmentMarks, cut_and_mark
from apps.methods.models import MeasuringPoint
from apps.methods.queries import points_for
from apps.reporting.csvtext import csv_of
from apps.reporting.facts import Facts, freeze
from apps.reporting.pdf.annex import method_rows
from tests.cast import NOON, LabTestCase, a_marked_request, a_request_for, after_cycle, with_readings


def a_garment(cast, **order) -> Request:
    """A shirt of one garment, invented, with limits."""
    asked = a_request_for(method="aatcc-tm150-2018", **order)
    sample = SampleDetails(
        "a shirt, invented", "woven", kind="garment", size="M", care_label="wash 40, dry low", requests=(asked,)
    )
    job = receive_job(job=JobDetails(cast.quellbach, received_at=NOON), samples=[sample], by=cast.fran, at=NOON)
    return Request.objects.get(sample__job=job)


class MarkTests(LabTestCase):
    def mark(self, request, names=(), **how) -> list[BenchmarkPair]:
        points = points_for("top").filter(name__in=names).values_list("pk", flat=True)
        marks = GarmentMarks(tuple(points), **how)
        return cut_and_mark(
            request_id=request.pk, count=1, fewer_reason="one came", garment=marks, by=self.bea, at=NOON
        )

    def test_a_pair_at_each_point_left_and_right_kept(self):
        made = self.mark(a_garment(self), ["body length, front", "chest width", "sleeve length"])
        self.assertEqual(
            [(pair.direction, pair.number, pair.name, pair.side) for pair in made],
            [
                ("length", 1, "body length, front, left", "left"),
                ("length", 2, "body length, front, right", "right"),
                ("length", 3, "sleeve length, left", "left"),
                ("length", 4, "sleeve length, right", "right"),
                ("width", 1, "chest width", ""),
            ],
        )
        self.assertEqual({pair.nominal_mm for pair in made}, {None})

    def test_squares_on_panels(self):
        made = self.mark(a_garment(self), square_in=18, panels=("front", "back"), near_edge="a narrow panel")
        self.assertEqual(len(made), 12)
        self.assertEqual({pair.nominal_mm for pair in made}, {Decimal("457.2")})
        self.assertEqual(len({pair.group for pair in made}), 4)
        self.assertIn("a narrow panel", Deviation.objects.get(kind="reading").text)

    def test_refuses_what_cannot_be(self):
        request = a_garment(self)
        mixed = (points_for("top")[0].pk, points_for("skirt")[0].pk)
        for marks in (
            GarmentMarks(),
            GarmentMarks((999_999,)),
            GarmentMarks(mixed),
            GarmentMarks(square_in=12, panels=("front",)),
            GarmentMarks(square_in=10),
            GarmentMarks(square_in=10, panels=("x" * 41,)),
            GarmentMarks(square_in=10, panels=tuple("abcdefg")),
        ):
            with self.subTest(marks), self.assertRaises(Refusal):
                cut_and_mark(request_id=request.pk, count=3, garment=marks, by=self.bea, at=NOON)
        cloth = a_marked_request(self)
        with self.assertRaises(Refusal):
            cut_and_mark(request_id=cloth.pk, count=3, garment=GarmentMarks(mixed[:1]), by=self.bea, at=NOON)
        self.assertFalse(request.specimens.exists())

    def test_the_database_agrees(self):
        (pair, *_) = self.mark(a_garment(self), ["chest width"])
        rows = BenchmarkPair.objects.filter(pk=pair.pk)
        for change in ({"side": "left"}, {"point": None}, {"place": "x"}, {"nominal_mm": 250}):
            with self.subTest(str(change)), self.assertRaises(IntegrityError), transaction.atomic():
                rows.update(**change)


class ResultTests(LabTestCase):
    def setUp(self):
        limits = {"length_lower": Decimal(-3), "width_lower": Decimal(-2), "limits_source": "invented"}
        self.request = a_garment(self, **limits)
        names = ["body length, front", "chest width"]
        points = tuple(points_for("top").filter(name__in=names).values_list("pk", flat=True))
        cut_and_mark(request_id=self.request.pk, count=3, garment=GarmentMarks(points), by=self.bea, at=NOON)
        with_readings(self, self.request, 0, ["700", "702", "500"] * 3)
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, ["686", "686", "485"] * 3)

    def test_each_place_has_its_own_result_and_the_limits_of_its_direction(self):
        result = results_of([self.request])[self.request.pk]
        told = [(found.direction, str(found.reported), found.state, found.lower) for found in result.final]
        self.assertEqual(
            told,
            [
                ("body length, front, left", "-2.0", "pass", Decimal("-3.00")),
                ("body length, front, right", "-2.3", "pass", Decimal("-3.00")),
                ("chest width", "-3.0", "fail", Decimal("-2.00")),
            ],
        )
        self.assertEqual({found.summary.n_specimens for found in result.final}, {3})
        self.assertTrue(result.complete)

    def test_page_facts_and_paper(self):
        self.sign_in(self.bea)
        page = self.client.get(reverse("measuring:results", args=[self.request.sample.code]))
        self.assertContains(page, "Body length, front, left after cycle 1")
        facts = Facts(freeze([self.request]))
        (request,) = facts.requests
        self.assertIn("chest width (width): One inch", request.points_told)
        self.assertIn(("Marks", "at the measuring points, read to 1 mm or finer"), method_rows(request, False))
        rows = [line.split(",") for line in csv_of(facts).splitlines()]
        self.assertTrue(any(row[1] == "result" and row[6] == "width" and row[-1] == "chest width" for row in rows))
        self.assertEqual(next(request.tables()).results, [])
        self.assertEqual((facts.samples[0]["size"], facts.samples[0]["care_label"]), ("M", "wash 40, dry low"))

    def test_an_original_is_held_against_the_same_place_of_the_other_garments(self):
        request = a_garment(self)
        points = tuple(points_for("top").filter(name="chest width").values_list("pk", flat=True))
        cut_and_mark(request_id=request.pk, count=3, garment=GarmentMarks(points), by=self.bea, at=NOON)
        with_readings(self, request, 0, ["500", "", ""])
        with self.assertRaises(Refusal) as refused:
            with_readings(self, request, 0, ["500", "50.2", ""])
        (told,) = refused.exception.cells.values()
        self.assertIn("500 mm on another garment. Was it read in centimetres?", told)
        with_readings(self, request, 0, ["500", "502", "506"])


class PageTests(LabTestCase):
    def setUp(self):
        self.request = a_garment(self)
        self.address = reverse("measuring:cut", args=[self.request.sample.code, 1])
        self.sign_in(self.bea)

    def test_every_kind_shows_its_points_with_their_sentences(self):
        for kind in MeasuringPoint.Garment.values:
            page = self.client.get(self.address, {"garment": kind})
            for point in points_for(kind):
                self.assertContains(page, f"{point.number} {point.name.capitalize()}")
                self.assertContains(page, point.sentence)
        self.assertContains(self.client.get(self.address, {"garment": "hat\x00"}), "Collar")
        self.assertContains(self.client.get(self.address), "wash 40, dry low")

    def test_bad_input_keeps_what_was_chosen(self):
        good = points_for("trousers").first().pk
        for more in (
            {"points": ["x"]},
            {"points": ["9" * 30]},
            {"points": [points_for("top").first().pk]},
            {"points": []},
            {"points": [good], "square": "12"},
            {"points": [good], "square": "10"},
            {"points": [good], "square": "10", "panels": ["roof"]},
            {"points": [good], "near_edge": "x" * 10_000},
            {"points": [good], "near_edge": "\x00"},
        ):
            with self.subTest(str(more)[:40]):
                answer = self.client.post(self.address, {"count": "3", "garment": "trousers", **more})
                self.assertEqual(answer.status_code, 422)
                self.assertContains(answer, 'class="error"', status_code=422)
        answer = self.client.post(self.address, {"count": "0", "garment": "trousers", "points": [good]})
        self.assertContains(answer, f'value="{good}" checked', status_code=422)
        self.assertFalse(BenchmarkPair.objects.exists())


class CareLabelTests(LabTestCase):
    def test_a_procedure_against_the_label_is_told_at_the_bench_and_in_the_report(self):
        review = ReviewDetails(True, True, True, label="contradicts")
        request = a_garment(self, review=review)
        self.sign_in(self.bea)
        words = "the procedure contradicts the care label"
        for name, args in (("cut", [request.sample.code, 1]), ("results", [request.sample.code])):
            self.assertContains(self.client.get(reverse(f"measuring:{name}", args=args)), words)
        self.assertContains(self.client.get(reverse("intake:sample", args=[request.sample.code])), words)
        (told,) = Facts(freeze([request])).requests
        self.assertIn("contradicts the care label", dict(method_rows(told, False))["Care label"])
        (quiet,) = Facts(freeze([a_garment(self)])).requests
        self.assertEqual(dict(method_rows(quiet, False))["Care label"], "")

    def test_the_database_knows_the_answers(self):
        review = a_garment(self).contract_review
        with self.assertRaises(IntegrityError), transaction.atomic():
            type(review).objects.filter(pk=review.pk).update(label="perhaps")


class OutlineTests(LabTestCase):
    def test_every_point_of_the_catalogue_lies_on_its_outline(self):
        points = MeasuringPoint.objects.order_by("garment", "number")
        for kind, found in groupby(points, key=lambda point: point.garment):
            found = list(found)
            outline = outlines.outline_of(found)
            self.assertLessEqual({point.name for point in found}, set(outline.points), kind)
            drawing = outlines.drawing_of(found)
            told = [shape.text for shape in drawing.shapes if hasattr(shape, "text")]
            self.assertEqual(told, [str(point.number) for point in found])

    def test_short_sleeves_have_no_cuffs(self):
        points = list(points_for("top"))
        self.assertEqual(outlines.outline_of(points).name, "long-sleeve top")
        self.assertEqual(outlines.outline_of([p for p in points if p.name != "cuff"]).name, "top")
