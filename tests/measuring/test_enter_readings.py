"""Readings are entered, a sheet at a time."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

from django.db import IntegrityError, transaction

from apps.core import clock
from apps.core.errors import KeyReused, Refusal, RequestIsLocked
from apps.intake.models import Deviation, Specimen
from apps.intake.services import set_aside
from apps.measuring.models import Reading
from apps.measuring.services import Entry, SheetRefused, enter_reading, enter_readings
from apps.trail.queries import broken_link, timeline
from tests.cast import (
    NOON,
    LabTestCase,
    a_marked_request,
    after_cycle,
    in_a_load,
    out_of_the_load,
    with_originals,
    with_readings,
)
from tests.measuring.support import HOUR, issue, pair

ONE = {"count": 1, "fewer_reason": "short"}


class EnterTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **ONE, cycles=3, measured_after=(1, 3))

    def read(self, name: str, text: str, stage: int = 0, **how) -> Reading:
        details = {"unit": "mm", "by": self.bea, "at": NOON, **how}
        return enter_reading(pair_id=pair(self.request, name).pk, stage=stage, text=text, **details)

    def test_cells_that_waited_are_disclosed_late_once(self):
        with clock.set_to(NOON + 30 * HOUR):
            self.read("A1 length 1", "250")
            self.read("A1 length 2", "250", at=NOON + HOUR / 2)
            self.read("A1 length 3", "250", at=NOON + 5 * HOUR)
        self.assertEqual(Deviation.objects.filter(kind="late_entry").count(), 2)

    def refused(self, code: str, name: str = "A1 length 1", text: str = "250", **how) -> str:
        with self.assertRaises(Refusal) as refused:
            self.read(name, text, **how)
        self.assertEqual(refused.exception.code, code)
        return next(iter(getattr(refused.exception, "cells", {}).values()), str(refused.exception))

    def stage(self) -> str:
        return self.request.specimens.get().stage

    def test_keeps_what_was_typed_and_the_same_in_millimetres(self):
        reading = self.read("A1 length 1", " 9 5/8 ", unit="in", confirmed=True, remark="cut smaller")
        self.assertEqual((reading.text, reading.unit, reading.mm), ("9 5/8", "in", Decimal("244.475")))
        entry = timeline(self.request.sample.job.stream)[0]
        self.assertEqual((entry.kind, entry.actor_name), ("readings.entered", "Bea Bench"))
        self.assertEqual(entry.facts["readings"][0]["mm"], "244.475")
        self.assertIsNone(broken_link(self.request.sample.job.stream))

    def test_the_last_reading_due_lets_the_specimen_go_on(self):
        with_originals(self, self.request, ["250"] * 5 + [""])
        self.assertEqual(self.stage(), Specimen.Stage.MARKED)
        self.read("A1 width 3", "250")
        self.assertEqual(self.stage(), Specimen.Stage.READY)
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, "245")
        self.assertEqual(self.stage(), Specimen.Stage.READY)
        after_cycle(self, self.request, cycles=2)
        with_readings(self, self.request, 3, "244")
        self.assertEqual(self.stage(), Specimen.Stage.DONE)

    def test_the_same_again_is_no_change_and_another_value_is_refused(self):
        first = self.read("A1 length 1", "250")
        self.assertEqual(self.read("A1 length 1", "25,0", unit="cm"), first)
        sentence = self.refused("cells", text="251")
        self.assertIn("Already read by Bea Bench", sentence)
        self.assertIn("250 mm", sentence)
        self.assertEqual(Reading.objects.count(), 1)

    def test_a_second_tap_is_answered_with_what_is_there(self):
        key = uuid4()
        first = self.read("A1 length 1", "250", key=key)
        self.assertEqual(self.read("A1 length 1", "250", key=key), first)
        with self.assertRaises(KeyReused):
            self.read("A1 length 1", "251", key=key)

    def test_says_what_is_the_matter_when_no_reading_is_due(self):
        self.assertEqual(self.refused("cells", stage=1), "The original readings of A1 come first.")
        self.assertIn("is not measured after cycle 2", self.refused("cells", stage=2))
        with_originals(self, self.request)
        self.assertEqual(self.refused("cells", stage=1), "A1 has had 0 cycles; its readings after cycle 1 come later.")
        load = in_a_load(self, self.request)
        self.assertEqual(self.refused("cells", stage=1), f"A1 is in load {load.pk}.")
        out_of_the_load(self, load)
        self.assertEqual(self.refused("cells", stage=3), "A1 has had 1 cycle; its readings after cycle 3 come later.")
        with_readings(self, self.request, 1, ["245"] * 5 + ["240"])
        after_cycle(self, self.request)
        self.assertIn("has had 2 cycles", self.refused("cells", stage=3))
        self.assertIn("Already read", self.refused("cells", stage=1))

    def test_a_specimen_set_aside_is_not_read(self):
        set_aside(specimen_id=self.request.specimens.get().pk, reason="torn", by=self.bea, at=NOON)
        self.assertEqual(self.refused("cells"), "A1 is set aside: torn.")

    def test_an_issued_request_is_refused(self):
        issue(self.request, by=self.mara)
        with self.assertRaises(RequestIsLocked):
            self.read("A1 length 1", "250")

    def test_not_before_the_marks_nor_in_the_future(self):
        self.refused("before_previous_step", at=NOON - HOUR)
        self.refused("future", at=NOON + HOUR)
        with_originals(self, self.request)
        with clock.set_to(NOON + 5 * HOUR):
            after_cycle(self, self.request, at=NOON + 4 * HOUR)
            self.refused("before_previous_step", text="245", stage=1, at=NOON + 3 * HOUR)

    def test_a_late_entry_is_disclosed(self):
        with clock.set_to(NOON + timedelta(hours=30)):
            self.read("A1 length 1", "250", at=NOON)
        late = Deviation.objects.get(kind="late_entry")
        self.assertIn("before washing: done 02 Mar 2026 12:00, entered 03 Mar 2026 18:00", late.text)

    def test_bad_input_cell_by_cell(self):
        cases = ["letters", "-250", "1e999", "NaN", "250\x00", "0", "🧵", "9" * 10_000, "1000000", "0.5", "250.1234567"]
        names = [f"A1 {direction} {number}" for direction in ("length", "width") for number in (1, 2, 3)]
        for text in cases:
            with self.subTest(text[:20]):
                self.assertTrue(self.refused("cells", text=text))
        entries = [Entry(pair(self.request, name).pk, text) for name, text in zip(names, cases, strict=False)]
        entries[5] = Entry(entries[5].pair_id, "250")
        with self.assertRaises(SheetRefused) as refused:
            enter_readings(request_id=self.request.pk, stage=0, entries=entries, unit="mm", by=self.bea, at=NOON)
        self.assertEqual(len(refused.exception.cells), 5)
        self.assertEqual(Reading.objects.count(), 0)

    def test_a_unit_that_is_none_and_cells_of_elsewhere(self):
        self.refused("unit", unit="ell")
        other = pair(a_marked_request(self), "A1 length 1")
        sheet = {"request_id": self.request.pk, "stage": 0, "unit": "mm", "by": self.bea, "at": NOON}
        own = pair(self.request, "A1 length 1").pk
        for entries in ([Entry(other.pk, "250")], [Entry(own, "250"), Entry(own, "251")], [Entry(10**12, "250")]):
            with self.assertRaises(Refusal) as refused:
                enter_readings(**sheet, entries=entries)
            self.assertEqual(refused.exception.code, "unknown_pair")
        with self.assertRaises(Refusal) as refused:
            enter_readings(**sheet, entries=[Entry(own, "  ")])
        self.assertEqual(refused.exception.code, "nothing_typed")

    def test_two_people_on_one_sheet_keep_both(self):
        """Each had the empty sheet open; what both read is not written over."""
        sheet = {"request_id": self.request.pk, "stage": 0, "unit": "mm", "at": NOON}
        one, two = pair(self.request, "A1 length 1").pk, pair(self.request, "A1 length 2").pk
        enter_readings(**sheet, entries=[Entry(one, "250")], by=self.bea)
        enter_readings(**sheet, entries=[Entry(one, "250"), Entry(two, "251")], by=self.mara)
        with self.assertRaises(SheetRefused):
            enter_readings(**sheet, entries=[Entry(one, "249")], by=self.mara)
        self.assertEqual(
            {(r.read_by.username, r.text) for r in Reading.objects.all()}, {("bea", "250"), ("mara", "251")}
        )

    def test_the_database_agrees(self):
        reading = self.read("A1 length 1", "250")
        wrong = [
            {"mm": Decimal(251)},  # a second one in force
            {"mm": Decimal(0), "stage": 1},
            {"text": "", "stage": 1},
            {"unit": "ell"[:2], "stage": 1},
            {"void_reason": "no one", "stage": 1},
        ]
        columns = {f.attname: getattr(reading, f.attname) for f in Reading._meta.fields if f.name != "id"}
        for change in wrong:
            with self.subTest(change), self.assertRaises(IntegrityError), transaction.atomic():
                Reading.objects.create(**{**columns, **change})


class SecondLookTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **ONE)

    def enter(self, texts, stage=0, unit="mm", **how):
        keys = list(self.request.specimens.get().pairs.order_by("direction", "number").values_list("pk", flat=True))
        entries = [Entry(pair, text) for pair, text in zip(keys, texts, strict=True)]
        details = {"unit": unit, "by": self.bea, "at": NOON, **how}
        return enter_readings(request_id=self.request.pk, stage=stage, entries=entries, **details)

    def looks(self, texts, **how) -> list[str]:
        with self.assertRaises(SheetRefused) as refused:
            self.enter(texts, **how)
        self.assertEqual(refused.exception.code, "second_look")
        return list(refused.exception.cells.values())

    def test_another_unit_is_guessed(self):
        self.assertEqual(
            self.looks(["9.8"] + ["250"] * 5), ["9.8 mm is far from the 250 mm marked. Was it read in inches?"]
        )
        self.assertEqual(len(self.looks(["25"] * 6)), 6)
        self.assertIn("Was it read in millimetres?", self.looks(["250"] * 6, unit="cm")[0])

    def test_a_slip_is_told_by_its_siblings(self):
        self.enter(["250"] * 6)
        after_cycle(self, self.request)
        (sentence,) = self.looks(["243", "213", "244", "250", "251", "250"], stage=1)
        self.assertEqual(sentence, "213 mm is far from what the other pairs of this direction did.")

    def test_knits_may_grow_in_width_and_wool_may_felt(self):
        self.enter(["250"] * 6)
        after_cycle(self, self.request)
        self.assertEqual(len(self.enter(["150", "152", "155", "300", "305", "310"], stage=1)), 6)

    def test_beyond_half_asks_once_a_sheet_and_is_disclosed(self):
        self.enter(["250"] * 6)
        after_cycle(self, self.request)
        texts = ["120", "121", "122", "250", "250", "250"]
        self.assertEqual(len(self.looks(texts, stage=1)), 3)
        with self.assertRaises(Refusal) as refused:
            self.enter(texts, stage=1, confirmed=True)
        self.assertEqual(refused.exception.field, "remark")
        self.enter(texts, stage=1, confirmed=True, remark="felted wool")
        text = Deviation.objects.get(kind="reading").text
        self.assertIn("after cycle 1, looked at twice: felted wool (A1 length 1 120 mm, A1 length 2 121 mm", text)

    def test_errors_come_before_second_looks(self):
        with self.assertRaises(SheetRefused) as refused:
            self.enter(["25", "x", "250", "250", "250", "250"])
        self.assertEqual((refused.exception.code, len(refused.exception.cells)), ("cells", 2))
