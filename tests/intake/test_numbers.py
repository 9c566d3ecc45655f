"""Job numbers: a serial a year, without gaps, with a check character, however many desks log at once."""

import uuid
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from django.test import TransactionTestCase, override_settings

from apps.accounts.models import Customer
from apps.calc.numbering import check_char, is_valid
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.intake import services
from apps.intake.columns import sample_letter
from apps.intake.models import Job, JobSerial
from apps.intake.services import JobDetails, NewCustomer, SampleDetails
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase, a_received_job, assemble
from tests.racing import at_once

AT_ONCE = 8


def receive(cast, *, at: datetime = NOON, samples: int = 1, key=None, customer=None) -> Job:
    job = JobDetails(customer=customer or cast.quellbach, received_at=at)
    sample = SampleDetails("blue twill, invented", "woven")
    with clock.set_to(at):
        return services.receive_job(job=job, samples=[sample] * samples, by=cast.fran, at=at, key=key)


class JobNumberTests(LabTestCase):
    def test_the_first_numbers_of_a_year(self):
        numbers = [receive(self).number for _ in range(3)]
        self.assertEqual([number[:8] for number in numbers], ["26-00001", "26-00002", "26-00003"])
        for number in numbers:
            self.assertEqual(number[-1], check_char(number[:-1]))
            self.assertTrue(is_valid(number))

    def test_each_year_begins_anew(self):
        receive(self)
        later = receive(self, at=datetime(2027, 1, 1, 8, 0, tzinfo=UTC))
        self.assertTrue(later.number.startswith("27-00001"))
        self.assertTrue(receive(self).number.startswith("26-00002"), "a late entry goes on in its own year")

    @override_settings(TIME_ZONE="Europe/Vienna")
    def test_the_year_turns_on_the_lab_s_clock(self):
        self.assertTrue(receive(self, at=datetime(2026, 12, 31, 23, 30, tzinfo=UTC)).number.startswith("27-"))

    def test_a_refused_job_takes_no_number(self):
        receive(self)
        with self.assertRaises(Refusal) as refusal:
            services.receive_job(
                job=JobDetails(customer=self.quellbach, received_at=NOON), samples=[], by=self.fran, at=NOON
            )
        self.assertEqual(refusal.exception.code, "no_sample")
        self.assertTrue(receive(self).number.startswith("26-00002"))

    def test_the_last_number_of_a_year(self):
        JobSerial.objects.create(year=26, last=99_998)
        self.assertTrue(receive(self).number.startswith("26-99999"))
        with self.assertRaises(Refusal) as refusal:
            receive(self)
        self.assertEqual(refusal.exception.code, "no_number")

    def test_letters_after_z(self):
        self.assertEqual(
            [sample_letter(place) for place in (0, 25, 26, 51, 52, 701)], ["A", "Z", "AA", "AZ", "BA", "ZZ"]
        )
        job = receive(self, samples=30)
        codes = list(job.samples.order_by("id").values_list("code", flat=True))
        self.assertEqual(codes[25:28], [f"{job.number}-Z", f"{job.number}-AA", f"{job.number}-AB"])

    def test_a_job_is_full_at_zz(self):
        with self.assertRaises(Refusal) as refusal:
            receive(self, samples=703)
        self.assertEqual(refusal.exception.code, "too_many_samples")


@pytest.mark.race
class DesksAtOnceTests(TransactionTestCase):
    def setUp(self):
        self.enterContext(clock.set_to(NOON))
        self.cast = assemble()

    def at_once(self, act) -> list[Job]:
        return at_once(*[act] * AT_ONCE)

    def test_eight_desks_get_eight_numbers_without_a_gap(self):
        jobs = self.at_once(lambda: a_received_job(self.cast))
        self.assertEqual(sorted(job.number[:8] for job in jobs), [f"26-{n:05d}" for n in range(1, AT_ONCE + 1)])
        self.assertEqual(JobSerial.objects.get(year=26).last, AT_ONCE)

    def test_one_form_sent_eight_times_at_once_is_one_job(self):
        key = uuid.uuid4()
        jobs = self.at_once(lambda: receive(self.cast, key=key))
        self.assertEqual({job.pk for job in jobs}, {Job.objects.get().pk})
        self.assertEqual(TrailEntry.objects.filter(kind="job.received").count(), 1)

    def test_one_new_customer_sent_eight_times_at_once_is_one_customer(self):
        key = uuid.uuid4()
        jobs = self.at_once(lambda: receive(self.cast, customer=NewCustomer("Neuweber GmbH"), key=key))
        self.assertEqual(len({job.pk for job in jobs}), 1)
        self.assertEqual(Customer.objects.filter(name="Neuweber GmbH").count(), 1)

    def test_eight_samples_added_at_once_get_eight_letters(self):
        job = receive(self.cast)
        sample = SampleDetails("blue twill, invented", "woven")
        self.at_once(lambda: services.add_sample(job_id=job.pk, sample=sample, by=self.cast.fran, at=NOON))
        self.assertEqual(list(job.samples.order_by("id").values_list("letter", flat=True)), list("ABCDEFGHI"))

    def test_eight_who_correct_the_same_page_are_one_and_seven_stale(self):
        job = receive(self.cast)
        shown = JobDetails(**{name: getattr(job, name) for name in JobDetails.__dataclass_fields__})

        def correct():
            after = replace(shown, contact=str(uuid.uuid4()))
            return services.correct_job(
                job_id=job.pk, shown=shown, job=after, reason="misread", by=self.cast.fran, at=NOON
            )

        given = self.at_once(correct)
        self.assertEqual(sum(isinstance(one, StalePage) for one in given), AT_ONCE - 1, given)

    def test_eight_who_cut_at_once_cut_once(self):
        request = a_received_job(self.cast).samples.get().requests.get()
        given = self.at_once(lambda: services.cut_specimens(request_id=request.pk, count=3, by=self.cast.bea, at=NOON))
        self.assertEqual(sum(isinstance(one, Refusal) for one in given), AT_ONCE - 1, given)
        self.assertEqual(request.specimens.count(), 3)
