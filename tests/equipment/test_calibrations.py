"""A calibration is recorded once, holds from its day on, and is made void when the record was wrong."""

import uuid
from datetime import date

from apps.core.errors import KeyReused
from apps.equipment import queries, services
from apps.equipment.models import Calibration
from apps.equipment.services import Finding
from apps.equipment.services.calibrations import months_later
from tests.cast import NOON, a_calibration
from tests.equipment.support import TODAY, EquipmentCase, a_piece


class CalibrationCase(EquipmentCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.rule = a_piece(cls, "rule", "Rule 1", interval_months=12)

    def record(self, done_on=TODAY, as_found="0.1 mm long over 500 mm", usable=True, key=None, **finding):
        finding = Finding(done_on, as_found, usable, **finding)
        return services.record_calibration(equipment_id=self.rule.pk, finding=finding, by=self.mara, at=NOON, key=key)

    def void(self, calibration, reason="typed from the wrong certificate", **values):
        return services.void_calibration(
            calibration_id=calibration.pk, reason=reason, **{"by": self.mara, "at": NOON, **values}
        )


class RecordTests(CalibrationCase):
    def test_works_and_leaves_a_trail(self):
        row = self.record(certificate=" C-7 ", as_left="as found", done_by="Invented Metrology")
        row.refresh_from_db()
        self.assertEqual((row.certificate, row.due_on, row.by), ("C-7", date(2027, 3, 2), self.mara))
        entry = self.entries(self.rule)[0]
        self.assertEqual((entry.kind, entry.facts["done_on"]), ("calibration.recorded", "2026-03-02"))
        self.assertEqual(
            queries.told(entry)["note"],
            "done on 2 Mar 2026, fit for use, next due on 2 Mar 2027, certificate C-7",
        )

    def test_the_due_day_that_is_said_wins_over_the_interval(self):
        self.assertEqual(self.record(due_on=date(2026, 9, 1)).due_on, date(2026, 9, 1))

    def test_without_an_interval_nothing_falls_due(self):
        self.assertIsNone(a_calibration(self, self.washers[0], done_on=TODAY).due_on)

    def test_months_end_where_the_month_ends(self):
        for day, months, later in (
            (date(2026, 1, 31), 1, date(2026, 2, 28)),
            (date(2024, 2, 29), 12, date(2025, 2, 28)),
            (date(2023, 8, 31), 6, date(2024, 2, 29)),
            (date(2026, 12, 15), 1, date(2027, 1, 15)),
            (date(2026, 3, 2), 240, date(2046, 3, 2)),
        ):
            self.assertEqual(months_later(day, months), later)

    def test_refuses_what_makes_no_sense(self):
        self.refused("as_found_missing", self.record, as_found="  ", field="as_found")
        self.refused("done_in_future", self.record, done_on=date(2026, 3, 3), field="done_on")
        self.refused("date_far_off", self.record, done_on=date(1026, 3, 2), field="done_on")
        self.refused("date_far_off", self.record, due_on=TODAY, field="due_on")
        self.refused("date_far_off", self.record, due_on=date.max, field="due_on")
        self.refused("too_long", self.record, certificate="x" * 81, field="certificate")
        self.refused("not_text", self.record, note="a\0", field="note")
        self.assertFalse(Calibration.objects.exists())

    def test_sent_twice_it_is_there_once(self):
        key = uuid.uuid4()
        self.assertEqual(self.record(key=key), self.record(key=key))
        self.assertEqual(Calibration.objects.count(), 1)
        with self.assertRaises(KeyReused):
            self.record(key=key, certificate="another")


class VoidTests(CalibrationCase):
    def test_the_one_before_holds_again(self):
        before = self.record(done_on=date(2025, 3, 10))
        wrong = self.record(usable=False)
        self.assertTrue(queries.state_at(self.rule, NOON).unfit)
        self.void(wrong)
        self.assertEqual(queries.state_at(self.rule, NOON).calibration, before)
        self.assertEqual(self.entries(self.rule)[0].facts["reason"], "typed from the wrong certificate")

    def test_refuses_without_a_reason_and_twice(self):
        row = self.record()
        self.refused("reason_missing", self.void, row, " ", field="reason")
        self.void(row)
        self.refused("already_void", self.void, row)

    def test_sent_twice_it_happens_once(self):
        row, key = self.record(), uuid.uuid4()
        for _ in range(2):
            self.void(row, key=key)
        self.assertEqual(len(self.entries(self.rule)), 3)
