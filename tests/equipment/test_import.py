"""A logger's file is looked at, then taken in whole or not at all; void as a whole when it was the wrong one."""

import re
import uuid
from decimal import Decimal

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.core.errors import KeyReused
from apps.equipment import queries, services
from apps.equipment.models import AtmosphereImport, AtmosphereReading
from apps.equipment.services import How
from apps.equipment.views import imports as pages
from apps.trail.models import Blob
from tests.cast import NOON, a_calibration
from tests.equipment.support import (
    DAY,
    HOUR,
    MINUTE,
    EquipmentCase,
    a_file,
    a_logger,
    a_room,
    logged,
    quarters,
    taken_in,
)


class ImportCase(EquipmentCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.room, cls.logger = a_room(cls), a_logger(cls)


class TakeInTests(ImportCase):
    def test_works_and_leaves_one_entry(self):
        content = a_file(quarters(5))
        batch = taken_in(self, self.room, content, file_name="week 9.csv", instrument_id=self.logger.pk)
        self.assertEqual((batch.stored, batch.skipped, batch.first_at, batch.last_at), (5, 0, NOON - HOUR, NOON))
        self.assertEqual(bytes(batch.file.content), content)
        reading = batch.readings.first()
        self.assertEqual((reading.source, reading.by, reading.instrument), ("import", self.bea, self.logger))
        self.assertEqual(reading.recorded_at, NOON)
        _, entry = reversed(self.entries(self.room))
        self.assertEqual((entry.kind, entry.facts["stored"]), ("atmosphere.imported", 5))
        self.assertEqual(entry.facts["sha256"], batch.file_id)
        self.assertEqual(queries.told(entry)["note"], "week 9.csv: 5 readings stored, 0 lines skipped")

    def test_what_the_book_has_is_skipped_and_stays(self):
        logged(self, self.room, "20.3", "64", at=NOON)
        logged(self, self.room, "19", "64", at=NOON - 15 * MINUTE)
        rows = quarters(4)
        batch = taken_in(self, self.room, a_file([*rows, rows[0], (NOON - DAY, "", "")]))
        self.assertEqual((batch.stored, batch.skipped), (2, 4))
        there = {each.at: each.temperature for each in queries.atmosphere(self.room, NOON - HOUR, NOON)}
        self.assertEqual(there[NOON - 15 * MINUTE], Decimal(19))
        self.assertEqual(len(there), 4)

    def test_the_same_file_again_has_nothing_new(self):
        content = a_file(quarters(5))
        taken_in(self, self.room, content)
        self.refused("nothing_new", taken_in, self, self.room, content, field="file")
        self.assertEqual((AtmosphereImport.objects.count(), Blob.objects.count()), (1, 1))

    def test_one_wrong_line_and_nothing_is_stored(self):
        content = a_file([*quarters(50), (NOON, "20", "x"), (NOON, "x", "20")])
        sentence = self.refused("file_wrong", taken_in, self, self.room, content, field="file")
        self.assertEqual(sentence, "Nothing is stored. Line 52: This is no figure. 1 more like it.")
        self.assertFalse(AtmosphereReading.objects.exists() or Blob.objects.exists())
        self.assertEqual(len(self.entries(self.room)), 1)

    def test_refuses_another_room_and_an_instrument_out_of_service(self):
        content = a_file(quarters(5))
        self.refused("no_room", taken_in, self, self.washers[0], content)
        a_calibration(self, self.logger, due_on=NOON.date() - DAY)
        batch = taken_in(self, self.room, content, instrument_id=self.logger.pk)
        told = ["The calibration or verification of Logger 1 was due on 1 Mar 2026."]
        self.assertEqual(self.entries(self.room)[0].facts["disclosed"], told)
        services.void_import(import_id=batch.pk, reason="again", by=self.bea, at=NOON)
        services.put_out_of_service(equipment_id=self.logger.pk, reason="drifts", by=self.bea, at=NOON - MINUTE)
        self.refused("out_of_service", taken_in, self, self.room, content, instrument_id=self.logger.pk)
        self.assertTrue(taken_in(self, self.room, a_file(quarters(5, until=NOON - HOUR)), instrument_id=self.logger.pk))

    def test_sent_twice_it_is_stored_once(self):
        content, key = a_file(quarters(5)), uuid.uuid4()
        first = taken_in(self, self.room, content, key=key)
        self.assertEqual(taken_in(self, self.room, content, key=key), first)
        with self.assertRaises(KeyReused):
            taken_in(self, self.room, a_file(quarters(6)), key=key)

    def test_names_that_no_file_should_have(self):
        for name, kept in (("a\0b\n.csv", "ab.csv"), ("", "unnamed"), ("x" * 500, "x" * 120), ("🧵.csv", "🧵.csv")):
            until = NOON - DAY * (1 + AtmosphereImport.objects.count())
            batch = taken_in(self, self.room, a_file(quarters(1, until=until)), file_name=name)
            self.assertEqual(AtmosphereImport.objects.get(pk=batch.pk).file_name, kept)

    def test_the_number_of_questions_grows_with_batches_only(self):
        counts = []
        for number, until in ((2, NOON), (22, NOON - DAY)):
            content = a_file(quarters(number, until=until))
            with CaptureQueriesContext(
                connection,
            ) as seen:
                taken_in(self, self.room, content)
            counts.append(len(seen))
        self.assertEqual(counts[0], counts[1])

    def test_many_at_once(self):
        content = a_file(quarters(3000))
        self.assertEqual(taken_in(self, self.room, content).stored, 3000)
        self.assertEqual(AtmosphereReading.objects.filter(room=self.room).count(), 3000)


class VoidTests(ImportCase):
    def void(self, batch, reason="wrong room", **values):
        return services.void_import(import_id=batch.pk, reason=reason, **{"by": self.bea, "at": NOON, **values})

    def test_all_its_readings_and_no_others(self):
        batch = taken_in(self, self.room, a_file(quarters(5)))
        services.void_reading(reading_id=batch.readings.first().pk, reason="door open", by=self.bea, at=NOON)
        own = logged(self, self.room, at=NOON - MINUTE)
        self.void(batch)
        self.assertEqual(AtmosphereReading.objects.get(voided_at=None), own)
        self.assertEqual(self.entries(self.room)[0].facts["readings"], 4)
        reasons = sorted(batch.readings.values_list("void_reason", flat=True))
        self.assertEqual(reasons, ["door open", *["wrong room"] * 4])
        self.assertEqual(taken_in(self, self.room, a_file(quarters(5))).stored, 5)

    def test_refuses_without_a_reason_and_twice(self):
        batch = taken_in(self, self.room, a_file(quarters(2)))
        self.refused("reason_missing", self.void, batch, " ", field="reason")
        self.void(batch)
        self.refused("already_void", self.void, batch)

    def test_sent_twice_it_happens_once(self):
        batch, key = taken_in(self, self.room, a_file(quarters(2))), uuid.uuid4()
        for _ in range(2):
            self.void(batch, key=key)
        self.assertEqual(len(self.entries(self.room)), 3)


class PageTests(ImportCase):
    def setUp(self):
        self.sign_in(self.bea)
        self.look, self.store = (f"/equipment/{self.room.pk}/atmosphere/import/{end}" for end in ("", "store/"))

    def upload(self, content: bytes, name="logger.csv", **options):
        return self.client.post(self.look, {"file": SimpleUploadedFile(name, content), **options})

    def hidden(self, page) -> dict:
        """What the second form of the page holds."""
        html = page.content.decode()
        form = html[html.index(f'action="{self.store}"') :]
        form = form[: form.index("</form>")]
        return dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))

    def test_looked_at_first_then_stored(self):
        page = self.upload(a_file(quarters(100)), instrument=self.logger.pk)
        self.assertContains(page, "Store 100 readings")
        self.assertFalse(AtmosphereReading.objects.exists() or Blob.objects.exists())
        page = self.client.post(self.store, self.hidden(page), follow=True)
        self.assertEqual(self.told(page), ["100 readings of logger.csv are stored."])
        self.assertContains(page, "2 Mar 2026")
        self.assertEqual(AtmosphereImport.objects.get().instrument, self.logger)
        form = self.client.get(self.look).context["form"]
        self.assertEqual(form["instrument"].value(), self.logger.pk, "the logger used last is chosen already")

    def test_what_is_skipped_is_told(self):
        rows = quarters(4)
        logged(self, self.room, "20.3", "64", at=NOON)
        logged(self, self.room, "19", "64", at=NOON - 15 * MINUTE)
        page = self.upload(a_file([*rows, rows[0], (NOON - DAY, "", ""), (NOON - HOUR, "20.123456", "70")]))
        for told in (
            "1 line the book has already, from line 5: skipped",
            "1 line the book has otherwise, from line 4: skipped",
            "1 line said twice, from line 6: skipped",
            "1 line without figures, from line 7: skipped",
            "Figures with more than four decimals are kept to four.",
            "1 reading</dd>",
            "Store 3 readings",
        ):
            self.assertContains(page, told)

    def test_all_that_is_wrong_is_named_and_nothing_can_be_stored(self):
        rows = [(NOON - MINUTE * n, "x" if n % 2 else "20", "65") for n in range(300)]
        page = self.upload(a_file(rows))
        self.assertContains(page, "150 things to correct in the file")
        self.assertContains(page, "The first 100 are shown.")
        self.assertContains(page, "This is no figure.", count=100)
        self.assertNotContains(page, self.store)

    def test_strange_text_is_shown_as_text(self):
        page = self.upload(a_file([(NOON, "<script>alert(1)</script>", "65")]), name="<b>x</b>.csv")
        self.assertContains(page, "&lt;script&gt;alert(1)&lt;/script&gt;")
        self.assertNotContains(page, "<script>alert")
        self.assertNotContains(page, "<b>x</b>")

    def test_nothing_new(self):
        taken_in(self, self.room, a_file(quarters(3)))
        page = self.upload(a_file(quarters(3)))
        self.assertContains(page, "Nothing in this file is new")
        self.assertNotContains(page, self.store)

    def test_options(self):
        text = "time,temp,rh\n02/03/2026 09:00,68,65"
        self.assertContains(self.upload(text.encode()), "Is the day or the month first?")
        page = self.upload(text.encode(), dates="day", unit="f", clock="utc")
        self.assertContains(page, "kept in °C")
        self.client.post(self.store, self.hidden(page))
        reading = AtmosphereReading.objects.get()
        self.assertEqual((reading.at, reading.temperature_c), (NOON - 3 * HOUR, Decimal(20)))

    def test_no_file_an_empty_one_and_options_that_are_none(self):
        for data, sentence in (
            ({}, "Choose the logger&#x27;s file."),
            ({"file": SimpleUploadedFile("x.csv", b"")}, "The file is empty."),
            ({"file": "a text"}, "Choose the logger&#x27;s file."),
            ({"file": SimpleUploadedFile("x.csv", a_file(quarters(1))), "dates": "\0"}, "Select a valid choice"),
            ({"file": SimpleUploadedFile("x.csv", a_file(quarters(1))), "unit": "kelvin"}, "Select a valid choice"),
            ({"file": SimpleUploadedFile("x.csv", a_file(quarters(1))), "instrument": "9" * 40}, "cannot be chosen"),
            ({"file": SimpleUploadedFile("x" * 400, a_file(quarters(1)))}, "Would be stored"),
            ({"file": SimpleUploadedFile("x.csv", b"\0\1\2")}, "This is no text."),
        ):
            with self.subTest(sentence=sentence):
                self.assertContains(self.client.post(self.look, data), sentence)

    def test_a_tampered_second_form_is_told(self):
        good = self.hidden(self.upload(a_file(quarters(3))))
        other = a_room(self, "Room 2")
        for data in (
            {},
            {**good, "packed": ""},
            {**good, "packed": "x"},
            {**good, "packed": good["packed"][:-2] + "zz"},
            {**good, "packed": "\0"},
            {**good, "dates": "🧵"},
            {**good, "instrument": "abc"},
        ):
            page = self.client.post(self.store, data, follow=True)
            self.assertEqual(
                self.told(page), ["That was not the page of a file that was looked at. Choose the file again."]
            )
        page = self.client.post(f"/equipment/{other.pk}/atmosphere/import/store/", good, follow=True)
        self.assertIn("Choose the file again.", self.told(page)[0])
        self.assertFalse(AtmosphereReading.objects.exists())

    def test_a_double_click_stores_once(self):
        good = self.hidden(self.upload(a_file(quarters(3))))
        for _ in range(2):
            page = self.client.post(self.store, good, follow=True)
            self.assertEqual(self.told(page), ["3 readings of logger.csv are stored."])
        page = self.client.post(self.store, {**good, "key": "no key"}, follow=True)
        self.assertEqual(self.told(page), ["Nothing in this file is new; the book has it already."])
        self.assertEqual(AtmosphereReading.objects.count(), 3)

    def test_too_much_to_carry(self):
        with self.settings(), self.subTest("packed"):
            limit, pages.MOST_PACKED = pages.MOST_PACKED, 10
            self.addCleanup(setattr, pages, "MOST_PACKED", limit)
            self.assertContains(self.upload(a_file(quarters(3))), "Too much in one file.")

    def test_void_by_reason(self):
        batch = taken_in(self, self.room, a_file(quarters(3)))
        self.assertContains(self.client.get(self.look), "logger.csv")
        address = f"/equipment/imports/{batch.pk}/void/"
        self.assertContains(self.client.get(address), "Its 3 readings count no more")
        for typed, sentence in (("", "This field is required"), ("x" * 500, "at most 200"), ("\0", "Null characters")):
            self.assertContains(self.client.post(address, {"reason": typed}), sentence)
        self.assertRedirects(self.client.post(address, {"reason": "wrong room"}), self.look)
        self.assertContains(self.client.get(self.look), "wrong room")
        self.assertContains(self.client.post(address, {"reason": "again"}), "void already")

    def test_who_may(self):
        batch = taken_in(self, self.room, a_file(quarters(3)))
        for name in ("nobody", "fran", "bea", "lou", "mara", "casey"):
            self.sign_in(getattr(self, name, None))
            for address in (self.look, f"/equipment/imports/{batch.pk}/void/"):
                status = self.client.get(address).status_code
                self.assertEqual(status, 302 if name == "nobody" else 200 if name in ("bea", "mara") else 403)

    def test_only_of_a_room_that_is_there(self):
        for pk in (self.washers[0].pk, 987654321, 10**30):
            self.assertEqual(self.client.get(f"/equipment/{pk}/atmosphere/import/").status_code, 404)
            self.assertEqual(self.client.post(f"/equipment/{pk}/atmosphere/import/store/").status_code, 404)
        self.assertEqual(self.client.get("/equipment/imports/987654321/void/").status_code, 404)

    def test_does_not_grow(self):
        counts = []
        for batches in (2, 22):
            for n in range(AtmosphereImport.objects.count(), batches):
                taken_in(self, self.room, a_file(quarters(1, until=NOON - DAY * n)), instrument_id=self.logger.pk)
            with CaptureQueriesContext(connection) as seen:
                page = self.client.get(self.look)
            counts.append(len(seen))
            self.assertEqual(len(page.context["page"]), batches)
        self.assertEqual(counts[0], counts[1])
        self.assertFalse(any('"content"' in query["sql"] for query in seen), "lists never load the files themselves")


class HowTests(ImportCase):
    def test_what_was_told_is_in_the_trail(self):
        content = b"time,temp,rh\n2026-03-02 09:00,68,65"
        taken_in(self, self.room, content, how=How(utc=True, fahrenheit=True))
        facts = self.entries(self.room)[0].facts
        self.assertEqual((facts["fahrenheit"], facts["clock"]), (True, "UTC, as you said"))
