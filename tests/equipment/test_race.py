"""Several people at once, each with a connection of their own."""

import threading
import uuid

import pytest
from django.db import connection, connections

from apps.core.errors import Refusal
from apps.equipment import services
from apps.equipment.models import Equipment
from apps.trail.queries import broken_link, timeline
from tests.cast import NOON

pytestmark = [pytest.mark.race, pytest.mark.django_db(transaction=True)]


def at_once(act, number: int = 8) -> list:
    """What `act(n)` answered, or the code of its refusal, in each of so many threads let go together."""
    gate, answers = threading.Barrier(number), [None] * number

    def one(n: int) -> None:
        try:
            gate.wait(timeout=10)
            answers[n] = act(n)
        except Refusal as refusal:
            answers[n] = refusal.code
        finally:
            connections.close_all()

    threads = [threading.Thread(target=one, args=[n]) for n in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    return answers


def test_one_name_asked_for_by_eight_is_given_once(people):
    answers = at_once(lambda n: services.add_equipment(name="W9", kind="washer", by=people.mara, at=NOON))
    assert sorted(map(str, answers)) == ["W9"] + ["name_taken"] * 7
    assert Equipment.objects.filter(name="W9").count() == 1


def test_one_form_sent_eight_times_is_answered_eight_times(people):
    key = uuid.uuid4()
    answers = at_once(lambda n: services.add_equipment(name="W9", kind="washer", by=people.mara, at=NOON, key=key))
    assert {str(answer) for answer in answers} == {"W9"}
    (washer,) = Equipment.objects.filter(name="W9")
    assert timeline(washer.stream).count() == 1


def test_of_eight_who_saw_the_same_page_one_saves(people):
    washer = people.washers[0]
    answers = at_once(
        lambda n: services.change_equipment(
            equipment_id=washer.pk,
            version=1,
            name="W1",
            maker="",
            serial_number="",
            location=f"Hall {n}",
            calibration_due=None,
            by=people.mara,
            at=NOON,
        )
    )
    assert sorted(map(str, answers)) == ["W1"] + ["stale_page"] * 7
    assert timeline(washer.stream).count() == 1
    assert broken_link(washer.stream) is None
    assert connection.vendor == "postgresql"
