"""Letters to the customer: it came in, it takes longer, it is late."""

from dataclasses import replace
from datetime import date, timedelta

from django.core.management import call_command

from apps.accounts.models import Customer, Outgoing, User
from apps.core import clock
from apps.intake import services
from apps.intake.models import Job
from apps.intake.services.details import JOB_COLUMNS, JobDetails
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase, a_received_job
from tests.intake.issued import issued


class NoticeTests(LabTestCase):
    def letters(self) -> list[Outgoing]:
        return list(Outgoing.objects.order_by("pk"))

    def move(self, job: Job, due_on: date | None):
        shown = JobDetails(**{name: getattr(job, name) for name in JOB_COLUMNS})
        details = replace(shown, due_on=due_on)
        services.correct_job(job_id=job.pk, shown=shown, job=details, reason="", by=self.fran, at=NOON)
        job.refresh_from_db()

    def test_receipt_is_told_to_the_people_of_the_company_only(self):
        User.objects.filter(pk=self.dana.pk).update(customer=self.quellbach, is_active=False)
        job = a_received_job(self)
        (letter,) = self.letters()
        self.assertEqual((letter.to, letter.subject), ("casey@example.com", f"Job {job.number} came in"))
        self.assertIn(f"http://127.0.0.1:8000/my/{job.number}/", letter.body)
        self.assertIn("This laboratory", letter.body)

    def test_a_company_without_people_is_told_at_its_own_address(self):
        User.objects.filter(pk=self.casey.pk).update(is_active=False)
        Customer.objects.filter(pk=self.quellbach.pk).update(email="office@example.com")
        self.quellbach.refresh_from_db()
        a_received_job(self)
        self.assertEqual([letter.to for letter in self.letters()], ["office@example.com"])

    def test_nobody_to_tell(self):
        User.objects.filter(pk=self.casey.pk).update(email="")
        Customer.objects.filter(pk=self.quellbach.pk).update(email="")
        self.quellbach.refresh_from_db()
        a_received_job(self)
        self.assertEqual(self.letters(), [])

    def test_a_later_due_date_is_told_an_earlier_one_is_not(self):
        job = a_received_job(self)
        self.move(job, date(2026, 3, 20))
        Outgoing.objects.all().delete()
        self.move(job, date(2026, 3, 18))
        self.assertEqual(self.letters(), [])
        self.move(job, date(2026, 3, 25))
        (letter,) = self.letters()
        self.assertIn("was due on 18 Mar 2026 and is now due on 25 Mar 2026", letter.body)

    def test_a_late_job_is_told_once_for_each_date(self):
        job = a_received_job(self)
        self.move(job, date(2026, 3, 3))
        a_received_job(self)  # no due date
        Outgoing.objects.all().delete()

        def told(day: int) -> list[str]:
            with clock.set_to(NOON + timedelta(days=day)) as at:
                services.tell_delays(limit=20, now=at or clock.now())
            return [letter.subject for letter in self.letters()]

        self.assertEqual(told(1), [], "on the due date itself")
        self.assertEqual(told(2), [f"Job {job.number} is late"])
        self.assertEqual(len(told(3)), 1)
        with clock.set_to(NOON + timedelta(days=3)):
            self.move(job, date(2026, 3, 9))
        Outgoing.objects.all().delete()
        self.assertEqual(told(6), [])
        self.assertEqual(told(8), [f"Job {job.number} is late"])
        self.assertEqual(TrailEntry.objects.filter(stream=job.stream, kind="job.delay_told").count(), 2)

    def test_a_job_that_is_reported_is_not_late(self):
        job = a_received_job(self)
        self.move(job, date(2026, 3, 3))
        issued(self, job.samples.get().requests.get())
        with clock.set_to(NOON + timedelta(days=5)):
            self.assertEqual(services.tell_delays(limit=20, now=clock.now()), 0)

    def test_the_worker_sends_them(self):
        a_received_job(self)
        call_command("worker", "--once")
        self.assertTrue(all(letter.sent_at for letter in self.letters()))
