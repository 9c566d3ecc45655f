"""A garment on paper: its points, how it rested, twist, a lost mark."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO

from pypdf import PdfReader

from apps.core import clock
from apps.measuring.models import BenchmarkPair
from apps.measuring.queries import extras_offered
from apps.measuring.services import ExtraEntry, GarmentMarks, cut_and_mark, enter_extras, lose_mark, put_on_rack
from apps.methods.queries import points_for
from apps.reporting.facts import Facts
from apps.reporting.models import Report
from apps.reporting.pdf import build
from apps.reporting.services import approve
from tests.cast import NOON, LabTestCase, after_cycle, with_readings
from tests.measuring.test_garments import a_garment

HOUR = timedelta(hours=1)


class PaperTests(LabTestCase):
    def a_report(self) -> Report:
        request = a_garment(self, length_lower=Decimal(-3), width_lower=Decimal(-3), limits_source="invented")
        points = tuple(points_for("top").exclude(confidence="L").values_list("pk", flat=True))
        cut_and_mark(request_id=request.pk, count=3, garment=GarmentMarks(points), by=self.bea, at=NOON)
        pieces = list(request.specimens.all())
        who = {"by": self.bea, "at": NOON}
        put_on_rack(specimen_ids=[piece.pk for piece in pieces], room_id=None, hand_ironed="cool, no steam", **who)
        later = NOON + 9 * HOUR
        with clock.set_to(later):
            with_readings(
                self, request, 0, ["700", "702", "600", "601", "150", "151", "500", "120", "121"] * 3, at=later
            )
            after_cycle(self, request, at=later)
            (twist,) = extras_offered(request)
            rows = [
                ExtraEntry(f"{p.pk}{s}", twist.pk, p.pk, s, "-12", "600") for p in pieces for s in ("left", "right")
            ]
            enter_extras(request_id=request.pk, stage=1, entries=rows, unit="mm", by=self.bea, at=later)
            lost = BenchmarkPair.objects.filter(specimen=pieces[0], place="sleeve opening, right").get()
            lose_mark(pair_id=lost.pk, stage=1, reason="frayed", by=self.bea, at=later)
            after = ["686", "688", "588", "589", "148", "149", "487", "118"]
            with_readings(self, request, 1, [*after, "", *[*after, "119"] * 2], at=later)
            return approve(request_ids=[request.pk], password_ok=True, by=self.mara, at=later)

    def test_all_of_it_is_told(self):
        report = self.a_report()
        content = build(Facts.read(report.facts))
        text = " ".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)
        text = " ".join(text.split())
        for words in (
            "sleeve length, left",
            "7 chest width (width): One inch (25 mm) below the armhole",
            "Before washing: A1, A2, A3 in a room without a log of the air from 2 Mar 2026",
            "After cycle 1: not recorded",
            "each point on its own, over the garments",
            "hand ironed: cool, no steam",
            "Seam twist in garments before and after home laundering",
            "A1 sleeve opening, right: no reading from after cycle 1 on, frayed",
            "Sleeve opening, right after cycle 1 rests on 2 pairs; the method asks for 3.",
            "wash 40, dry low",
        ):
            self.assertIn(words, text)
