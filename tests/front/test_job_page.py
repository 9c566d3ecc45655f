"""The job page: all rooms on one sheet, and what happened in plain words."""

import re
from pathlib import Path

from django.core.management import call_command

from apps.front.wording import WORDS, lines
from apps.intake.models import Job
from apps.intake.services import add_request, deviate
from apps.laundering.models import Load
from apps.measuring.models import BenchmarkPair
from apps.measuring.services import enter_reading
from apps.reporting.services import approve
from apps.trail.queries import timeline
from tests.cast import NOON, LabTestCase, a_marked_request, a_received_job, a_request_for, after_cycle, with_readings

APPS = Path(__file__).resolve().parent.parent.parent / "apps"
OF_JOBS = ("intake", "laundering", "measuring", "reporting", "api")


class JobPageTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.fran)

    def test_shows_the_job_through_all_rooms(self):
        request = after_cycle(self, with_a_job(self), cycles=1)
        with_readings(self, request, 1, "245")
        approve(request_ids=[request.pk], password_ok=True, by=self.mara, at=NOON)
        job = Job.objects.get()
        page = self.client.get(f"/jobs/{job.number}/")
        for text in ("Quellbach Hemden", f"{job.number}-A", "AATCC TM135-2018", f"{job.number}-01", "report issued"):
            self.assertContains(page, text)
        for happened in (
            "Job received with sample(s) A",
            "Specimens cut:",
            f"Load {Load.objects.get().pk} made up with A1 (cycle 1)",
            "Cycle ticked off",
        ):
            self.assertContains(page, happened)

    def test_each_way_of_testing_leads_to_its_own_sheet(self):
        job = a_received_job(self)
        sample = job.samples.get()
        add_request(sample_id=sample.pk, request=a_request_for(), by=self.fran, at=NOON)
        page = self.client.get(f"/jobs/{job.number}/")
        for ordinal in (1, 2):
            for sheet in ("readings", "results"):
                self.assertContains(page, f"/samples/{sample.code}/{sheet}/?request={ordinal}", count=1)

    def test_each_role_is_led_only_where_it_may_go(self):
        job = a_received_job(self)
        for person, cuts, reviews in ((self.fran, 0, 0), (self.lou, 0, 0), (self.bea, 1, 0), (self.mara, 1, 1)):
            self.sign_in(person)
            page = self.client.get(f"/jobs/{job.number}/")
            self.assertContains(page, f"/samples/{job.number}-A/cut/1/", count=cuts)
            self.assertContains(page, f"/approvals/{job.number}/", count=reviews)

    def test_a_deviation_of_a_load_leads_to_the_load(self):
        job = a_received_job(self)
        deviate(job_id=job.pk, kind="load", text="too light", load_number=7, by=self.mara, at=NOON)
        self.assertContains(self.client.get(f"/jobs/{job.number}/"), 'href="/laundry/loads/7/"')

    def test_a_customer_is_led_to_the_own_side(self):
        job = a_received_job(self)
        self.sign_in(self.casey)
        self.assertRedirects(self.client.get(f"/jobs/{job.number}/"), f"/my/{job.number}/")
        self.sign_in(self.dana)
        self.assertEqual(self.client.get(f"/jobs/{job.number}/").status_code, 404)

    def test_nothing_by_that_number(self):
        for number in ("26-99999X", "nonsense", "26-00147N'--", "x" * 200):
            with self.subTest(number):
                self.assertEqual(self.client.get(f"/jobs/{number}/").status_code, 404)

    def test_does_not_grow(self):
        small, large = a_received_job(self, samples=2), a_received_job(self, samples=22)
        self.client.get(f"/jobs/{small.number}/")
        with self.assertNumQueries(12):
            self.client.get(f"/jobs/{small.number}/")
        with self.assertNumQueries(12):
            self.client.get(f"/jobs/{large.number}/")


class WordingTests(LabTestCase):
    def test_cells_of_one_sheet_are_told_as_one(self):
        request = a_marked_request(self, count=2, fewer_reason="short")
        pairs = list(BenchmarkPair.objects.order_by("pk"))
        for pair in pairs:
            enter_reading(pair_id=pair.pk, stage=0, text="250", unit="mm", by=self.bea, at=NOON)
        told = [line["text"] for line in lines(timeline(request.sample.job.stream))]
        self.assertEqual(
            [text for text in told if text.startswith("Read ")], ["Read before washing: A1, A2 (12 values)"]
        )

    def test_every_act_on_a_job_has_its_words(self):
        kinds = {
            kind
            for room in OF_JOBS
            for path in (APPS / room).rglob("*.py")
            for kind in re.findall(r'kind="([a-z_]+\.[a-z_]+)"', path.read_text())
        }
        self.assertGreater(len(kinds), 20)
        self.assertEqual(kinds - set(WORDS), set())
        self.assertEqual(set(WORDS) - kinds, set(), "words for acts that nobody does")


class WorkerTests(LabTestCase):
    def test_makes_the_files_and_then_has_nothing_to_do(self):
        request = after_cycle(self, with_a_job(self), cycles=1)
        with_readings(self, request, 1, "245")
        report = approve(request_ids=[request.pk], password_ok=True, by=self.mara, at=NOON)
        call_command("worker", "--once", verbosity=0)
        self.assertEqual(report.files.count(), 1)
        call_command("worker", "--once", verbosity=0)
        self.assertEqual(report.files.count(), 1)


def with_a_job(cast):
    """A request of one cycle whose originals are in."""
    from tests.cast import a_marked_request, with_originals

    return with_originals(cast, a_marked_request(cast, cycles=1, measured_after=(1,)))
