"""The units of a sheet: parts of an inch, a tape that types its unit, and the percent scale with its template."""

from decimal import Decimal

from apps.core.errors import Refusal
from apps.measuring.models import Reading
from apps.measuring.queries import results_of
from apps.measuring.services import Entry, enter_reading, enter_readings
from apps.measuring.services.plausible import Looked, second_looks
from apps.reporting.facts import Facts, freeze
from tests.cast import NOON, LabTestCase, a_marked_request, after_cycle, with_originals, with_readings
from tests.measuring.support import pair

ONE = {"count": 1, "fewer_reason": "short"}


class UnitTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **ONE)

    def read(self, name: str, text: str, unit: str, stage: int = 0) -> Reading:
        which = pair(self.request, name)
        return enter_reading(pair_id=which.pk, stage=stage, text=text, unit=unit, by=self.bea, at=NOON)

    def told(self, *args, **how) -> str:
        with self.assertRaises(Refusal) as refused:
            self.read(*args, **how)
        return " ".join(getattr(refused.exception, "cells", {}).values()) or str(refused.exception)

    def test_parts_of_an_inch_are_written_out(self):
        for name, text, unit, kept, mm in (
            ("A1 length 1", "9 5", "in8", "9 5/8", "244.475"),
            ("A1 length 2", "9-13", "in16", "9 13/16", "249.2375"),
            ("A1 length 3", "10", "in8", "10", "254"),
            ("A1 width 1", '9 7/8"', "in8", '9 7/8"', "250.825"),
        ):
            reading = self.read(name, text, unit)
            self.assertEqual((reading.text, reading.unit, reading.mm), (kept, "in", Decimal(mm)))

    def test_what_the_rule_of_the_sheet_cannot_show(self):
        self.assertIn("8 parts", self.told("A1 length 1", "9 9", "in8"))
        self.assertIn("finer unit", self.told("A1 length 1", "9 5/16", "in8"))
        self.assertIn("write 9 5", self.told("A1 length 1", "9.6", "in8"))

    def test_a_tape_that_types_its_unit(self):
        self.assertEqual(self.read("A1 length 1", "250.3 mm", "mm").text, "250.3")
        self.assertIn("read in in, and the sheet is in mm", self.told("A1 length 2", "9.6in", "mm"))

    def test_a_template_stands_as_the_original_and_is_read_in_percent(self):
        with_originals(self, self.request, "0", unit="pct")
        self.assertEqual(Reading.objects.first().shown, "mark of the template")
        after_cycle(self, self.request)
        texts = ["-2.5", "−2,0", "-3", "+1", "0", "0.5%"]
        self.assertIn("shrinkage or growth", self.told("A1 length 1", "2.5", "pct", stage=1))
        self.assertIn("percent template", self.told("A1 length 1", "244", "mm", stage=1))
        texts[5] = "+0.5%"
        with_readings(self, self.request, 1, texts, unit="pct")
        result = results_of([self.request])[self.request.pk]
        self.assertEqual([str(found.reported) for found in result.final], ["-2.5", "0.5"])
        self.assertEqual(Reading.objects.get(stage=1, text="-2.5").mm, Decimal("243.75"))
        cells = next(Facts(freeze([self.request])).requests[0].tables()).lines[0].cells
        self.assertEqual([cell.text for cell in cells], ["template", "−2.5 %"])

    def test_before_washing_a_template_is_nothing_but_nought(self):
        self.assertIn("type 0", self.told("A1 length 1", "-1", "pct"))

    def test_lengths_and_marks_of_a_template_are_not_mixed(self):
        self.read("A1 length 1", "250", "mm")
        self.assertIn("are lengths", self.told("A1 length 2", "0", "pct"))
        self.read("A1 width 1", "0", "pct")
        self.assertIn("marks of a percent template", self.told("A1 width 2", "250", "mm"))

    def test_a_length_is_not_followed_by_percent(self):
        with_originals(self, self.request)
        after_cycle(self, self.request)
        self.assertIn("read as a length", self.told("A1 length 1", "-2.5", "pct", stage=1))

    def test_bad_percent(self):
        with_originals(self, self.request, "0", unit="pct")
        after_cycle(self, self.request)
        for text in ("x", "-100", "1e3", "NaN", "-2.50000000000000000001", "9" * 40, "🧵", "--2"):
            with self.subTest(text[:9]), self.assertRaises(Refusal):
                self.read("A1 length 1", text, "pct", stage=1)

    def test_an_unknown_unit_is_refused(self):
        with self.assertRaises(Refusal):
            enter_readings(
                request_id=self.request.pk,
                stage=0,
                entries=[Entry(pair(self.request, "A1 length 1").pk, "1")],
                unit="ell",
                by=self.bea,
                at=NOON,
            )


class SiblingTests(LabTestCase):
    def looks(self, *ratios: str) -> list[int]:
        values = [
            Looked(key, "width", 250 * Decimal(ratio), Decimal(250), is_original=False)
            for key, ratio in enumerate(ratios)
        ]
        return list(second_looks(values, [], "mm"))

    def test_further_than_the_spread_of_the_siblings(self):
        self.assertEqual(self.looks("0.98", "0.978", "0.982", "0.92"), [3])
        self.assertEqual(self.looks("0.98", "0.978", "0.982", "0.95"), [])

    def test_a_knit_that_grows_all_over_asks_nothing(self):
        self.assertEqual(self.looks("1.20", "1.25", "1.18", "1.22"), [])
        self.assertEqual(self.looks("1.10", "1.25", "1.02", "1.30"), [])
