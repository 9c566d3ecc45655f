"""Machines and instruments come into the lab, and what is written about them changes."""

import uuid
from datetime import timedelta

from apps.core.errors import KeyReused, StalePage
from apps.equipment import queries, services
from apps.equipment.models import Equipment
from apps.equipment.services import Details
from apps.laundering.models import Drying
from apps.methods.models import DryingProcedure
from tests.cast import NOON
from tests.equipment.support import EquipmentCase

FIELDS = (
    *("name", "maker", "serial_number", "firmware", "location"),
    *("acceptance", "interval_months", "overdue_rule", "notes"),
)


class MachineCase(EquipmentCase):
    def add(self, name="W3", kind="washer", by=None, at=NOON, key=None, **details):
        details = Details(name, **details)
        return services.add_equipment(kind=kind, details=details, by=by or self.mara, at=at, key=key)

    def change(self, equipment, version=None, key=None, **details):
        shown = {name: getattr(equipment, name) for name in FIELDS}
        return services.change_equipment(
            equipment_id=equipment.pk,
            version=equipment.version if version is None else version,
            details=Details(**{**shown, **details}),
            by=self.mara,
            at=NOON,
            key=key,
        )


class AddTests(MachineCase):
    def test_works_and_leaves_a_trail(self):
        washer = self.add("  Washer   3 ", maker=" Invented Works 500 ", firmware="2.1", interval_months=12)
        washer.refresh_from_db()
        self.assertEqual((washer.name, washer.kind, washer.maker), ("Washer 3", "washer", "Invented Works 500"))
        self.assertEqual((washer.firmware, washer.interval_months, washer.overdue_rule), ("2.1", 12, "disclose"))
        (entry,) = self.entries(washer)
        self.assertEqual((entry.kind, entry.actor_name, entry.at), ("equipment.added", "Mara Manager", NOON))
        self.assertEqual(entry.facts["interval_months"], 12)

    def test_every_kind_may_come(self):
        for kind in Equipment.Kind.values:
            self.assertEqual(self.add(f"a {kind}", kind).kind, kind)

    def test_refuses_a_name_that_is_taken_in_any_spelling(self):
        for name in ("W1", "w1", " W1 "):
            sentence = self.refused("name_taken", self.add, name, field="name")
            self.assertEqual(sentence, "There is a washer named W1 already. Choose another name.")

    def test_refuses_what_makes_no_sense(self):
        self.refused("name_missing", self.add, "  ", field="name")
        self.refused("kind_unknown", self.add, kind="spaceship", field="kind")
        self.refused("overdue_rule", self.add, overdue_rule="perhaps", field="overdue_rule")
        for months in (0, -1, 241):
            self.refused("interval", self.add, interval_months=months, field="interval_months")
        self.refused("too_long", self.add, "x" * 61, field="name")
        self.refused("too_long", self.add, notes="x" * 1001, field="notes")
        self.refused("not_text", self.add, maker="a\0b", field="maker")
        self.assertEqual(Equipment.objects.count(), 4)

    def test_sent_twice_it_is_there_once(self):
        key = uuid.uuid4()
        first, second = self.add(key=key), self.add(key=key, at=NOON + timedelta(seconds=1))
        self.assertEqual(first, second)
        self.assertEqual(len(self.entries(first)), 1)
        with self.assertRaises(KeyReused):
            self.add("W4", key=key)


class ChangeTests(MachineCase):
    def test_works_and_tells_what_changed(self):
        washer = self.change(self.washers[0], name="Washer 1", location="Hall 2", overdue_rule="refuse")
        washer.refresh_from_db()
        self.assertEqual((washer.name, washer.location, washer.version), ("Washer 1", "Hall 2", 2))
        (entry,) = self.entries(washer)
        self.assertEqual(entry.facts["changes"]["location"], {"from": "", "to": "Hall 2"})
        self.assertEqual(set(entry.facts["changes"]), {"name", "location", "overdue_rule"})
        self.assertEqual(
            queries.told(entry)["note"],
            "where it stands: nothing to Hall 2; name in the lab: W1 to Washer 1; when that is overdue: it may be used,"
            " and the report says so to it must not be used",
        )

    def test_nothing_changed_leaves_no_trace(self):
        washer = self.change(self.washers[0])
        self.assertEqual((washer.version, self.entries(washer)), (1, []))

    def test_refuses_a_stale_page_and_tells_what_stands(self):
        self.change(self.washers[0], location="Hall 2", interval_months=6)
        with self.assertRaises(StalePage) as caught:
            self.change(self.washers[0], version=1, location="Hall 3", maker="Invented Works", interval_months=None)
        self.assertEqual(
            str(caught.exception),
            "W1 was changed after this page was opened. It now says maker and type: nothing; where it stands: Hall 2;"
            " calibrated or verified every (months): 6. Look it over, then save again.",
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
