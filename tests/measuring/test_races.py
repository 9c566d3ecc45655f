"""Several people at once. On SQLite one writer at a time hides missing locks, so these count on PostgreSQL only."""

import threading
from concurrent.futures import ThreadPoolExecutor
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import TransactionTestCase

from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.locks import lock_requests
from apps.intake.models import Deviation, Specimen
from apps.measuring.models import BenchmarkPair, RackStay, Reading
from apps.measuring.services import Entry, correct_reading, cut_and_mark, enter_reading, enter_readings, put_on_rack
from tests.cast import NOON, a_marked_request, a_received_job, assemble, with_originals, with_readings
from tests.measuring.support import issue, pair

EIGHT = 8


@pytest.mark.race
class RaceTests(TransactionTestCase):
    def setUp(self):
        self.enterContext(clock.set_to(NOON))
        self.cast = assemble()

    def at_once(self, act) -> list:
        """What eight people get who act in the same moment: an answer, or the refusal's code."""
        start = threading.Barrier(EIGHT)

        def one(number: int):
            try:
                with clock.set_to(NOON):
                    start.wait()
                    return act(number)
            except Refusal as refusal:
                return refusal.code
            finally:
                connection.close()

        with ThreadPoolExecutor(EIGHT) as pool:
            return list(pool.map(one, range(EIGHT)))

    def test_the_same_pair_by_eight_people_is_one_row(self):
        request = a_marked_request(self.cast, count=1, fewer_reason="short")
        which = pair(request, "A1 length 1").pk
        who = {"unit": "mm", "by": self.cast.bea, "at": NOON}
        answers = self.at_once(lambda n: enter_reading(pair_id=which, stage=0, text="250", **who))
        self.assertEqual(len({answer.pk for answer in answers}), 1)
        self.assertEqual(Reading.objects.count(), 1)

    def test_a_rack_form_sent_eight_times_is_one_stay(self):
        request = a_marked_request(self.cast, count=1, fewer_reason="short")
        which, key = request.specimens.get().pk, uuid4()
        who = {"room_id": None, "by": self.cast.bea, "at": NOON, "key": key}
        answers = self.at_once(lambda n: put_on_rack(specimen_ids=[which], **who))
        self.assertEqual(len({stay.pk for (stay,) in answers}), 1)
        self.assertEqual(RackStay.objects.count(), 1)

    def test_eight_early_cells_are_one_deviation(self):
        request = a_marked_request(self.cast, count=1, fewer_reason="short")
        put_on_rack(specimen_ids=[request.specimens.get().pk], room_id=None, by=self.cast.bea, at=NOON)
        pairs = list(BenchmarkPair.objects.values_list("pk", flat=True))
        who = {"request_id": request.pk, "stage": 0, "unit": "mm", "by": self.cast.bea, "at": NOON}
        self.at_once(lambda n: enter_readings(entries=[Entry(pairs[n % 6], "250")], early_reason="in haste", **who))
        self.assertEqual(Reading.objects.count(), 6)
        self.assertEqual(Deviation.objects.filter(kind="conditioning").count(), 1)

    def test_different_values_by_eight_people_keep_the_first(self):
        request = a_marked_request(self.cast, count=1, fewer_reason="short")
        which = pair(request, "A1 length 1").pk
        who = {"unit": "mm", "by": self.cast.bea, "at": NOON}
        answers = self.at_once(lambda n: enter_reading(pair_id=which, stage=0, text=f"25{n}", **who))
        self.assertEqual(sum(answer == "cells" for answer in answers), EIGHT - 1)
        self.assertEqual(Reading.objects.count(), 1)

    def test_the_last_cell_of_a_sheet_moves_the_specimen_once(self):
        request = a_marked_request(self.cast, count=1, fewer_reason="short")
        keys = list(request.specimens.get().pairs.values_list("pk", flat=True))
        who = {"request_id": request.pk, "stage": 0, "unit": "mm", "by": self.cast.bea, "at": NOON}
        self.at_once(lambda n: enter_readings(entries=[Entry(keys[n % len(keys)], "250")], **who))
        self.assertEqual(Reading.objects.count(), 6)
        self.assertEqual(request.specimens.get().stage, Specimen.Stage.READY)

    def test_a_correction_by_eight_people_is_one(self):
        with_originals(self.cast, a_marked_request(self.cast, count=1, fewer_reason="short"))
        wrong = Reading.objects.first()
        who = {"unit": "mm", "reason": "slip", "by": self.cast.bea, "at": NOON}
        answers = self.at_once(lambda n: correct_reading(reading_id=wrong.pk, text=f"25{n + 1}", **who))
        self.assertEqual(answers.count("already_corrected"), EIGHT - 1)
        self.assertEqual(Reading.objects.filter(pair=wrong.pair, voided_at__isnull=True).count(), 1)

    def test_cutting_by_eight_people_cuts_once(self):
        job = a_received_job(self.cast)
        request = job.samples.get().requests.get()
        answers = self.at_once(lambda n: cut_and_mark(request_id=request.pk, count=3, by=self.cast.bea, at=NOON))
        self.assertEqual(answers.count("already_cut"), EIGHT - 1)
        self.assertEqual(Specimen.objects.count(), 3)

    def approving(self, request, act) -> list:
        """Let an approval hold the locks, not yet committed, while `act` is tried; then let it commit."""
        held, tried, answer = threading.Event(), threading.Event(), []

        def approval():
            with transaction.atomic():
                lock_requests([request.pk])
                held.set()
                tried.wait(5)
                issue(request, by=self.cast.mara)
            connection.close()

        def reader():
            try:
                with clock.set_to(NOON):
                    answer.append(act())
            except (Refusal, IntegrityError) as refusal:
                answer.append(refusal)
            finally:
                connection.close()

        first, second = threading.Thread(target=approval), threading.Thread(target=reader)
        first.start()
        held.wait(5)
        second.start()
        second.join(0.5)
        self.assertTrue(second.is_alive(), "it did not wait for the approval")
        tried.set()
        first.join()
        second.join()
        return answer

    def test_a_reading_behind_an_uncommitted_approval_does_not_get_in(self):
        request = with_readings(
            self.cast, a_marked_request(self.cast, count=1, fewer_reason="short"), 0, ["250", *[""] * 5]
        )
        which = pair(request, "A1 length 2").pk
        who = {"unit": "mm", "by": self.cast.bea, "at": NOON}
        (answer,) = self.approving(request, lambda: enter_reading(pair_id=which, stage=0, text="250", **who))
        self.assertEqual(answer.code, "request_locked")
        self.assertEqual(Reading.objects.count(), 1)

    def test_nor_past_the_service(self):
        """A row written straight into the table waits for the approval too, and is refused by the guard."""
        request = a_marked_request(self.cast, count=1, fewer_reason="short")
        which = pair(request, "A1 length 2")
        row = {"stage": 0, "text": "250", "unit": "mm", "mm": 250, "read_by": self.cast.bea, "at": NOON}
        (answer,) = self.approving(request, lambda: Reading.objects.create(pair=which, recorded_at=NOON, **row))
        self.assertIsInstance(answer, IntegrityError)
        self.assertEqual(Reading.objects.count(), 0)
