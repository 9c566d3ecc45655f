"""Job numbers: a serial a year, without gaps, with a check character, however many desks log at once."""

from datetime import UTC, datetime
from threading import Barrier, Thread

import pytest
from django.db import connection
from django.test import TransactionTestCase, override_settings

from apps.calc.numbering import check_char, is_valid
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake import services
from apps.intake.models import Job, JobSerial, sample_letter
from apps.intake.services import JobDetails, SampleDetails
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase, a_received_job, assemble

AT_ONCE = 8


def receive(cast, *, at: datetime = NOON, samples: int = 1, key=None) -> Job:
    job = JobDetails(customer=cast.quellbach, received_at=at)
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


def all_at_once(act, times: int = AT_ONCE) -> list:
    """What `act(n)` gave or raised in each of several threads that begin together."""
    begin, given = Barrier(times, timeout=20), [None] * times

    def run(number: int) -> None:
        try:
            with clock.set_to(NOON):
                begin.wait()
                given[number] = act(number)
        except Exception as error:
            given[number] = error
        finally:
            connection.close()

    threads = [Thread(target=run, args=(number,)) for number in range(times)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return given


@pytest.mark.race
class DesksAtOnceTests(TransactionTestCase):
    serialized_rollback = False

    def setUp(self):
        from apps.trail.apps import raise_guards

        raise_guards()
        self.cast = assemble()

    def test_eight_desks_get_eight_numbers_without_a_gap(self):
        jobs = all_at_once(lambda _: a_received_job(self.cast))
        self.assertEqual(sorted(job.number[:8] for job in jobs), [f"26-{n:05d}" for n in range(1, AT_ONCE + 1)])
        self.assertEqual(JobSerial.objects.get(year=26).last, AT_ONCE)

    def test_one_form_sent_eight_times_at_once_is_one_job(self):
        import uuid

        key = uuid.uuid4()
        jobs = all_at_once(lambda _: receive(self.cast, key=key))
        self.assertEqual({job.pk for job in jobs}, {Job.objects.get().pk})
        self.assertEqual(TrailEntry.objects.filter(kind="job.received").count(), 1)

    def test_one_new_customer_sent_eight_times_at_once_is_one_customer(self):
        import uuid

        from apps.accounts.models import Customer
        from apps.intake.services import NewCustomer

        key = uuid.uuid4()

        def act(_):
            return services.receive_job(
                job=JobDetails(customer=NewCustomer("Neuweber GmbH"), received_at=NOON),
                samples=[SampleDetails("blue twill, invented", "woven")],
                by=self.cast.fran,
                at=NOON,
                key=key,
            )

        self.assertEqual(len({job.pk for job in all_at_once(act)}), 1)
        self.assertEqual(Customer.objects.filter(name="Neuweber GmbH").count(), 1)

    def test_eight_samples_added_at_once_get_eight_letters(self):
        job = receive(self.cast)
        sample = SampleDetails("blue twill, invented", "woven")
        all_at_once(lambda _: services.add_sample(job_id=job.pk, sample=sample, by=self.cast.fran, at=NOON))
        self.assertEqual(list(job.samples.order_by("id").values_list("letter", flat=True)), list("ABCDEFGHI"))
