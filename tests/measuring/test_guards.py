"""What the database itself keeps of marks and readings, whoever writes."""

import sqlite3

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import TransactionTestCase

from apps.core import clock
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.services import lose_mark
from tests.cast import NOON, LabTestCase, a_marked_request, assemble, with_originals, with_readings
from tests.measuring.support import issue, pair

PAIRS, READINGS = "measuring_benchmarkpair", "measuring_reading"
OF_PAIR = "specimen_id, direction, number, place, side, nominal_mm, lost_reason"
OF_READING = "pair_id, stage, text, unit, mm, read_by_id, at, recorded_at, void_reason"


class GuardTestCase(LabTestCase):
    def setUp(self):
        how = {"count": 1, "fewer_reason": "short"}
        self.request = with_readings(self, a_marked_request(self, **how), 0, ["250", "251", "", "", "", ""])
        self.other = a_marked_request(self, **how)
        self.pair = pair(self.request, "A1 length 1")
        self.reading = Reading.objects.get(pair=self.pair)

    def refuse(self, sql: str, *values) -> None:
        with self.subTest(sql), self.assertRaises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql, values)

    def do(self, sql: str, *values) -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql, values)

    def new_reading(self, pair: BenchmarkPair, stage: int = 0) -> tuple[str, list]:
        values = [pair.pk, stage, "250", "mm", 250, self.bea.pk, NOON, NOON, ""]
        return f"INTO {READINGS} ({OF_READING}) VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)", values


class KeptTests(GuardTestCase):
    """Nothing measured is edited or removed, issued or not."""

    def test_a_reading_is_never_changed_or_removed(self):
        for column, value in (
            ("mm", 251),
            ("text", "'251'"),
            ("unit", "'cm'"),
            ("stage", 1),
            ("read_by_id", self.mara.pk),
        ):
            self.refuse(f"UPDATE {READINGS} SET {column} = {value}")
        self.refuse(
            f"UPDATE {READINGS} SET pair_id = {pair(self.request, 'A1 width 1').pk} WHERE id = {self.reading.pk}"
        )
        self.refuse(f"DELETE FROM {READINGS}")

    def test_a_void_reading_stays_void(self):
        void = f"voided_at = %s, voided_by_id = {self.bea.pk}, void_reason = 'slip'"
        self.do(f"UPDATE {READINGS} SET {void}", NOON)
        self.refuse(f"UPDATE {READINGS} SET voided_at = NULL, voided_by_id = NULL, void_reason = ''")
        self.refuse(f"UPDATE {READINGS} SET void_reason = 'another'")

    def test_marks_are_never_changed_or_removed(self):
        for column, value in (("nominal_mm", 251), ("number", 9), ("direction", "'width'"), ("place", "'hem'")):
            self.refuse(f"UPDATE {PAIRS} SET {column} = {value} WHERE id = {self.pair.pk}")
        moved = self.other.specimens.get().pk
        self.refuse(f"UPDATE {PAIRS} SET specimen_id = {moved}, number = 99 WHERE id = {self.pair.pk}")
        self.refuse(f"DELETE FROM {PAIRS} WHERE id = {pair(self.request, 'A1 width 3').pk}")

    def test_a_mark_given_up_stays_given_up(self):
        lost = pair(self.request, "A1 width 3")
        lose_mark(pair_id=lost.pk, stage=0, reason="bled", by=self.bea, at=NOON)
        none = "lost_stage = NULL, lost_reason = '', lost_by_id = NULL, lost_at = NULL"
        self.refuse(f"UPDATE {PAIRS} SET {none} WHERE id = {lost.pk}")
        self.refuse(f"UPDATE {PAIRS} SET lost_reason = 'another' WHERE id = {lost.pk}")

    def test_a_second_reading_in_force_and_replace_are_refused(self):
        into, values = self.new_reading(self.pair)
        self.refuse(f"INSERT {into}", *values)
        same = "ON CONFLICT (id) DO UPDATE SET mm = 1"
        self.refuse(f"INSERT {into.replace('(pair_id', '(id, pair_id').replace('(%s', '(%s, %s')} {same}", 1, *values)
        if connection.vendor == "sqlite":
            self.refuse(f"INSERT OR REPLACE {into}", *values)
            self.refuse(f"REPLACE INTO {PAIRS} SELECT * FROM {PAIRS}")
            self.refuse(f"REPLACE INTO {READINGS} SELECT * FROM {READINGS}")

    @pytest.mark.postgres_only
    def test_truncate_is_refused(self):
        self.do("SET CONSTRAINTS ALL IMMEDIATE")
        for table in (PAIRS, READINGS):
            self.refuse(f"TRUNCATE {table} CASCADE")

    def test_model_ways_are_refused_too(self):
        acts = (self.reading.delete, Reading.objects.all().delete, BenchmarkPair.objects.filter(number=3).delete)
        for act in (*acts, lambda: Reading.objects.update(mm=1), lambda: BenchmarkPair.objects.update(nominal_mm=1)):
            with self.subTest(act), self.assertRaises(IntegrityError), transaction.atomic():
                act()


class IssuedTests(GuardTestCase):
    """A report rests on it: no way in, out, or through."""

    def setUp(self):
        super().setUp()
        self.free = pair(self.request, "A1 width 1")
        issue(self.request, by=self.mara)

    def test_no_reading_comes_in(self):
        into, values = self.new_reading(self.free)
        self.refuse(f"INSERT {into}", *values)
        self.refuse(f"INSERT {into} ON CONFLICT DO NOTHING", *values)
        into, values = self.new_reading(self.free, stage=1)
        self.refuse(f"INSERT {into}", *values)
        into, values = self.new_reading(pair(self.other, "A1 length 1"))
        self.do(f"INSERT {into}", *values)  # another request is free

    def test_no_reading_is_voided_or_moved(self):
        void = f"voided_at = %s, voided_by_id = {self.bea.pk}, void_reason = 'slip'"
        self.refuse(f"UPDATE {READINGS} SET {void}", NOON)
        self.refuse(f"UPDATE {READINGS} SET pair_id = {pair(self.other, 'A1 length 1').pk}")
        self.refuse(f"DELETE FROM {READINGS}")

    def test_no_pair_comes_in_moves_or_is_given_up(self):
        specimen = self.pair.specimen_id
        self.refuse(f"INSERT INTO {PAIRS} ({OF_PAIR}) VALUES ({specimen}, 'length', 9, '', '', 250, '')")
        lost = f"lost_stage = 0, lost_by_id = {self.bea.pk}, lost_at = %s, lost_reason = 'bled'"
        self.refuse(f"UPDATE {PAIRS} SET {lost} WHERE id = {self.free.pk}", NOON)
        foreign = pair(self.other, "A1 length 1").pk
        self.refuse(f"UPDATE {PAIRS} SET specimen_id = {specimen}, number = 9 WHERE id = {foreign}")
        self.do(
            f"INSERT INTO {PAIRS} ({OF_PAIR}) VALUES ({self.other.specimens.get().pk}, 'length', 9, '', '', 250, '')"
        )


@pytest.mark.once
class WithoutThePragmaTests(TransactionTestCase):
    def test_replace_is_refused_on_a_bare_connection(self):
        """Another program opens the file without our pragmas; REPLACE would remove a reading in force."""
        if connection.vendor != "sqlite":
            self.skipTest("SQLite's own")
        cast = assemble()
        with clock.set_to(NOON):
            with_originals(cast, a_marked_request(cast, count=1, fewer_reason="short"))
        bare = sqlite3.connect(connection.settings_dict["NAME"])
        columns = f"{OF_READING}, voided_at, voided_by_id"
        with self.assertRaisesRegex(sqlite3.IntegrityError, "already read"):
            bare.execute(f"INSERT OR REPLACE INTO {READINGS} ({columns}) SELECT {columns} FROM {READINGS}")
        bare.close()
