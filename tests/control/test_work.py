"""Work in hand: what is open, how late, and where it waits."""

from io import BytesIO

from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from apps.control.queries.work import STEPS, work_in_hand
from apps.intake.models import Job
from tests.cast import NOON, LabTestCase, a_marked_request, a_received_job, in_a_load, with_originals
from tests.control.support import DAY
from tests.reporting.support import a_finished_job, an_issued_report

TODAY = NOON.date()


class WorkTests(LabTestCase):
    def at(self, step: str) -> list[str]:
        return list(work_in_hand(user=self.mara, step=step).values_list("number", flat=True))

    def test_each_job_stands_at_its_step_and_a_reported_one_nowhere(self):
        cut = a_received_job(self)
        marked = a_marked_request(self).sample.job
        ready = with_originals(self, a_marked_request(self)).sample.job
        washing = with_originals(self, a_marked_request(self))
        in_a_load(self, washing)
        through = a_finished_job(self)
        reported = an_issued_report(self).job
        found = {"cut": cut, "marked": marked, "ready": ready, "in_load": washing.sample.job, "approve": through}
        for step in STEPS:
            with self.subTest(step=step):
                self.assertEqual(self.at(step), [found[step].number] if step in found else [])
        self.assertNotIn(reported.number, self.at(""))
        self.assertEqual(len(self.at("")), 5)

    def test_the_oldest_due_date_first_and_none_last(self):
        days = {None: "no date promised", 5: "in time", -1: "late", 2: "about to be late", 3: "in time"}
        for day in days:
            job = a_received_job(self)
            Job.objects.filter(pk=job.pk).update(due_on=None if day is None else TODAY + day * DAY)
        self.sign_in(self.fran)
        page = self.client.get("/control/work/")
        told = [(row.days_left, row.state) for row in page.context["rows"]]
        self.assertEqual(told, [(day, days[day]) for day in (-1, 2, 3, 5, None)])
        self.assertContains(page, "5 in hand, 1 late, 1 due today or within two days")

    def test_of_one_customer_and_nonsense_asks_for_all(self):
        a_received_job(self)
        theirs = a_received_job(self, customer=self.zweitfaden)
        self.sign_in(self.mara)
        page = self.client.get("/control/work/", {"customer": self.zweitfaden.pk})
        self.assertEqual([row.job for row in page.context["rows"]], [theirs])
        for asked in ({"customer": "x", "step": "y"}, {"page": "99"}):
            self.assertEqual(len(self.client.get("/control/work/", asked).context["rows"]), 2)

    def test_days_that_are_over_are_a_figure(self):
        Job.objects.filter(pk=a_received_job(self).pk).update(due_on=TODAY - 3 * DAY)
        self.sign_in(self.fran)
        self.assertIn(",-3,late,", self.client.get("/control/work.csv").content.decode("utf-8-sig"))
        book = load_workbook(BytesIO(self.client.get("/control/work.xlsx").content))
        self.assertEqual(book.active["F2"].value, -3)

    def test_tables_to_keep_are_harmless(self):
        job = a_received_job(self)
        Job.objects.filter(pk=job.pk).update(purchase_order="=1+1", due_on=TODAY)
        self.sign_in(self.fran)
        text = self.client.get("/control/work.csv").content.decode("utf-8-sig")
        self.assertIn(f"{job.number},Quellbach Hemden,'=1+1,", text)
        self.assertIn(",0,about to be late,1 to be cut", text)
        book = load_workbook(BytesIO(self.client.get("/control/work.xlsx").content))
        (row,) = book.active.iter_rows(min_row=2, values_only=True)
        self.assertEqual((row[0], row[2], row[5]), (job.number, "'=1+1", 0))

    def test_who_may(self):
        for person, status in ((self.fran, 200), (self.mara, 200), (self.bea, 403), (self.lou, 403), (self.casey, 403)):
            self.sign_in(person)
            self.assertEqual(self.client.get("/control/work/").status_code, status)

    def test_the_number_of_queries_does_not_grow(self):
        self.sign_in(self.mara)
        counted = []
        for jobs in (2, 20):
            for _ in range(jobs):
                a_received_job(self)
            with CaptureQueriesContext(connection) as seen:
                self.client.get("/control/work/")
            counted.append(len(seen))
        self.assertEqual(counted[0], counted[1])
