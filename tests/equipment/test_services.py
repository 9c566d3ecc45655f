import uuid
from datetime import date, timedelta

from django.db import IntegrityError, connection, transaction

from apps.core.errors import KeyReused, Refusal, StalePage
from apps.equipment import queries, services
from apps.equipment.models import Equipment
from apps.laundering.models import Drying
from apps.methods.models import DryingProcedure
from apps.trail.queries import broken_link, timeline
from tests.cast import NOON, LabTestCase

TODAY = NOON.date()
DETAILS = {"maker": "", "serial_number": "", "location": "", "calibration_due": None}


class EquipmentCase(LabTestCase):
    def add(self, **values):
        return services.add_equipment(**{"name": "W3", "kind": "washer", "by": self.mara, "at": NOON, **values})

    def change(self, equipment, **values):
        shown = {**{name: getattr(equipment, name) for name in ("name", *DETAILS)}, "version": equipment.version}
        return services.change_equipment(equipment_id=equipment.pk, **{**shown, "by": self.mara, "at": NOON, **values})

    def put_out(self, equipment, reason="leaks", **values):
        return services.put_out_of_service(
            equipment_id=equipment.pk, reason=reason, **{"by": self.mara, "at": NOON, **values}
        )

    def give_back(self, equipment, **values):
        return services.return_to_service(equipment_id=equipment.pk, **{"by": self.mara, "at": NOON, **values})

    def refused(self, code: str, act, *args, field: str | None = None, **values) -> str:
        with self.assertRaises(Refusal) as caught:
            act(*args, **values)
        self.assertEqual((caught.exception.code, caught.exception.field), (code, field))
        return str(caught.exception)

    def entries(self, equipment) -> list:
        self.assertIsNone(broken_link(equipment.stream))
        return list(timeline(equipment.stream))


class AddTests(EquipmentCase):
    def test_works_and_leaves_a_trail(self):
        washer = self.add(name="  Washer   3 ", maker=" Invented Works 500 ", calibration_due=TODAY)
        washer.refresh_from_db()
        self.assertEqual((washer.name, washer.kind, washer.maker), ("Washer 3", "washer", "Invented Works 500"))
        (entry,) = self.entries(washer)
        self.assertEqual((entry.kind, entry.actor_name, entry.at), ("equipment.added", "Mara Manager", NOON))
        self.assertEqual(entry.facts["calibration_due"], "2026-03-02")

    def test_refuses_a_name_that_is_taken_in_any_spelling(self):
        for name in ("W1", "w1", " W1 "):
            sentence = self.refused("name_taken", self.add, name=name, field="name")
            self.assertEqual(sentence, "There is a washer named W1 already. Choose another name.")

    def test_refuses_what_makes_no_sense(self):
        self.refused("name_missing", self.add, name="  ", field="name")
        self.refused("kind_unknown", self.add, kind="spaceship", field="kind")
        for due in (date(1026, 3, 2), date(2206, 3, 2), date.max):
            self.refused("date_far_off", self.add, calibration_due=due, field="calibration_due")
        self.assertEqual(Equipment.objects.count(), 4)

    def test_sent_twice_it_is_there_once(self):
        key = uuid.uuid4()
        first, second = self.add(key=key), self.add(key=key, at=NOON + timedelta(seconds=1))
        self.assertEqual(first, second)
        self.assertEqual(len(self.entries(first)), 1)
        with self.assertRaises(KeyReused):
            self.add(key=key, name="W4")


class ChangeTests(EquipmentCase):
    def test_works_and_tells_what_changed(self):
        washer = self.change(self.washers[0], name="Washer 1", location="Hall 2", calibration_due=date(2027, 1, 5))
        washer.refresh_from_db()
        self.assertEqual((washer.name, washer.location, washer.version), ("Washer 1", "Hall 2", 2))
        (entry,) = self.entries(washer)
        self.assertEqual(entry.kind, "equipment.changed")
        self.assertEqual(entry.facts["changes"]["location"], {"from": "", "to": "Hall 2"})
        self.assertEqual(set(entry.facts["changes"]), {"name", "location", "calibration_due"})

    def test_nothing_changed_leaves_no_trace(self):
        washer = self.change(self.washers[0])
        self.assertEqual((washer.version, self.entries(washer)), (1, []))

    def test_refuses_a_stale_page_and_tells_what_stands(self):
        self.change(self.washers[0], location="Hall 2")
        with self.assertRaises(StalePage) as caught:
            self.change(self.washers[0], version=1, location="Hall 3", maker="Invented Works")
        self.assertEqual(
            str(caught.exception),
            "W1 was changed after this page was opened. It now says maker and type: nothing; location: Hall 2."
            " Look it over, then save again.",
        )
        self.assertEqual(Equipment.objects.get(pk=self.washers[0].pk).location, "Hall 2")

    def test_refuses_anothers_name_but_not_its_own_in_another_spelling(self):
        self.refused("name_taken", self.change, self.washers[0], name="W2", field="name")
        self.refused("name_missing", self.change, self.washers[0], name=" ", field="name")
        self.assertEqual(self.change(self.washers[0], name="w1").name, "w1")

    def test_a_name_that_runs_stand_under_is_kept(self):
        dryer = self.dryers[0]
        Drying.objects.create(
            procedure=DryingProcedure.objects.get(code="aatcc-a-i"), dryer=dryer, started_at=NOON, by=self.lou
        )
        sentence = self.refused("name_in_log_book", self.change, dryer, name="Dryer 1", field="name")
        self.assertEqual(sentence, "Runs are written down under the name D1; it keeps it.")
        self.assertEqual(self.change(Equipment.objects.get(pk=dryer.pk), location="Hall 2").location, "Hall 2")

    def test_sent_twice_it_changes_once(self):
        key, washer = uuid.uuid4(), self.washers[0]
        for _ in range(2):
            self.change(washer, version=1, location="Hall 2", key=key)
        self.assertEqual(len(self.entries(washer)), 1)
        self.assertEqual(Equipment.objects.get(pk=washer.pk).version, 2)


class ServiceTests(EquipmentCase):
    def test_out_and_back(self):
        washer = self.put_out(self.washers[0], " door seal  leaks ")
        self.assertEqual((washer.out_of_service, washer.version), ("door seal leaks", 2))
        washer = self.give_back(washer, checked="new seal, no drop in a full cycle", version=2)
        self.assertEqual((washer.out_of_service, washer.version), ("", 3))
        back, out = self.entries(washer)
        self.assertEqual((out.kind, out.facts["reason"]), ("equipment.out_of_service", "door seal leaks"))
        self.assertEqual(back.kind, "equipment.returned")
        self.assertEqual(back.facts["was_out_because"], "door seal leaks")
        self.assertEqual(back.facts["checked"], "new seal, no drop in a full cycle")

    def test_refuses_without_a_reason_twice_and_in_the_wrong_state(self):
        washer = self.washers[0]
        self.refused("reason_missing", self.put_out, washer, "  ", field="reason")
        self.refused("already_in_service", self.give_back, washer)
        self.put_out(washer)
        self.assertIn("leaks", self.refused("already_out_of_service", self.put_out, washer, "other"))

    def test_refuses_to_return_for_a_reason_not_shown(self):
        washer = self.put_out(self.washers[0])
        shown = washer.version
        self.give_back(washer)
        self.put_out(washer, "thermostat drifts")
        sentence = self.refused("stale_page", self.give_back, washer, version=shown)
        self.assertIn("thermostat drifts", sentence)

    def test_sent_twice_it_happens_once(self):
        washer = self.washers[0]
        for act in (self.put_out, self.give_back):
            key = uuid.uuid4()
            act(washer, key=key)
            act(washer, key=key)
        self.assertEqual(len(self.entries(washer)), 2)


class CheckUsableTests(EquipmentCase):
    def test_nothing_to_say(self):
        self.assertEqual(services.check_usable(self.washers[0], NOON), [])
        due_today = self.change(self.washers[0], calibration_due=TODAY)
        self.assertEqual(services.check_usable(due_today, NOON), [])

    def test_overdue_is_disclosed(self):
        washer = self.change(self.washers[0], calibration_due=TODAY - timedelta(days=1))
        self.assertEqual(
            services.check_usable(washer, NOON), ["The calibration or verification of W1 was due on 1 Mar 2026."]
        )

    def test_the_day_is_the_labs_own(self):
        washer = Equipment(name="W", calibration_due=TODAY)
        late = NOON.replace(hour=23, minute=30)
        self.assertEqual(services.check_usable(washer, late), [])
        with self.settings(TIME_ZONE="Europe/Vienna"):
            self.assertEqual(len(services.check_usable(washer, late)), 1)

    def test_out_of_service_is_refused(self):
        washer = self.put_out(self.washers[0])
        sentence = self.refused("out_of_service", services.check_usable, washer, NOON)
        self.assertEqual(sentence, "W1 is out of service: leaks")


class UsableQueryTests(EquipmentCase):
    def test_of_the_kind_and_in_service_with_overdue_marked(self):
        self.put_out(self.washers[0])
        self.change(self.washers[1], calibration_due=TODAY - timedelta(days=1))
        self.add(name="W3", calibration_due=TODAY)
        found = [(row.name, row.is_overdue) for row in queries.usable("washer", TODAY)]
        self.assertEqual(found, [("W2", True), ("W3", False)])
        self.assertEqual([row.name for row in queries.usable("dryer", TODAY)], ["D1", "D2"])
        self.assertEqual(list(queries.usable("spaceship", TODAY)), [])

    def test_get(self):
        self.assertEqual(queries.get_equipment(self.washers[0].pk), self.washers[0])
        self.assertIsNone(queries.get_equipment(0))


class DatabaseTests(EquipmentCase):
    """Past the services."""

    def refused_by_database(self, word: str, act):
        with self.assertRaises(IntegrityError) as caught, transaction.atomic():
            act()
        self.assertIn(word, str(caught.exception))

    def test_never_deleted_and_of_one_kind_for_good(self):
        washer = Equipment.objects.filter(pk=self.washers[0].pk)
        self.refused_by_database("never deleted", washer.delete)
        self.refused_by_database("stays of the kind", lambda: washer.update(kind="dryer"))

    def test_known_kinds_and_names_only(self):
        self.refused_by_database("equipment_has_a_name", lambda: Equipment.objects.create(name="", kind="washer"))
        self.refused_by_database("equipment_kind_known", lambda: Equipment.objects.create(name="X", kind="spaceship"))
        with self.assertRaises(IntegrityError), transaction.atomic():
            Equipment.objects.create(name="W1", kind="washer")

    def test_not_written_over(self):
        if connection.vendor != "sqlite":
            self.skipTest("INSERT OR REPLACE is SQLite's")
        columns = ", ".join(field.column for field in Equipment._meta.local_fields)
        sql = f"INSERT OR REPLACE INTO equipment_equipment ({columns}) SELECT {columns} FROM equipment_equipment"
        with self.assertRaises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)
