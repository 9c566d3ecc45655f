"""Past the services: what the database itself refuses."""

from django.db import IntegrityError, connection, transaction

from apps.equipment import services
from apps.equipment.models import (
    AtmosphereImport,
    AtmosphereReading,
    Calibration,
    Equipment,
    OutOfService,
    Tolerance,
)
from tests.cast import NOON, a_calibration
from tests.equipment.support import DAY, HOUR, EquipmentCase, a_file, a_room, logged, quarters, taken_in
from tests.equipment.test_atmosphere import some_limits


class DatabaseCase(EquipmentCase):
    def refused_by_database(self, word: str, act):
        with self.assertRaises(IntegrityError) as caught, transaction.atomic():
            act()
        self.assertIn(word, str(caught.exception))

    def kept(self, row, word: str, **change):
        """It is neither changed nor thrown out."""
        rows = type(row).objects.filter(pk=row.pk)
        self.refused_by_database(word, lambda: rows._raw_delete(rows.db))
        for name, value in change.items():
            with self.subTest(name=name):
                self.refused_by_database(word, lambda name=name, value=value: rows.update(**{name: value}))


class EquipmentTests(DatabaseCase):
    def test_never_deleted_and_of_one_kind_for_good(self):
        washer = Equipment.objects.filter(pk=self.washers[0].pk)
        self.refused_by_database("never deleted", washer.delete)
        self.refused_by_database("stays of the kind", lambda: washer.update(kind="dryer"))

    def test_known_kinds_names_and_rules_only(self):
        create = Equipment.objects.create
        self.refused_by_database("equipment_has_a_name", lambda: create(name="", kind="washer"))
        self.refused_by_database("equipment_kind_known", lambda: create(name="X", kind="spaceship"))
        self.refused_by_database("equipment_overdue", lambda: create(name="X", kind="rule", overdue_rule="no"))
        self.refused_by_database("equipment_interval", lambda: create(name="X", kind="rule", interval_months=0))
        with self.assertRaises(IntegrityError), transaction.atomic():
            create(name="W1", kind="washer")

    def test_not_written_over(self):
        if connection.vendor != "sqlite":
            self.skipTest("INSERT OR REPLACE is SQLite's")
        room = a_room(self)
        logged(self, room)
        services.put_out_of_service(equipment_id=room.pk, reason="leaks", by=self.lou, at=NOON)
        for model in (Equipment, AtmosphereReading, OutOfService):
            columns = ", ".join(field.column for field in model._meta.local_fields)
            table = model._meta.db_table
            without_key = columns.replace("id, ", "", 1)
            for some in (columns, without_key):
                sql = f"INSERT OR REPLACE INTO {table} ({some}) SELECT {some} FROM {table}"
                with self.assertRaises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
                    cursor.execute(sql)


class CalibrationTests(DatabaseCase):
    def test_void_once_and_nothing_else(self):
        row = a_calibration(self, self.washers[0])
        self.kept(
            row, "never changed", usable=False, as_found="x", due_on=NOON.date(), done_on=NOON.date(), at=NOON + DAY
        )
        services.void_calibration(calibration_id=row.pk, reason="wrong", by=self.mara, at=NOON)
        self.kept(row, "never changed", void_reason="another", voided_at=None)

    def test_what_cannot_be(self):
        common = {"equipment": self.washers[0], "by": self.mara, "at": NOON, "done_on": NOON.date(), "usable": True}
        create = Calibration.objects.create
        self.refused_by_database("calibration_says", lambda: create(**common, as_found=""))
        self.refused_by_database("calibration_due_after", lambda: create(**common, as_found="x", due_on=NOON.date()))
        self.refused_by_database(
            "calibration_void_is_whole", lambda: create(**common, as_found="x", voided_at=NOON, void_reason="x")
        )


class OutOfServiceTests(DatabaseCase):
    def test_ended_once_and_nothing_else(self):
        washer = services.put_out_of_service(equipment_id=self.washers[0].pk, reason="x", by=self.lou, at=NOON - HOUR)
        row = washer.times_out.get()
        self.kept(row, "stays in the book", reason="y", since=NOON - DAY, by=self.mara)
        self.refused_by_database(
            "ends_after_it_begins",
            lambda: OutOfService.objects.filter(pk=row.pk).update(until=NOON - DAY, ended_by=self.mara),
        )
        services.return_to_service(equipment_id=washer.pk, by=self.mara, at=NOON)
        self.kept(row, "stays in the book", until=None, checked="y")

    def test_one_at_a_time(self):
        common = {"equipment": self.washers[0], "by": self.lou, "recorded_at": NOON, "reason": "x", "since": NOON}
        OutOfService.objects.create(**common)
        with self.assertRaises(IntegrityError), transaction.atomic():
            OutOfService.objects.create(**common)
        self.refused_by_database(
            "has_reason", lambda: OutOfService.objects.create(**{**common, "equipment": self.washers[1], "reason": ""})
        )


class AirTests(DatabaseCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.room = a_room(cls)

    def test_readings_are_void_once_and_nothing_else(self):
        row = logged(self, self.room)
        self.kept(row, "never changed", temperature_c=21, humidity_pct=60, at=NOON - HOUR, source="import")
        services.void_reading(reading_id=row.pk, reason="wrong", by=self.bea, at=NOON)
        self.kept(row, "never changed", voided_at=None, void_reason="x")

    def test_imports_are_void_once_and_nothing_else(self):
        batch = taken_in(self, self.room, a_file(quarters(3)))
        self.kept(batch, "stays in the book", stored=4, file_name="x", last_at=NOON - HOUR)
        services.void_import(import_id=batch.pk, reason="wrong room", by=self.bea, at=NOON)
        self.kept(batch, "stays in the book", void_reason="x")
        self.kept(AtmosphereReading.objects.first(), "never changed", void_reason="x")

    def test_tolerances_are_added_only(self):
        row = services.set_tolerance(room_id=self.room.pk, limits=some_limits(), by=self.mara, at=NOON)
        self.kept(row, "stays in the book", gap_minutes=5, source="x")
        common = {name: getattr(row, name) for name in ("temperature_c", "humidity_pct", "source", "by", "at")}
        common |= {"temperature_tolerance_c": 1, "humidity_tolerance_pct": 1, "gap_minutes": 60, "room": self.room}
        for change, word in (
            ({"gap_minutes": 0}, "tolerance_above_zero"),
            ({"humidity_pct": 101}, "tolerance_humidity"),
            ({"source": ""}, "tolerance_has_source"),
        ):
            self.refused_by_database(word, lambda change=change: Tolerance.objects.create(**{**common, **change}))

    def test_only_a_room_has_an_atmosphere(self):
        row = logged(self, self.room)
        common = {"temperature_c": 20, "humidity_pct": 65, "by": self.bea, "recorded_at": NOON, "source": "typed"}
        create = AtmosphereReading.objects.create
        self.refused_by_database("only a conditioning room", lambda: create(**common, room=self.washers[0], at=NOON))
        with self.assertRaises(IntegrityError), transaction.atomic():
            create(**common, room=self.room, at=row.at)
        for change, word in (
            ({"temperature_c": 61}, "as_a_room_can_be"),
            ({"humidity_pct": -1}, "as_a_room_can_be"),
            ({"source": "import"}, "typed_or_from_a_file"),
            ({"voided_at": NOON}, "void_is_whole"),
        ):
            at = NOON - HOUR
            self.refused_by_database(
                word, lambda change=change, at=at: create(**{**common, **change}, room=self.room, at=at)
            )

    def test_a_files_readings_belong_to_its_room(self):
        batch = taken_in(self, self.room, a_file(quarters(3)))
        common = {"temperature_c": 20, "humidity_pct": 65, "by": self.bea, "recorded_at": NOON, "source": "import"}
        other = a_room(self, "Room 2")
        create = AtmosphereReading.objects.create
        self.refused_by_database("belong to the room", lambda: create(**common, room=other, at=NOON, batch=batch))
        services.void_import(import_id=batch.pk, reason="wrong room", by=self.bea, at=NOON)
        batch = AtmosphereImport.objects.get()
        self.refused_by_database("belong to the room", lambda: create(**common, room=self.room, at=NOON, batch=batch))
