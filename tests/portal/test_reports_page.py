"""What was issued to a company: the list, and many files as one ZIP."""

import io
from datetime import timedelta
from zipfile import ZipFile

from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.reporting.models import Report
from apps.reporting.queries import pdf_bytes, reports
from tests.cast import NOON, LabTestCase, a_received_job
from tests.portal.test_pages import an_issued_report

URL, ZIP = "/my/reports/", "/my/reports/zip/"


class ReportsPageTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.casey)

    def test_own_reports_newest_first(self):
        first, second = an_issued_report(self), an_issued_report(self, at=NOON + timedelta(hours=0))
        other = an_issued_report(self, customer=self.zweitfaden)
        page = self.client.get(URL).content.decode()
        self.assertLess(page.index(second.number), page.index(first.number))
        self.assertNotIn(other.number, page)

    def test_found_by_number_or_order(self):
        report = an_issued_report(self)
        for part, there in ((report.number[3:8], True), (report.job.purchase_order, True), ("nowhere", False)):
            with self.subTest(part=part):
                page = self.client.get(URL, {"q": part}).content.decode()
                self.assertEqual(f"/reports/{report.number}/" in page, there)

    def test_one_without_its_file_is_not_seen_by_the_customer_yet(self):
        report = an_issued_report(self, with_file=False)
        self.assertNotContains(self.client.get(URL), report.number)
        self.assertEqual(self.client.post(ZIP, {"report": [report.number]}).status_code, 302)

    def test_odd_questions(self):
        for ask in ({"q": "\0"}, {"q": "x" * 10_000}, {"page": "9" * 30}, {"q": "%_'"}):
            self.assertEqual(self.client.get(URL, ask).status_code, 200)

    def test_queries_do_not_grow(self):
        def count() -> int:
            with CaptureQueriesContext(connection) as captured:
                self.client.get(URL)
            return len(captured)

        an_issued_report(self)
        an_issued_report(self)
        two = count()
        for _ in range(4):
            an_issued_report(self)
        self.assertEqual(count(), two)

    def test_who_may(self):
        for who, status in ((self.fran, 403), (self.mara, 403), (None, 302), (self.dana, 200)):
            self.sign_in(who)
            self.assertEqual(self.client.get(URL).status_code, status)
            self.assertEqual(self.client.get(ZIP).status_code, 405)


class BundleTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.casey)

    def take(self, *numbers):
        return self.client.post(ZIP, {"report": numbers})

    def test_the_files_as_they_were_made_and_as_long_as_was_said(self):
        issued = [an_issued_report(self) for _ in range(3)]
        answer = self.take(*(report.number for report in issued))
        content = b"".join(answer.streaming_content)
        self.assertEqual(len(content), int(answer["Content-Length"]))
        self.assertRegex(answer["Content-Disposition"], r'attachment; filename="reports-2026-03-02-1200.zip"')
        with ZipFile(io.BytesIO(content)) as bundle:
            self.assertIsNone(bundle.testzip())
            self.assertEqual(set(bundle.namelist()), {f"{report.number}.pdf" for report in issued})
            for report in reports(self.casey):
                self.assertEqual(bundle.read(f"{report.number}.pdf"), pdf_bytes(report))

    def test_one_file_is_read_at_a_time(self):
        answer = self.take(*(an_issued_report(self).number for _ in range(3)))
        sizes = [len(part) for part in answer.streaming_content]
        self.assertEqual(len(sizes), 4)
        self.assertLess(max(sizes), sum(sizes) / 2)

    def test_another_company_s_is_left_out_as_if_it_were_not_there(self):
        own, other = an_issued_report(self), an_issued_report(self, customer=self.zweitfaden)
        alone = b"".join(self.take(own.number).streaming_content)
        both = b"".join(self.take(own.number, other.number, "26-99999X-01", "\0", "x" * 500).streaming_content)
        self.assertEqual(alone, both)
        answer = self.client.post(ZIP, {"report": [other.number]}, follow=True)
        self.assertContains(answer, "Tick the reports to download.")

    def test_nothing_ticked(self):
        self.assertContains(self.client.post(ZIP, {}, follow=True), "Tick the reports to download.")


class FindJobsTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.casey)

    def listed(self, **ask) -> str:
        return self.client.get("/my/", ask).content.decode()

    def test_in_work_and_all(self):
        done, going = Report.objects.get(pk=an_issued_report(self).pk).job, a_received_job(self)
        self.assertIn(done.number, self.listed())
        self.assertIn(going.number, self.listed(show="open"))
        self.assertNotIn(f"/my/{done.number}/", self.listed(show="open"))

    def test_nothing_in_work(self):
        an_issued_report(self)
        self.assertIn("Nothing in work", self.listed(show="open"))

    def test_found_by_number_order_or_cloth(self):
        job = a_received_job(self)
        sample = job.samples.get()
        for part, there in ((job.number[3:], True), (sample.description[:6], True), ("nowhere", False)):
            with self.subTest(part=part):
                self.assertEqual(f"/my/{job.number}/" in self.listed(q=part), there)
