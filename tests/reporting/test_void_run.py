"""A wash that was broken off: it counts no cycle, and the report shows it with its conditions all the same."""

from io import BytesIO

from pypdf import PdfReader

from apps.core.errors import Refusal
from apps.intake.models import Request
from apps.laundering import services as laundry
from apps.measuring import services as bench
from apps.reporting.facts import Facts, freeze, seen
from apps.reporting.pdf import build
from tests.cast import NOON, LabTestCase, a_received_job, after_cycle, with_originals, with_readings
from tests.laundering.support import make_up, start
from tests.reporting.support import approve


class VoidRunTests(LabTestCase):
    def setUp(self):
        self.request = Request.objects.get(sample__job=a_received_job(self))
        bench.cut_and_mark(request_id=self.request.pk, count=3, by=self.bea, at=NOON)
        with_originals(self, self.request)
        self.void = make_up(self, self.request)
        start(self, self.void, water_temp_c="38.5")
        laundry.void_load(load_id=self.void.pk, reason="power cut", by=self.lou, at=NOON)
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, "245")

    def judge(self, decision: str = "go_on") -> None:
        pieces = self.void.pieces.values_list("pk", flat=True)
        text = "rinsed only, no influence"
        laundry.judge_void(piece_ids=pieces, decision=decision, text=text, by=self.mara, at=NOON)

    def test_it_is_judged_before_the_report_is_approved(self):
        with self.assertRaisesMessage(Refusal, f"A1, A2, A3: wetted in load {self.void.pk} without a cycle"):
            approve(self, self.request)

    def test_the_report_tells_the_run_and_whom_it_wetted(self):
        self.judge()
        facts = Facts.read(approve(self, self.request).facts)
        runs = {line.number: line for line in facts.load_lines}
        self.assertEqual(len(runs), 2)
        run = runs[str(self.void.pk)]
        self.assertTrue(run.void.startswith("no cycle counted for A1, A2, A3: power cut"), run.void)
        self.assertIn("Judged by Mara Manager, 2 Mar 2026, 12:00: rinsed only, no influence", run.void)
        self.assertIn("38.5 °C", run.bath)
        self.assertEqual(
            [line.void for line in facts.load_lines if line is not run and line.number != run.number], [""]
        )
        paper = " ".join(page.extract_text() for page in PdfReader(BytesIO(build(facts))).pages)
        self.assertIn(f"Load {self.void.pk}: no cycle counted for A1, A2, A3: power cut", " ".join(paper.split()))

    def test_what_the_manager_saw_covers_the_void_run(self):
        self.judge()
        before = seen(freeze([self.request]), str(self.request))
        facts = freeze([self.request])
        run = next(load for load in facts["loads"] if load["number"] == self.void.pk)
        run["water_temp_c"] = "20.0"
        self.assertNotEqual(seen(facts, str(self.request)), before)
