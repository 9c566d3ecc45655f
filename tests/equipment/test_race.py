"""Several people at once, each on a connection of their own."""

import uuid
from functools import partial

import pytest

from apps.core import clock
from apps.core.errors import Refusal
from apps.equipment import services
from apps.equipment.models import AtmosphereReading, Equipment, OutOfService
from apps.equipment.services import Details
from apps.laundering.models import Load
from apps.trail.queries import broken_link, timeline
from tests.cast import NOON, a_marked_request, in_a_load, with_originals
from tests.equipment.support import a_file, a_room, quarters, taken_in
from tests.laundering.support import start
from tests.racing import at_once

pytestmark = [pytest.mark.race, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def noon():
    with clock.set_to(NOON):
        yield


def told(outcomes: list) -> list[str]:
    return sorted(each.code if isinstance(each, Refusal) else str(each) for each in outcomes)


def add(people, key=None):
    return services.add_equipment(kind="washer", details=Details("W9"), by=people.mara, at=NOON, key=key)


def test_one_name_asked_for_by_eight_is_given_once(people):
    assert told(at_once(*[partial(add, people)] * 8)) == ["W9"] + ["name_taken"] * 7
    assert Equipment.objects.filter(name="W9").count() == 1


def test_one_form_sent_eight_times_is_answered_eight_times(people):
    assert told(at_once(*[partial(add, people, uuid.uuid4())] * 8)) == ["W9"] * 8
    assert timeline(Equipment.objects.get(name="W9").stream).count() == 1


def test_of_eight_who_saw_the_same_page_one_saves(people):
    washer = people.washers[0]

    def change(hall: int):
        details = Details("W1", location=f"Hall {hall}")
        return services.change_equipment(equipment_id=washer.pk, version=1, details=details, by=people.mara, at=NOON)

    assert told(at_once(*[partial(change, hall) for hall in range(8)])) == ["W1"] + ["stale_page"] * 7
    assert timeline(washer.stream).count() == 1
    assert broken_link(washer.stream) is None


def test_put_out_of_service_by_six_it_is_out_once(people):
    washer = people.washers[0]
    out = partial(services.put_out_of_service, equipment_id=washer.pk, reason="leaks", by=people.lou, at=NOON)
    assert told(at_once(*[out] * 6)) == ["W1"] + ["already_out_of_service"] * 5
    assert OutOfService.objects.count() == 1


def test_a_wash_begins_before_the_machine_is_out_or_not_at_all(people):
    """Whoever comes first: either the wash is in the book and then the machine is out, or the wash is refused."""
    for washer in people.washers:
        load = in_a_load(people, with_originals(people, a_marked_request(people)))
        wash, out = at_once(
            partial(start, people, load, washer_id=washer.pk),
            partial(services.put_out_of_service, equipment_id=washer.pk, reason="leaks", by=people.lou, at=NOON),
        )
        assert not isinstance(out, Exception), out
        washing = Load.objects.filter(washer=washer, state=Load.State.WASHING).exists()
        if isinstance(wash, Exception):
            assert wash.code == "out_of_service", wash
        assert washing != isinstance(wash, Exception)


def test_one_file_taken_in_by_four_is_stored_once(people):
    room, content = a_room(people), a_file(quarters(200))
    outcomes = at_once(*[partial(taken_in, people, room, content)] * 4)
    assert told(outcomes)[1:] == ["nothing_new"] * 3
    assert AtmosphereReading.objects.count() == 200
    assert broken_link(room.stream) is None


def test_one_moment_logged_by_six_is_there_once(people):
    room = a_room(people)

    def log(tenth: int):
        return services.log_atmosphere(
            room_id=room.pk, temperature=f"20.{tenth}", humidity="64", by=people.bea, at=NOON
        )

    outcomes = at_once(*[partial(log, tenth) for tenth in range(6)])
    assert sum(isinstance(each, AtmosphereReading) for each in outcomes) == 1
    assert AtmosphereReading.objects.count() == 1


def test_a_file_is_void_as_a_whole_whoever_reads_on(people):
    room = a_room(people)
    batch = taken_in(people, room, a_file(quarters(100)))
    reading = batch.readings.first()
    at_once(
        partial(services.void_import, import_id=batch.pk, reason="wrong room", by=people.bea, at=NOON),
        partial(services.void_reading, reading_id=reading.pk, reason="wrong", by=people.bea, at=NOON),
    )
    assert not AtmosphereReading.objects.filter(voided_at=None).exists()
