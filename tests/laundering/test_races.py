"""Several people at once in the laundry, each on a connection of their own."""

import threading
import time
import uuid

import pytest
from django.db import connection, transaction

from apps.core import clock
from apps.core.errors import Refusal, RequestIsLocked
from apps.intake.locks import lock_requests
from apps.intake.models import Request
from apps.laundering import services
from apps.laundering.models import CycleLog, Drying, Load, LoadPiece
from apps.trail.queries import broken_link
from tests.cast import NOON
from tests.laundering.support import (
    WASH,
    dried,
    dry,
    end_dry,
    issue,
    make_up,
    pieces_of,
    ready,
    start,
    tick_all,
    told,
    washed,
)
from tests.racing import at_once

pytestmark = [pytest.mark.race, pytest.mark.django_db(transaction=True)]
EIGHT = 8


@pytest.fixture(autouse=True)
def _noon():
    with clock.set_to(NOON):
        yield


def outcome(answer) -> str:
    return answer.code if isinstance(answer, Refusal) else type(answer).__name__


def test_eight_who_tick_the_same_cycle_leave_one_row(people):
    request = ready(people)
    dried(people, request)
    specimen = pieces_of(request)[0]

    def tick():
        return services.tick_cycle(specimen_id=specimen.pk, ordinal=1, by=people.lou, at=NOON, key=uuid.uuid4())

    answers = at_once(*[tick] * EIGHT)
    assert {outcome(answer) for answer in answers} == {"CycleLog"}, answers
    assert len({answer.pk for answer in answers}) == 1
    assert CycleLog.objects.count() == 1
    specimen.refresh_from_db()
    assert (specimen.cycles_valid, specimen.times_wetted) == (1, 1)
    assert len(told(request, "cycle.ticked")) == 1
    assert broken_link(request.sample.job.stream) is None


def behind_an_approval(people, request: Request, act) -> Exception:
    """Somebody approves and has not committed yet when `act` begins."""
    held = threading.Event()

    def approve():
        with transaction.atomic():
            lock_requests([request.pk])
            held.set()
            time.sleep(0.4)
            issue(request, by=people.mara)

    def come_behind():
        held.wait(10)
        return act()

    approved, answer = at_once(approve, come_behind)
    assert approved is None
    request.refresh_from_db()
    assert request.lock == Request.Lock.LOCKED
    return answer


def test_a_tick_behind_an_uncommitted_approval_does_not_get_in(people):
    request = ready(people)
    dried(people, request)
    specimen = pieces_of(request)[0].pk
    answer = behind_an_approval(
        people, request, lambda: services.tick_cycle(specimen_id=specimen, ordinal=1, by=people.lou, at=NOON)
    )
    assert isinstance(answer, RequestIsLocked), answer
    assert not CycleLog.objects.exists()


def test_a_load_behind_an_uncommitted_approval_does_not_get_in(people):
    request = ready(people)
    answer = behind_an_approval(people, request, lambda: make_up(people, request))
    assert isinstance(answer, RequestIsLocked), answer
    assert not Load.objects.exists()


def test_no_act_on_a_load_behind_an_uncommitted_approval_gets_in(people):
    washing, waiting, dry_one = ready(people), ready(people), ready(people)
    done = dried(people, dry_one)
    corrected = services.WashRecord(washer_id=people.washers[1].pk, wash_started_at=NOON, wash_ended_at=NOON, **WASH)
    wet = washed(people, waiting)
    running = start(people, make_up(people, washing))
    acts = [
        (washing, lambda: services.end_wash(load_id=running.pk, by=people.lou, at=NOON)),
        (waiting, lambda: dry(people, wet)),
        (
            dry_one,
            lambda: services.correct_load(
                load_id=done.pk, shown_revision=0, record=corrected, reason="slip", by=people.lou, at=NOON
            ),
        ),
    ]
    for request, act in acts:
        answer = behind_an_approval(people, request, act)
        assert isinstance(answer, RequestIsLocked), answer


def test_a_raw_row_behind_an_uncommitted_approval_does_not_get_in(people):
    """The guard holds the request before it looks; without that the row would slip in."""
    request = ready(people)
    load = dried(people, request)
    piece = load.pieces.select_related("specimen").first()

    def write():
        CycleLog.objects.create(
            specimen=piece.specimen, ordinal=1, piece=piece, done_at=NOON, done_by=people.lou, recorded_at=NOON
        )

    answer = behind_an_approval(people, request, write)
    assert "issued" in str(answer)
    assert not CycleLog.objects.exists()


def test_of_eight_loads_of_the_same_pieces_one_comes_about(people):
    request = ready(people)
    answers = at_once(*[lambda: make_up(people, request)] * EIGHT)
    assert sorted(outcome(answer) for answer in answers) == ["Load"] + ["stage_in_load"] * 7
    assert LoadPiece.objects.count() == 3


def test_one_form_sent_eight_times_is_one_load(people):
    request, key = ready(people), uuid.uuid4()
    answers = at_once(*[lambda: make_up(people, request, key=key)] * EIGHT)
    assert {outcome(answer) for answer in answers} == {"Load"}, answers
    assert Load.objects.count() == 1


def test_of_four_loads_for_one_washer_one_runs(people):
    loads = [make_up(people, ready(people)) for _ in range(4)]
    answers = at_once(*[lambda load=load: start(people, load) for load in loads])
    assert sorted(outcome(answer) for answer in answers) == ["Load"] + ["washer_busy"] * 3
    assert Load.objects.filter(state="washing").count() == 1


def test_of_four_dryings_for_one_dryer_one_runs(people):
    loads = [washed(people, ready(people)) for _ in range(4)]
    answers = at_once(*[lambda load=load: dry(people, load) for load in loads])
    assert sorted(outcome(answer) for answer in answers) == ["Drying"] + ["dryer_busy"] * 3
    assert Drying.objects.count() == 1


def test_end_and_interruption_at_once_leave_one_of_the_two(people):
    load = start(people, make_up(people, ready(people)))
    answers = at_once(
        lambda: services.end_wash(load_id=load.pk, by=people.lou, at=NOON),
        lambda: services.void_load(load_id=load.pk, reason="power cut", by=people.mara, at=NOON),
    )
    load.refresh_from_db()
    assert load.state in ("washed", "void")
    # A wash that has ended may still be found void; a void one never ends.
    assert [outcome(answer) for answer in answers] in (["Load", "Load"], ["load_void", "Load"])


def test_tick_and_void_of_the_drying_at_once_leave_one_of_the_two(people):
    request = ready(people)
    load = dried(people, request)
    drying = Drying.objects.get()
    at_once(
        lambda: tick_all(people, load),
        lambda: services.void_drying(drying_id=drying.pk, reason="still damp", by=people.mara, at=NOON),
    )
    drying.refresh_from_db()
    assert (drying.state == "void") != CycleLog.objects.exists()


def test_of_eight_corrections_of_the_same_page_one_holds(people):
    load = washed(people, ready(people))
    record = services.WashRecord(
        washer_id=people.washers[1].pk, wash_started_at=NOON, wash_ended_at=NOON, spun=True, **WASH
    )

    def correct(n: int):
        return services.correct_load(
            load_id=load.pk, shown_revision=0, record=record, reason=f"hand {n}", by=people.lou, at=NOON
        )

    answers = at_once(*[lambda n=n: correct(n) for n in range(EIGHT)])
    assert sorted(outcome(answer) for answer in answers) == ["LoadCorrection"] + ["stale_page"] * 7


def test_loads_over_the_same_jobs_in_any_order_never_block_each_other(people):
    """Two jobs, pieces of both in each load, taken in opposite orders: every writer holds the lower job first."""
    one, two = ready(people), ready(people)
    first, second = pieces_of(one), pieces_of(two)
    sets = [[first[n].pk, second[n].pk] for n in range(3)]
    acts = [
        lambda ids=ids[::way]: services.make_up_load(specimen_ids=ids, by=people.lou, at=NOON)
        for ids, way in zip(sets, (1, -1, 1), strict=True)
    ]
    assert [outcome(answer) for answer in at_once(*acts)] == ["Load"] * 3
    loads = list(Load.objects.order_by("pk"))
    start(people, loads[0])
    start(people, loads[1], washer_id=people.washers[1].pk)
    ends = [lambda load=load: services.end_wash(load_id=load.pk, by=people.lou, at=NOON) for load in loads[:2]]
    assert [outcome(answer) for answer in at_once(*ends)] == ["Load"] * 2
    end_dry(people, dry(people, *loads[:2]))
    at_once(*[lambda load=load: tick_all(people, load) for load in loads[:2]])
    assert CycleLog.objects.count() == 4
    assert connection.vendor == "postgresql"
