"""What was tested with a machine or an instrument, and which reports went out on it."""

from datetime import timedelta
from io import BytesIO

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from apps.control.queries import touched
from apps.laundering.models import Load, LoadCorrection
from apps.reporting import services as reporting
from tests.cast import NOON, LabTestCase, a_calibration
from tests.equipment.support import a_piece
from tests.reporting.support import a_finished_job, an_issued_report

DAY = timedelta(days=1)
READERS = {"nobody": 302, "fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 403, "dana": 403}


def codes(equipment, on=None) -> list[str]:
    return [row.code for row in touched.specimens_touched(touched.use_since(equipment, on))]


class TouchedTests(LabTestCase):
    def page(self, equipment, kind="", who=None, **query):
        self.sign_in(who or self.mara)
        return self.client.get(reverse(f"control:touched{kind}", args=[equipment.pk]), query)

    def test_a_washer_touches_what_it_washed_and_the_report_on_it(self):
        report = an_issued_report(self)
        page = self.page(self.washers[0])
        pieces = [f"{report.job.number}-A{number}" for number in (1, 2, 3)]
        self.assertEqual([row.specimen.code for row in page.context["rows"]], pieces)
        self.assertContains(page, report.number)
        self.assertContains(page, "load")
        self.assertEqual(codes(self.dryers[0]), pieces)
        self.assertEqual(codes(self.washers[1]), [])

    def test_only_what_came_after_the_last_good_calibration(self):
        an_issued_report(self)
        washer = self.washers[0]
        self.assertEqual(len(codes(washer, NOON.date())), 3)  # the day itself is counted in
        self.assertEqual(codes(washer, NOON.date() + DAY), [])
        a_calibration(self, washer, at=NOON, done_on=NOON.date())
        a_calibration(self, washer, at=NOON + DAY, done_on=NOON.date() + DAY, usable=False)
        self.assertEqual(touched.good_calibrations(washer)[0].done_on, NOON.date())

    def test_the_newest_correction_says_which_washer_it_was(self):
        a_finished_job(self)
        load = Load.objects.filter(state="washed").latest("pk")
        said = {
            field.name: getattr(load, field.name) for field in LoadCorrection._meta.fields if hasattr(load, field.name)
        }
        said |= {"id": None, "washer": self.washers[1], "load": load, "revision": 1, "reason": "x", "by": self.mara}
        before = set(codes(self.washers[0]))
        LoadCorrection.objects.create(**said, at=NOON)
        moved = {piece.specimen.code for piece in load.pieces.select_related("specimen")}
        self.assertEqual(set(codes(self.washers[1])), moved)
        cleared = moved - {p.specimen.code for other in Load.objects.exclude(pk=load.pk) for p in other.pieces.all()}
        self.assertEqual(set(codes(self.washers[0])), before - cleared)

    def test_a_rule_touches_every_length_and_says_so(self):
        report = an_issued_report(self)
        page = self.page(a_piece(self, "rule", "Tape 9"))
        self.assertContains(page, "every length read since is counted in")
        self.assertContains(page, "read before washing, after cycle")
        self.assertContains(page, report.number)
        self.assertEqual(codes(a_piece(self, "scale", "Scale 9")), [])

    def test_the_files_have_a_line_for_each_piece(self):
        report = an_issued_report(self)
        lines = self.page(self.washers[0], "_csv").content.decode("utf-8-sig").splitlines()
        self.assertEqual(lines[0], "job,customer,specimen,method,touched_by,report,issued,report_state")
        self.assertEqual(len(lines), 4)
        sheet = load_workbook(BytesIO(self.page(self.washers[0], "_xlsx").content)).active
        self.assertEqual([sheet.cell(row, 6).value for row in (2, 3, 4)], [report.number] * 3)
        reporting.withdraw(report_id=report.pk, reason="invented", by=self.mara, at=NOON)
        self.assertIn("withdrawn", self.page(self.washers[0], "_csv").content.decode())

    def test_a_day_that_is_none_is_told(self):
        page = self.page(self.washers[0], since="31 June")
        self.assertEqual(page.status_code, 422)
        self.assertContains(page, "No such day", status_code=422)

    def test_who_may_read_it(self):
        for name, user in {"nobody": None, **{n: getattr(self, n) for n in READERS if n != "nobody"}}.items():
            with self.subTest(name):
                self.sign_in(user)
                for kind in ("", "_csv", "_xlsx"):
                    answer = self.client.get(reverse(f"control:touched{kind}", args=[self.washers[0].pk]))
                    self.assertEqual(answer.status_code, READERS[name])

    def test_queries_do_not_grow(self):
        counts = []
        for _ in range(2):
            for _ in range(2 if not counts else 6):
                an_issued_report(self, with_file=False)
            self.page(self.washers[0])  # the session is there
            for kind in ("", "_csv"):
                with CaptureQueriesContext(connection) as asked:
                    self.page(self.washers[0], kind)
                counts.append(len(asked))
        self.assertEqual(counts[:2], counts[2:])
