"""What the readings come to: worked examples from outside, and the rules about which readings count."""

from decimal import Decimal

from apps.accounts.models import Lab
from apps.intake.services import set_aside
from apps.measuring.models import Reading
from apps.measuring.queries import results_of
from apps.measuring.results import RequestResult
from apps.measuring.services import correct_reading, lose_mark
from apps.methods.models import TestMethod
from tests.cast import NOON, LabTestCase, a_marked_request, after_cycle, with_originals, with_readings
from tests.measuring.support import pair

ONE = {"count": 1, "fewer_reason": "short"}


class ResultTests(LabTestCase):
    def result(self, request) -> RequestResult:
        return results_of([request])[request.pk]

    def measured(self, before, after, *, unit="mm", cut, **order):
        """A request measured before washing and after its one cycle, and its result."""
        code = f"own-{TestMethod.objects.count()}"
        method = TestMethod.objects.create(
            code=code, designation="Own", edition=code, family="aatcc", applies_to="fabric", **cut
        )
        request = a_marked_request(self, count=method.specimens, **{"method": method.code, **order})
        with_originals(self, request, before, unit=unit)
        after_cycle(self, request)
        return self.result(with_readings(self, request, 1, after, unit=unit))

    def a_method(self, benchmark="250", specimens=1, pairs=1, averaging="ratio_of_means", step="0.1"):
        return {
            "specimens": specimens,
            "pairs_per_direction": pairs,
            "specimen_side_mm": Decimal(10_000),
            "benchmark_mm": Decimal(benchmark),
            "averaging": averaging,
            "rounding_step": Decimal(step),
            "reading_resolution_mm": Decimal(1),
        }


class WorkedExampleTests(ResultTests):
    """Published figures: before, after, unit, to 0.1 % and to 0.5 % (half to even), where from."""

    PUBLISHED = [
        ("35", "32", "cm", "-8.6", "-8.5", "textilepad.com 2022"),
        ("35", "33", "cm", "-5.7", "-5.5", "textilelearner 2013, its 6 % divides by the length after"),
        ("12 1/2", "12 1/4", "in", "-2.0", "-2.0", "12.5 in template: one quarter is 2 %"),
        ("12.5", "12 1/8", "in", "-3.0", "-3.0", "12.5 in template: one eighth is 1 %"),
        ("36", "35", "in", "-2.8", "-3.0", "quiltingboard.com, printed 2.7 % (cut off, not rounded)"),
        ("42", "41", "in", "-2.4", "-2.5", "quiltingboard.com"),
        ("90", "86.4", "cm", "-4.0", "-4.0", "fqmxn.com"),
        ("80", "78.6", "cm", "-1.8", "-2.0", "fqmxn.com, printed 2 %; a tie at 0.1 %"),
        ("35", "35.7", "cm", "2.0", "2.0", "growth is plus"),
        ("250", "250", "mm", "0.0", "0.0", "no change, and never minus nought"),
    ]

    def test_published_figures(self):
        for before, after, unit, fine, coarse, source in self.PUBLISHED:
            for step, reported in (("0.1", fine), ("0.5", coarse)):
                with self.subTest(source, step=step):
                    mm = {"cm": 10, "in": Decimal("25.4"), "mm": 1}[unit]
                    mark = Decimal(eval_length(before)) * mm
                    cut = self.a_method(benchmark=str(round(mark, 1)), step=step)
                    result = self.measured(before, after, unit=unit, cut=cut)
                    self.assertEqual([str(r.reported) for r in result.final], [reported, reported])

    def test_nine_pairs_on_250_mm(self):
        """Nine lengths of 250; their mean after is 243.7778, the change -2.4889."""
        lengths = ["244", "243", "244", "245", "244", "243", "242", "244", "245"]
        after = [*lengths[:3], *["250"] * 3, *lengths[3:6], *["250"] * 3, *lengths[6:], *["250"] * 3]
        for step, reported in (("0.1", "-2.5"), ("0.5", "-2.5")):
            result = self.measured("250", after, cut=self.a_method(specimens=3, pairs=3, step=step))
            length, width = result.final
            self.assertEqual(round(length.summary.change, 4), Decimal("-2.4889"))
            self.assertEqual((str(length.reported), str(width.reported)), (reported, "0.0"))
            self.assertEqual((length.summary.n_specimens, length.summary.n_pairs), (3, 9))

    def test_the_order_of_averaging_shows_in_the_figure(self):
        """Three pieces 700, 650, 725 -> 680, 640, 700: the mean of the changes is -2.6146, of the lengths -2.6506."""
        before, after = ["700", "700", "650", "650", "725", "725"], ["680", "680", "640", "640", "700", "700"]
        for averaging, change, reported in (
            ("mean_of_changes", "-2.6146", "-2.6"),
            ("ratio_of_means", "-2.6506", "-2.7"),
        ):
            cut = self.a_method(benchmark="690", specimens=3, averaging=averaging)
            result = self.measured(before, after, cut=cut)
            self.assertEqual(round(result.final[0].summary.change, 4), Decimal(change))
            self.assertEqual(str(result.final[0].reported), reported)
            each = [str(figure) for figure in result.final[0].per_specimen.values()]
            self.assertEqual(each, ["-2.9", "-1.5", "-3.4"])


def eval_length(text: str) -> str:
    whole, _, part = text.partition(" ")
    over, _, under = part.partition("/")
    return str(Decimal(whole) + (Decimal(over) / Decimal(under) if part else 0))


class WhatCountsTests(ResultTests):
    def setUp(self):
        self.request = with_originals(self, a_marked_request(self, cycles=3, measured_after=(1, 3)))

    def lengths(self, result, stage) -> str:
        return str(result.of("length", stage).reported)

    def test_what_is_missing_is_named(self):
        missing = self.result(self.request).missing
        self.assertEqual(missing[0], "A1 has had 0 of 3 cycles.")
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, ["245", "245", "", *["245"] * 15])
        result = self.result(self.request)
        self.assertIn("A1 is not read after cycle 1: length 3.", result.missing)
        self.assertEqual((result.complete, result.stages, result.final), (False, [1], []))
        self.assertEqual(result.of("length", 1).summary.n_pairs, 8)

    def test_all_read_is_complete(self):
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, "245")
        after_cycle(self, self.request, cycles=2)
        with_readings(self, self.request, 3, "240")
        result = self.result(self.request)
        self.assertEqual((result.complete, result.missing, result.stages), (True, [], [1, 3]))
        self.assertEqual(result.curve["length"], [(1, Decimal("-2.0")), (3, Decimal("-4.0"))])
        self.assertIn("all pairs", result.curve_note)
        self.assertEqual([r.stage for r in result.final], [3, 3])

    def test_a_specimen_set_aside_is_left_out_and_named(self):
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, ["245"] * 12 + ["200"] * 6)
        self.assertEqual(self.lengths(self.result(self.request), 1), "-8.0")
        spoilt = self.request.specimens.get(number=3)
        set_aside(specimen_id=spoilt.pk, reason="caught in the door", by=self.bea, at=NOON)
        result = self.result(self.request)
        self.assertEqual((self.lengths(result, 1), result.set_aside), ("-2.0", [spoilt]))
        self.assertEqual(len(result.rows), 12)

    def test_a_corrected_reading_counts_in_its_stead(self):
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, "245")
        wrong = Reading.objects.filter(stage=1, pair__direction="length").first()
        correct_reading(reading_id=wrong.pk, text="236", unit="mm", reason="slip", by=self.bea, at=NOON)
        self.assertEqual(self.lengths(self.result(self.request), 1), "-2.4")

    def test_the_curve_rests_on_pairs_common_to_all_stages(self):
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, ["233", *["245"] * 17])
        after_cycle(self, self.request, cycles=2)
        lost = pair(self.request, "A1 length 1")
        lose_mark(pair_id=lost.pk, stage=3, reason="frayed", by=self.bea, at=NOON)
        with_readings(self, self.request, 3, ["", *["240"] * 17])
        result = self.result(self.request)
        self.assertEqual(self.lengths(result, 1), "-2.5")  # nine pairs
        self.assertEqual(result.curve["length"], [(1, Decimal("-2.0")), (3, Decimal("-4.0"))])  # the eight
        self.assertIn("1 pair was not", result.curve_note)
        self.assertTrue(result.complete)

    def test_all_pairs_of_a_direction_lost_is_not_complete(self):
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, "245")
        after_cycle(self, self.request, cycles=2)
        for row in self.result(self.request).rows:
            if row.direction == "width":
                lose_mark(pair_id=row.pair.pk, stage=3, reason="bled", by=self.bea, at=NOON)
        with_readings(self, self.request, 3, ["240", "240", "240", "", "", ""] * 3)
        result = self.result(self.request)
        self.assertEqual(result.missing, ["The width has no pair that was read before washing and after cycle 3."])


class VerdictTests(ResultTests):
    def judged(self, after, **order):
        result = self.measured("250", after, cut=self.a_method(specimens=2, pairs=1), **order)
        return result.final[0]

    def test_no_limits_no_verdict(self):
        direction = self.judged("245")
        self.assertEqual((direction.verdict, direction.state, direction.has_limits), (None, "", False))

    def test_on_the_reported_figure_with_limits_of_its_direction(self):
        """-3.04 is reported as -3.0 and passes a limit of -3.0."""
        direction = self.judged("242.4", length_lower=Decimal("-3.0"))
        self.assertEqual((direction.state, str(direction.reported)), ("pass", "-3.0"))

    def test_width_without_limits_has_none(self):
        result = self.measured("250", "230", cut=self.a_method(specimens=2), length_lower=Decimal("-3.0"))
        self.assertEqual([d.state for d in result.final], ["fail", ""])

    def test_guarded_says_how_near(self):
        """u: no spread, 1 mm read on 250 and 243 mm: 100 / 250 sqrt(1 + (243 / 250)^2) / sqrt(12) = 0.161 %."""
        direction = self.judged("243", length_lower=Decimal("-3.0"), decision_rule="guarded")
        self.assertEqual(round(direction.u, 3), Decimal("0.161"))
        self.assertEqual(
            (direction.state, round(direction.verdict.lower_limit, 2)), ("conditional_pass", Decimal("-2.68"))
        )

    def test_limits_too_near_for_the_guard_bands_give_a_sentence(self):
        direction = self.judged(
            "243", length_lower=Decimal("-3.0"), length_upper=Decimal("-2.9"), decision_rule="guarded"
        )
        self.assertIsNone(direction.verdict)
        self.assertIn("guard bands leave nothing", direction.no_verdict)

    def test_spread_and_division_combine(self):
        """245 and 240 of 250: -2 and -4, sd sqrt(2), sd / sqrt(2) = 1; with the division 0.161: sqrt(1 + 0.0259)."""
        direction = self.judged(["245", "245", "240", "240"])
        self.assertEqual(round(direction.spread.between, 6), 1)
        self.assertEqual(round(direction.spread.division, 3), Decimal("0.161"))
        self.assertEqual(round(direction.u, 3), Decimal("1.013"))

    def test_eighths_of_an_inch_are_less_sure_than_millimetres(self):
        """3.175 mm read on 10 in and 9 3/4 in: 100 / 254 sqrt(1 + (247.65 / 254)^2) 3.175 / sqrt(12) = 0.504 %."""
        cut = self.a_method(benchmark="254")
        direction = self.measured("10", "9 3/4", unit="in", cut=cut).final[0]
        self.assertEqual(direction.spread.step_mm, Decimal("3.175"))
        self.assertEqual(round(direction.u, 3), Decimal("0.504"))
        self.assertEqual(self.measured("10", "9 13/16", unit="in", cut=cut).final[0].spread.step_mm, Decimal("1.5875"))

    def test_one_specimen_has_the_division_only(self):
        direction = self.measured("250", "245", cut=self.a_method()).final[0]
        self.assertEqual((direction.spread.between, direction.u), (None, direction.spread.division))

    def test_a_limit_between_two_steps_is_warned_of(self):
        result = self.measured("250", "245", cut=self.a_method(step="0.5"), length_lower=Decimal("-2.8"))
        self.assertIn("to the nearest 0.5 %", result.final[0].warning)
        self.assertEqual(result.final[1].warning, "")

    def test_ties_follow_the_lab(self):
        """80 -> 78.6 cm is -1.75 exactly."""
        for tie, reported in (("even", "-1.8"), ("away", "-1.8")):
            Lab.objects.update(tie=tie)
            direction = self.measured("800", "786", cut=self.a_method(benchmark="800")).final[0]
            self.assertEqual(str(direction.reported), reported)
        for tie, reported in (("even", "-1.2"), ("away", "-1.3")):
            Lab.objects.update(tie=tie)
            direction = self.measured("800", "790", cut=self.a_method(benchmark="800")).final[0]
            self.assertEqual(str(direction.reported), reported)


class QueryCountTests(ResultTests):
    def test_constant_number_of_queries(self):
        requests = []
        for wanted in (2, 22):
            while len(requests) < wanted:
                request = with_originals(self, a_marked_request(self, **ONE))
                requests.append(with_readings(self, after_cycle(self, request), 1, "245"))
            fresh = type(request).objects.filter(pk__in=[request.pk for request in requests])
            with self.subTest(wanted), self.assertNumQueries(9):
                results = results_of(fresh)
                self.assertEqual(len(results), wanted)
                self.assertTrue(all(result.complete for result in results.values()))
