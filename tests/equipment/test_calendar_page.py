"""The calibration calendar: what falls due, the most urgent first; as a table for a spreadsheet too."""

import csv
from datetime import timedelta
from io import StringIO

from apps.equipment import services
from apps.equipment.models import Equipment
from tests.cast import NOON, a_calibration
from tests.equipment.support import TODAY, EquipmentCase, a_piece

PAGE, TABLE = "/equipment/calendar/", "/equipment/calendar.csv"


class CalendarTests(EquipmentCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        for name, days, given in (
            ("Rule late", -40, {}),
            ("Rule today", 0, {}),
            ("Rule soon", 12, {}),
            ("Rule later", 200, {}),
            ("Rule unfit", 200, {"usable": False}),
            ("Rule refused", -1, {}),
        ):
            rule = "refuse" if "refused" in name else "disclose"
            piece = a_piece(cls, "rule", name, overdue_rule=rule)
            a_calibration(cls, piece, due_on=TODAY + timedelta(days=days), certificate=f"C {name}", **given)
        a_piece(cls, "balance", "Balance never", interval_months=12)
        services.put_out_of_service(equipment_id=cls.washers[0].pk, reason="leaks", by=cls.lou, at=NOON)

    def setUp(self):
        self.sign_in(self.bea)

    def test_groups_in_the_order_of_urgency(self):
        page = self.client.get(PAGE)
        groups: dict[str, list[str]] = {}
        for equipment in page.context["page"]:
            groups.setdefault(equipment.heading, []).append(equipment.name)
        self.assertEqual(
            list(groups.items()),
            [
                ("Found not fit for use", ["Rule unfit"]),
                ("Overdue", ["Balance never", "Rule late", "Rule refused"]),
                ("Due within 30 days", ["Rule today", "Rule soon"]),
                ("Due later", ["Rule later"]),
                ("Nothing is due", ["D1", "D2", "W2"]),
                ("Out of service", ["W1"]),
            ],
        )
        for words in ("never recorded", "must not be used", "due today", "in 12 days", "in 200 days", "leaks"):
            self.assertContains(page, words)

    def test_as_a_table(self):
        answer = self.client.get(TABLE)
        self.assertEqual(answer["Content-Type"], "text/csv; charset=utf-8")
        self.assertIn("calibration-calendar-2026-03-02.csv", answer["Content-Disposition"])
        rows = list(csv.DictReader(StringIO(answer.content.decode("utf-8-sig"))))
        self.assertEqual(len(rows), Equipment.objects.count())
        late = next(row for row in rows if row["name"] == "Rule late")
        self.assertEqual(
            (late["state"], late["next due on"], late["certificate"]), ("overdue", "2026-01-21", "C Rule late")
        )
        self.assertEqual(rows[-1]["out of service because"], "leaks")

    def test_no_formula_gets_into_a_spreadsheet(self):
        for n, name in enumerate(("=1+1", "+cmd", "-2", "@x", "\uff1d1")):
            a_piece(self, "rule", name, serial_number=f"={n}")
        text = self.client.get(TABLE).content.decode("utf-8-sig")
        rows = list(csv.reader(StringIO(text)))
        self.assertFalse([cell for row in rows for cell in row if cell.startswith(("=", "+", "-", "@", "\uff1d"))])

    def test_who_may(self):
        for name in ("nobody", "fran", "bea", "lou", "mara", "casey"):
            self.sign_in(getattr(self, name, None))
            for address in (PAGE, TABLE):
                status = self.client.get(address).status_code
                self.assertEqual(status, 302 if name == "nobody" else 403 if name == "casey" else 200)

    def test_does_not_grow_and_is_paged(self):
        Equipment.objects.bulk_create(Equipment(name=f"R{n}", kind="rule") for n in range(20))
        with self.assertNumQueries(5):
            self.client.get(PAGE)
        Equipment.objects.bulk_create(Equipment(name=f"S{n}", kind="rule") for n in range(50))
        with self.assertNumQueries(5):
            page = self.client.get(PAGE)
        self.assertEqual(len(page.context["page"]), 50)
        with self.assertNumQueries(3):
            self.client.get(TABLE)

    def test_page_numbers_that_are_none(self):
        for number in ("0", "-3", "NaN", "1e999", "9" * 40, "\0"):
            self.assertContains(self.client.get(PAGE, {"page": number}), "Rule late")
