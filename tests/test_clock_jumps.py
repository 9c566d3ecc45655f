"""The server's clock goes back or forth between acts: nothing is lost, the chain stays whole, and sentences say why."""

from contextlib import contextmanager
from datetime import datetime, timedelta
from unittest import mock

import pytest
from axes.models import AccessAttempt
from django.core import mail
from django.utils import timezone

from apps.accounts import services as accounts
from apps.accounts.models import Outgoing
from apps.core import clock
from apps.core.errors import Refusal
from apps.front.whole import CHECKS
from apps.intake.models import Job
from apps.laundering import services as laundering
from apps.measuring.models import Reading
from apps.reporting import services as reporting
from apps.reporting.models import Report
from tests.cast import (
    NOON,
    PASSWORD,
    LabTestCase,
    a_marked_request,
    in_a_load,
    washed_and_dried,
    with_originals,
    with_readings,
)
from tests.reporting.support import a_finished_job, approve, requests_of

HOUR, DAY, YEAR = timedelta(hours=1), timedelta(days=1), timedelta(days=365)
JUMPS = (-YEAR, -DAY, -HOUR, HOUR, DAY, YEAR)


@contextmanager
def at(moment: datetime):
    """The house's clock, and Django's own, which sessions and links ask."""
    with clock.set_to(moment), mock.patch("django.utils.timezone.now", return_value=moment):
        yield moment


@pytest.mark.once
class ClockJumpTests(LabTestCase):
    def in_order(self) -> None:
        faults = [f"{name}: {fault}" for name, check in CHECKS.items() for fault in check()]
        self.assertEqual(faults, [])

    def test_jobs_and_reports_under_a_clock_that_jumps(self):
        """Whole jobs, each under a clock of its own: each is issued, no number twice, and the book holds together."""
        for jump in JUMPS:
            with at(NOON + jump) as now:
                approve(self, *requests_of(a_finished_job(self, at=now)), at=now)
                reporting.build_pending(limit=5, now=now)
        self.assertEqual(Report.objects.exclude(files=None).count(), len(JUMPS))
        for model in (Job, Report):
            numbers = list(model.objects.values_list("number", flat=True))
            self.assertEqual(len(set(numbers)), len(JUMPS))
        self.in_order()

    def test_a_step_behind_one_that_has_not_come_yet(self):
        """Refused with what is the matter, and nothing is lost; a run is broken off without waiting for its hour."""
        for back in (HOUR, DAY, YEAR):
            load = in_a_load(self, with_originals(self, a_marked_request(self)))
            washed_and_dried(self, load)
            shown = dict(load.pieces.values_list("specimen_id", "ordinal"))
            with at(NOON - back) as now:
                with self.assertRaises(Refusal) as told:
                    laundering.tick_cycles(shown=shown, by=self.lou, at=now)
                self.assertEqual(told.exception.code, "clock_set_back")
                self.assertIn("02 Mar 2026 12:00, which has not come yet", str(told.exception))
                why = {"reason": "the clock was ahead, invented", "by": self.lou, "at": now}
                laundering.void_drying(drying_id=load.pieces.first().drying_id, **why)
                laundering.void_load(load_id=load.pk, **why)
                self.assertEqual(set(load.pieces.values_list("specimen__stage", flat=True)), {"ready"})
            self.in_order()

    def test_a_wash_that_runs_since_a_moment_to_come(self):
        load = in_a_load(self, with_originals(self, a_marked_request(self)))
        with (
            mock.patch("apps.laundering.services.end_wash"),
            mock.patch("apps.laundering.services.start_drying"),
            mock.patch("apps.laundering.services.end_drying"),
        ):
            washed_and_dried(self, load)
        with at(NOON - YEAR) as now:
            laundering.void_load(load_id=load.pk, reason="the clock was ahead, invented", by=self.lou, at=now)
        self.in_order()

    def test_pages_under_a_clock_that_jumps(self):
        """Readings typed into the page, a day back and a year ahead: a sentence or the thing done, never a fault."""
        request = a_marked_request(self)
        code = request.sample.code
        for jump in JUMPS:
            with at(NOON + jump):
                for who, paths in (
                    (self.bea, ("/bench/", f"/samples/{code}/readings/", "/bench/rack/")),
                    (self.lou, ("/laundry/", "/laundry/logbook/")),
                    (self.fran, ("/receiving/", f"/jobs/{request.sample.job.number}/", "/control/work/")),
                    (self.mara, ("/approvals/", "/equipment/calendar/", "/people/")),
                    (self.casey, ("/my/", "/tokens/")),
                ):
                    self.sign_in(who)
                    for path in paths:
                        self.assertEqual(self.client.get(path).status_code, 200, (jump, path))
        with at(NOON - DAY) as now, self.assertRaises(Refusal) as told:
            with_readings(self, request, 0, "250", at=now)
        self.assertEqual(told.exception.code, "clock_set_back")
        self.assertFalse(Reading.objects.exists())

    def test_what_was_timed_ahead_is_not_waited_for(self):
        """Letters and files that were put off while the clock was a year ahead go out when it is right again."""
        with at(NOON + YEAR) as ahead:
            approve(self, *requests_of(a_finished_job(self, at=ahead)), at=ahead)
            accounts.send_later(to="casey@example.com", subject="Invented", body="x", at=ahead)
        self.assertEqual(reporting.build_pending(limit=5, now=NOON), 1)
        waiting = Outgoing.objects.filter(sent_at=None).count()
        self.assertEqual(accounts.send_due(now=NOON), waiting)
        self.assertEqual(len(mail.outbox), waiting)
        self.in_order()

    def test_who_forgot_the_password_while_the_clock_was_ahead(self):
        with at(NOON + YEAR) as ahead:
            for _ in range(4):
                accounts.ask_for_link(name="bea", at=ahead)
        self.assertEqual(Outgoing.objects.count(), 3)
        accounts.ask_for_link(name="bea", at=NOON)
        self.assertEqual(Outgoing.objects.count(), 4)

    def test_who_was_locked_out_while_the_clock_was_ahead(self):
        """The wait is a quarter of an hour, not a year; wrong passwords in a row lock out as ever."""
        self.wrong(10)
        self.assertEqual(self.try_to_sign_in(PASSWORD), 429)
        AccessAttempt.objects.update(attempt_time=timezone.now() + YEAR)
        self.assertEqual(self.try_to_sign_in(PASSWORD), 302)
        self.client.logout()
        self.wrong(10)
        self.assertEqual(self.try_to_sign_in(PASSWORD), 429)

    def wrong(self, times: int) -> None:
        for _ in range(times):
            self.try_to_sign_in("not the password")

    def try_to_sign_in(self, password: str) -> int:
        return self.client.post("/sign-in/", {"username": "bea", "password": password}).status_code

    def test_a_session_under_a_clock_that_jumps(self):
        """Back: one stays in. Forward past its end: one is asked to sign in, and what was typed is kept."""
        with at(NOON):
            self.sign_in(self.bea)
        for back in (HOUR, DAY, YEAR):
            with at(NOON - back):
                self.assertEqual(self.client.get("/bench/").status_code, 200)
        request = a_marked_request(self)
        path = f"/samples/{request.sample.code}/readings/enter/"
        with at(NOON + DAY):
            answer = self.client.post(path, {"stage": "0"})
            self.assertEqual((answer.status_code, answer.url[:9]), (302, "/sign-in/"))
