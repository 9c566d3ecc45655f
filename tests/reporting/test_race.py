"""Several people at once over one report. Only PostgreSQL can lose these races."""

import contextvars
import threading
import time

import pytest
from django.db import IntegrityError, connection, transaction

from apps.core import clock
from apps.core.errors import Refusal
from apps.intake import services as intake
from apps.laundering.models import CycleLog
from apps.measuring import services as measuring
from apps.measuring.models import BenchmarkPair, Reading
from apps.reporting import services
from apps.reporting.models import Amendment, AmendmentClosing, Report, ReportFile
from tests.cast import NOON, a_person, may_sign
from tests.racing import at_once
from tests.reporting.support import a_finished_job, an_issued_report, approve, requests_of

pytestmark = [pytest.mark.race, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def cast(transactional_db, people):
    with clock.set_to(NOON):
        yield people


def test_two_managers_at_once_leave_one_report(cast):
    other = may_sign(a_person("mona", "Mona Manager", manager=True))
    (request,) = requests_of(a_finished_job(cast))
    outcomes = at_once(*[lambda by=by: approve(cast, request, by=by) for by in (cast.mara, other) * 2])
    assert [type(outcome) for outcome in outcomes].count(Report) == 1, outcomes
    assert {o.code for o in outcomes if isinstance(o, Refusal)} == {"already_issued"}, outcomes
    assert Report.objects.count() == 1


def test_two_requests_of_a_job_at_once_get_two_numbers(cast):
    first, second = requests_of(a_finished_job(cast, samples=2))
    outcomes = at_once(lambda: approve(cast, first), lambda: approve(cast, second))
    assert sorted(report.number[-3:] for report in outcomes) == ["-01", "-02"]


def test_two_workers_make_one_file(cast):
    an_issued_report(cast, with_file=False)
    assert sum(at_once(*[lambda: services.build_pending(limit=5, now=NOON)] * 4)) == 1
    assert ReportFile.objects.count() == 1


def behind_an_approval(cast, request, act):
    """What becomes of an act that begins while the approval is done but not yet committed."""
    outcome, begun = [], threading.Event()

    def run():
        try:
            with transaction.atomic():
                begun.set()
                outcome.append(act())
        except Exception as error:
            outcome.append(error)
        finally:
            connection.close()

    with transaction.atomic():
        approve(cast, request)
        thread = threading.Thread(target=contextvars.copy_context().run, args=(run,))
        thread.start()
        begun.wait(10)
        time.sleep(0.4)
        assert not outcome, "it did not wait for the approval"
    thread.join(20)
    return outcome[0]


def test_a_reading_behind_an_approval_does_not_get_in(cast):
    (request,) = requests_of(a_finished_job(cast))
    reading = Reading.objects.filter(pair__specimen__request=request, stage=1).first()
    correct = {"reading_id": reading.pk, "text": "200", "unit": "mm", "reason": "x", "by": cast.bea, "at": NOON}
    outcome = behind_an_approval(cast, request, lambda: measuring.correct_reading(**correct))
    assert isinstance(outcome, Refusal), outcome
    assert not Reading.objects.filter(voided_at__isnull=False).exists()


@pytest.mark.parametrize("what", ["reading", "cycle", "deviation", "limit"])
def test_raw_sql_behind_an_approval_does_not_get_in(cast, what):
    (request,) = requests_of(a_finished_job(cast))
    pair = BenchmarkPair.objects.filter(specimen__request=request).first().pk
    columns = "text, unit, mm, read_by_id, at, recorded_at, void_reason"
    statements = {
        "reading": f"INSERT INTO measuring_reading (pair_id, stage, {columns})"
        f" SELECT pair_id, 7, {columns} FROM measuring_reading WHERE pair_id = {pair} AND stage = 1",
        "cycle": f"UPDATE laundering_cyclelog SET voided_at = done_at, voided_by_id = {cast.lou.pk}, void_reason = 'x'",
        "deviation": "INSERT INTO intake_deviation (job_id, request_id, kind, text, by_id, at, at_risk, judgement)"
        f" VALUES ({request.sample.job_id}, {request.pk}, 'other', 'x', {cast.bea.pk}, now(), false, '')",
        "limit": f"UPDATE intake_request SET length_lower = -9 WHERE id = {request.pk}",
    }

    def act():
        with connection.cursor() as cursor:
            cursor.execute(statements[what])

    outcome = behind_an_approval(cast, request, act)
    assert isinstance(outcome, IntegrityError) and "the report is issued" in str(outcome), outcome
    assert not CycleLog.objects.filter(voided_at__isnull=False).exists()


def test_a_send_back_and_an_approval_do_not_both_happen(cast):
    (request,) = requests_of(a_finished_job(cast))
    send = {"request_id": request.pk, "to": "bench", "reason": "look again", "by": cast.mara, "at": NOON}
    outcomes = at_once(lambda: approve(cast, request), lambda: intake.send_back(**send))
    assert len([o for o in outcomes if isinstance(o, Refusal)]) == 1, outcomes


def test_two_managers_open_one_amendment(cast):
    report = an_issued_report(cast)
    how = {"report_id": report.pk, "reason": "x", "opened_for": "wording", "at": NOON}
    outcomes = at_once(*[lambda: services.open_amendment(by=cast.mara, **how)] * 4)
    assert [type(outcome) for outcome in outcomes].count(Amendment) == 1, outcomes
    assert {o.code for o in outcomes if isinstance(o, Refusal)} == {"amendment_open"}, outcomes


def test_an_amendment_ends_in_one_way(cast):
    """Closed without a change, or replaced by a revision: never both."""
    report = an_issued_report(cast)
    services.open_amendment(report_id=report.pk, reason="x", opened_for="wording", by=cast.mara, at=NOON)
    outcomes = at_once(
        lambda: services.close_amendment(report_id=report.pk, reason="right", by=cast.mara, at=NOON),
        lambda: services.approve_revision(report_id=report.pk, password_ok=True, by=cast.mara, at=NOON),
    )
    assert len([o for o in outcomes if isinstance(o, Refusal)]) == 1, outcomes
    assert AmendmentClosing.objects.count() + Report.objects.filter(revision=1).count() == 1


def test_a_reading_and_an_early_stop_do_not_cross(cast):
    """Stop and approval at once leave a report that says what the request says."""
    (request,) = requests_of(a_finished_job(cast))
    how = {"shown": 1, "cycles": 2, "agreed_with": "Casey", "reason": "one more", "by": cast.mara, "at": NOON}
    outcomes = at_once(lambda: approve(cast, request), lambda: services.change_cycles(request_id=request.pk, **how))
    assert len([o for o in outcomes if isinstance(o, Refusal)]) == 1, outcomes
