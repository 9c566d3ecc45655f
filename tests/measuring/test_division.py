"""How finely a rule was read, told from the figures typed."""

from decimal import Decimal

import pytest
from django.test import SimpleTestCase

from apps.measuring.division import division_of
from apps.measuring.models import Reading

pytestmark = pytest.mark.once

MM = Decimal(1)


def division(unit: str, *texts: str) -> Decimal:
    return division_of([Reading(unit=unit, text=text) for text in texts], MM)


class DivisionTests(SimpleTestCase):
    def test_the_finest_figure_typed_tells_the_rule(self):
        for unit, texts, told in (
            ("mm", ["250", "243"], "1"),
            ("mm", ["250", "243.5"], "1"),  # half a line is an estimate
            ("cm", ["25", "24.4"], "1"),
            ("in", ["9 3/4", "9 13/16", "10"], "1.5875"),
            ("in", ["9 3/4", "9-7/8"], "3.175"),
            ("in", ['9.6"', "9.8"], "2.54"),
            ("in", ["9.65", "9.8"], "1"),
            ("in", [" 9,8 "], "2.54"),
        ):
            with self.subTest(texts):
                self.assertEqual(division(unit, *texts), Decimal(told))

    def test_whole_figures_say_nothing_of_the_rule(self):
        """Marks set with a ten inch template are written "10": read to eighths at the coarsest, never to an inch."""
        for unit in ("cm", "in"):
            self.assertEqual(division(unit, "10"), Decimal("3.175"))

    def test_of_two_rules_the_coarser_counts(self):
        both = [Reading(unit="in", text="9 7/8"), Reading(unit="mm", text="243")]
        self.assertEqual(division_of(both, MM), Decimal("3.175"))
