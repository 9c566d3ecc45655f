"""The customer's own pages: how far each job is, and what is reported; never more."""

from urllib.parse import quote

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apps.intake import services as intake
from apps.reporting import services as reporting
from tests.cast import (
    NOON,
    LabTestCase,
    a_marked_request,
    a_received_job,
    in_a_load,
    out_of_the_load,
    with_originals,
    with_readings,
)
from tests.reporting.support import LIMITS, SHRUNK, a_finished_job, an_issued_report, approve, finished, requests_of


class MyJobsTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.casey)

    def list(self) -> str:
        return self.client.get(reverse("portal:jobs")).content.decode()

    def job(self, job) -> str:
        return self.client.get(reverse("portal:job", args=[job.number])).content.decode()

    def test_own_jobs_only(self):
        own, other = a_received_job(self), a_received_job(self, customer=self.zweitfaden)
        page = self.list()
        assert own.number in page and other.number not in page
        assert self.client.get(reverse("portal:job", args=[own.number])).status_code == 200
        assert self.client.get(reverse("portal:job", args=[other.number])).status_code == 404

    def test_where_it_stands_step_by_step(self):
        job = a_received_job(self, cycles=2, measured_after=(1, 2))
        (request,) = requests_of(job)
        assert "Received" in self.list()
        request = a_marked_request(self, cycles=2, measured_after=(1, 2))
        job = request.sample.job
        steps = ["Cut and marked"]
        assert steps[0] in self.list()
        with_originals(self, request)
        assert "Washing, cycle 1 of 2" in self.list()
        load = in_a_load(self, request)
        assert "Washing, cycle 1 of 2" in self.list()
        out_of_the_load(self, load)
        assert "Measuring, after cycle 1 of 2" in self.list()
        with_readings(self, request, 1, SHRUNK * 3)
        assert "Washing, cycle 2 of 2" in self.list()
        out_of_the_load(self, in_a_load(self, request))
        with_readings(self, request, 2, SHRUNK * 3)
        assert "Being reviewed" in self.list()
        approve(self, request)
        assert "Being reviewed" in self.list()
        reporting.build_pending(limit=5, now=NOON)
        assert "Reported" in self.list()
        assert "(under way)" not in self.job(job)

    def test_as_far_as_the_test_that_has_come_least_far(self):
        job = a_received_job(self, samples=2)
        first, _ = requests_of(job)
        finished(self, first)
        approve(self, first)
        reporting.build_pending(limit=5, now=NOON)
        page = self.list()
        assert "1 of 2 tests reported" in page and f"{job.number}-01" in page

    def test_no_reading_no_note_no_deviation_before_the_report(self):
        job = a_finished_job(self, **LIMITS)
        request = requests_of(job)[0]
        intake.deviate(job_id=job.pk, kind="other", text="lint on A2", request_id=request.pk, by=self.lou, at=NOON)
        intake.send_back(request_id=request.pk, to="bench", reason="looks odd", by=self.mara, at=NOON)
        job.notes = "a difficult customer"
        job.save(update_fields=["notes"])
        pages = self.list() + self.job(job)
        for secret in ("−2.4", "lint on A2", "looks odd", "difficult", "245", "Pass", self.bea.full_name):
            assert secret not in pages, secret

    def test_results_of_what_is_reported(self):
        report = an_issued_report(self, **LIMITS)
        page = self.job(report.job)
        for part in ("−2.4 %", "−0.8 %", "Pass", f"/reports/{report.number}.pdf", f"/reports/{report.number}.csv"):
            assert part in page

    def test_superseded_and_withdrawn_are_marked_and_without_results(self):
        how = {"by": self.mara, "at": NOON}
        old, gone = an_issued_report(self, **LIMITS), an_issued_report(self, **LIMITS)
        reporting.open_amendment(report_id=old.pk, reason="x", opened_for="wording", **how)
        assert "Reported" in self.list()
        revised = reporting.approve_revision(report_id=old.pk, password_ok=True, **how)
        reporting.withdraw(report_id=gone.pk, reason="The wrong cloth.", **how)
        reporting.build_pending(limit=5, now=NOON)
        page = self.job(old.job)
        assert "superseded" in page and f"{revised.number}" in page and page.count("−2.4 %") == 1
        page = self.job(gone.job)
        assert "withdrawn" in page and "The wrong cloth." in page and "−2.4 %" not in page
        listed = self.list()
        assert "Reported, withdrawn" in listed
        assert f"{revised.number}.pdf" in listed and f"{gone.number}.pdf" not in listed

    def test_who_may(self):
        job = a_received_job(self)
        expected = {"fran": 403, "bea": 403, "lou": 403, "mara": 403, "casey": 200, "dana": 200, "nobody": 302}
        for name, status in expected.items():
            self.sign_in(getattr(self, name, None))
            assert self.client.get(reverse("portal:jobs")).status_code == status, name
            at_job = 404 if name == "dana" else status
            assert self.client.get(reverse("portal:job", args=[job.number])).status_code == at_job, name

    def test_dana_sees_nothing_of_it_anywhere(self):
        report = an_issued_report(self)
        self.sign_in(self.dana)
        assert report.job.number not in self.list() and "No job yet" in self.list()
        for address in (
            f"/my/{report.job.number}/",
            *(f"/reports/{report.number}{end}" for end in ("/", ".pdf", ".csv")),
        ):
            assert self.client.get(address).status_code == 404, address

    def test_numbers_that_are_none(self):
        for number in ("x", "x" * 500, "🧺", "\x00", "26-00001X"):
            assert self.client.get(f"/my/{quote(number)}/").status_code == 404

    def test_pages_of_fifty(self):
        for _ in range(51):
            a_received_job(self)
        assert "Page 1 of 2" in self.list()
        for page in ("2", "x", "-1", "9" * 40, "\x00"):
            assert self.client.get(reverse("portal:jobs"), {"page": page}).status_code == 200

    def test_queries_do_not_grow(self):
        def count() -> int:
            with CaptureQueriesContext(connection) as captured:
                self.list()
            return len(captured)

        a_received_job(self)
        an_issued_report(self)
        two = count()
        for _ in range(18):
            a_received_job(self, samples=2)
        for _ in range(2):
            an_issued_report(self)
        assert count() == two
