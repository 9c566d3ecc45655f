"""Rooms, instruments and loggers' files for tests. All invented."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from apps.core.errors import Refusal
from apps.equipment import services
from apps.equipment.models import AtmosphereReading, Equipment
from apps.equipment.services import Details
from apps.trail.queries import broken_link, timeline
from tests.cast import NOON, LabTestCase

HOUR, MINUTE, DAY = timedelta(hours=1), timedelta(minutes=1), timedelta(days=1)
TODAY = NOON.date()


def a_piece(cast, kind: str, name: str, **details) -> Equipment:
    return services.add_equipment(kind=kind, details=Details(name, **details), by=cast.mara, at=NOON)


def a_room(cast, name: str = "Room 1") -> Equipment:
    return a_piece(cast, "room", name)


def a_logger(cast, name: str = "Logger 1", **details) -> Equipment:
    return a_piece(cast, "logger", name, **details)


def logged(cast, room: Equipment, temperature: str = "20.3", humidity: str = "64", **how) -> AtmosphereReading:
    given = {"by": cast.bea, "at": NOON, **how}
    return services.log_atmosphere(room_id=room.pk, temperature=temperature, humidity=humidity, **given)


def a_file(rows: Sequence[tuple[datetime, str, str]], heading: str = "time,temperature (°C),humidity (%)") -> bytes:
    lines = [f"{at:%Y-%m-%d %H:%M},{temperature},{humidity}" for at, temperature, humidity in rows]
    return "\n".join([heading, *lines]).encode()


def quarters(number: int, *, until: datetime = NOON, temperature: str = "20.3", humidity: str = "64.0") -> list:
    """So many readings, a quarter of an hour apart, the last at `until`."""
    return [(until - 15 * MINUTE * n, temperature, humidity) for n in reversed(range(number))]


def taken_in(cast, room: Equipment, content: bytes, **how):
    given = {"file_name": "logger.csv", "by": cast.bea, "at": NOON, **how}
    return services.import_atmosphere(room_id=room.pk, content=content, **given)


class EquipmentCase(LabTestCase):
    def refused(self, code: str, act, *args, field: str | None = None, **values) -> str:
        with self.assertRaises(Refusal) as caught:
            act(*args, **values)
        self.assertEqual((caught.exception.code, caught.exception.field), (code, field))
        return str(caught.exception)

    def entries(self, equipment) -> list:
        self.assertIsNone(broken_link(equipment.stream))
        return list(timeline(equipment.stream))

    def told(self, page) -> list[str]:
        return [str(message) for message in page.context["messages"]]
