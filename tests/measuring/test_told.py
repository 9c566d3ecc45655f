"""Results in words, with the numbers in them."""

from decimal import Decimal
from unittest import TestCase

from apps.measuring import told
from apps.measuring.queries import results_of
from apps.methods.models import TestMethod
from tests.cast import LabTestCase, a_marked_request, after_cycle, with_originals, with_readings


class WordTests(TestCase):
    def test_limits(self):
        cases = [
            (("-3.00", "3.00"), "−3.0 % to +3.0 %"),
            (("-3.00", None), "not below −3.0 %"),
            ((None, "2.25"), "not above +2.25 %"),
            (("-5", "0.00"), "−5.0 % to 0.0 %"),
            ((None, None), ""),
        ]
        for (lower, upper), words in cases:
            with self.subTest(words):
                limits = [None if value is None else Decimal(value) for value in (lower, upper)]
                self.assertEqual(told.limits(*limits), words)

    def test_a_percent_has_its_sign_and_no_spare_noughts(self):
        cases = [("-2.48888", "−2.4889 %"), ("0.00001", "0 %"), ("2", "+2 %"), ("-0.5", "−0.5 %"), ("-10", "−10 %")]
        for value, text in cases:
            self.assertEqual(told.percent(Decimal(value)), text)


class DerivationTests(LabTestCase):
    def result(self, *, averaging, **order):
        code = f"own-{averaging}"
        method = TestMethod.objects.create(
            code=code,
            designation="Own",
            edition=code,
            family="aatcc",
            applies_to="fabric",
            specimens=2,
            pairs_per_direction=2,
            specimen_side_mm=380,
            benchmark_mm=250,
            averaging=averaging,
            rounding_step=Decimal("0.1"),
            reading_resolution_mm=1,
        )
        request = with_originals(self, a_marked_request(self, count=2, method=method.code, **order))
        after = ["244", "245", "250", "250", "243", "244", "250", "250"]
        with_readings(self, after_cycle(self, request), 1, after)
        return request, results_of([request])[request.pk].final[0]

    def test_the_change_of_the_means(self):
        request, found = self.result(averaging="ratio_of_means")
        self.assertEqual(
            told.derivation(found, request, "even"),
            [
                "Mean A before washing: (250 + 250 + 250 + 250) / 4 = 250 mm",
                "Mean B after cycle 1: (244 + 245 + 243 + 244) / 4 = 244 mm",
                "Change: 100 × (244 − 250) / 250 = −2.4 %",
                "Reported to the nearest 0.1 % (a figure exactly between two goes to the even figure): −2.4 %",
            ],
        )

    def test_the_mean_of_the_changes(self):
        request, found = self.result(averaging="mean_of_changes")
        lines = told.derivation(found, request, "away")
        self.assertEqual(lines[0], "A1: 100 × (244 − 250) / 250 = −2.4 %, 100 × (245 − 250) / 250 = −2 %; mean −2.2 %")
        self.assertEqual(lines[2], "Mean of the specimens: (−2.2 % + −2.6 %) / 2 = −2.4 %")
        self.assertIn("away from zero", lines[3])

    def test_verdict_and_uncertainty_say_what_they_rest_on(self):
        order = {"length_lower": Decimal(-3), "length_upper": Decimal(3), "decision_rule": "guarded"}
        request, found = self.result(averaging="ratio_of_means", **order)
        self.assertEqual(
            told.verdict(found, request),
            "−2.4 % against −3.0 % to +3.0 %: within the limits (guarded acceptance, on the reported figure);"
            " the guard band is 2 u, so accepted is −2.49 % to +2.49 %.",
        )
        self.assertEqual(
            told.uncertainty(found),
            "u = 0.26 %: 0.20 % from specimen to specimen (s / √2) and 0.16 % from the division of the rule (1 mm,"
            " read before and after), combined as a root of squares. What differs from machine to machine and from day"
            " to day is not in it.",
        )
