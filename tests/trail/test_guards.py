"""Guards: what the database refuses, whoever writes."""

import sqlite3

import pytest
from django.core.checks import run_checks
from django.db import IntegrityError, connection, transaction
from django.test import TestCase, TransactionTestCase

from apps.trail import guarding
from apps.trail.apps import lower_guards, raise_guards
from apps.trail.models import Blob, TrailEntry
from apps.trail.services import record, store_blob
from tests.cast import NOON


class TrailGuardTests(TestCase):
    """The trail and stored bytes are added to and never changed."""

    def setUp(self):
        self.entry = record(stream="s", kind="k", by=None, at=NOON, facts={"n": 1})
        self.blob = store_blob(content=b"cloth", content_type="text/plain")

    def refuse(self, sql: str) -> None:
        with self.subTest(sql), self.assertRaises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)

    def test_refuses_update_and_delete(self):
        self.refuse("UPDATE trail_trailentry SET kind = 'x'")
        self.refuse("DELETE FROM trail_trailentry")
        self.refuse("UPDATE trail_blob SET size = 0")
        self.refuse("DELETE FROM trail_blob")
        self.refuse("DELETE FROM trail_trailstream")

    def test_refuses_upsert(self):
        columns = "id, stream, seq, kind, at, recorded_at, actor_name, facts, payload_sha256, prev_hash, hash"
        values = "stream, seq, 'x', at, recorded_at, actor_name, facts, payload_sha256, prev_hash, hash"
        into = f"INTO trail_trailentry ({columns}) SELECT id, {values} FROM trail_trailentry"
        self.refuse(f"INSERT {into} WHERE 1 = 1 ON CONFLICT (id) DO UPDATE SET kind = 'x'")
        if connection.vendor == "sqlite":
            self.refuse(f"INSERT OR REPLACE {into}")
            self.refuse(f"INSERT OR REPLACE {into.replace('SELECT id,', 'SELECT id + 99,')}")
        self.entry.refresh_from_db()
        self.assertEqual(self.entry.kind, "k")

    @pytest.mark.postgres_only
    def test_refuses_truncate(self):
        self.refuse("TRUNCATE trail_trailentry")
        self.refuse("TRUNCATE trail_blob CASCADE")

    def test_model_ways_are_refused_too(self):
        for act in (self.entry.delete, TrailEntry.objects.all().delete, Blob.objects.all().delete, self.entry.save):
            with self.subTest(act), self.assertRaises(IntegrityError), transaction.atomic():
                act()


class EngineTests(TestCase):
    def test_all_stand_after_migrate(self):
        self.assertEqual(guarding.missing_triggers(), set())
        self.assertGreater(len(guarding.installed_triggers()), 90)

    def test_names_fit_both_databases_and_are_told_apart(self):
        names = [guard.trigger for guard in guarding.all_guards()]
        self.assertEqual(len(names), len(set(names)))
        self.assertLessEqual(max(map(len, names)), 63, "PostgreSQL cuts longer names")

    def test_a_missing_guard_is_a_warning_at_start(self):
        self.assertEqual(run_checks(databases=["default"]), [])
        guarding.drop()
        (warning,) = run_checks(databases=["default"])
        self.assertEqual(warning.id, "trail.W001")
        guarding.install()
        self.assertEqual(guarding.missing_triggers(), set())

    def test_a_suspension_leaves_a_trace_and_ends(self):
        record(stream="s", kind="k", by=None, at=NOON, facts={})
        with guarding.suspended(reason="a data migration"):
            TrailEntry.objects.filter(stream="s").update(kind="mended")
        self.assertEqual(guarding.missing_triggers(), set())
        trace = TrailEntry.objects.get(stream="guards")
        self.assertEqual(trace.facts, {"reason": "a data migration"})

    def test_a_suspension_that_fails_changes_nothing(self):
        with self.assertRaises(ZeroDivisionError), guarding.suspended(reason="x"):
            raise ZeroDivisionError
        self.assertEqual(guarding.missing_triggers(), set())
        self.assertFalse(TrailEntry.objects.filter(stream="guards").exists())


class MigrateTests(TransactionTestCase):
    def test_guards_outlive_a_table_made_anew(self):
        """On SQLite altering a field makes the table anew, which loses or trips over triggers in a migration."""
        kind = TrailEntry._meta.get_field("kind")
        wider = kind.clone()
        wider.max_length = 80
        wider.set_attributes_from_name("kind")
        wider.model = TrailEntry
        lower_guards()
        for old, new in ((kind, wider), (wider, kind)):
            with connection.schema_editor() as editor:
                editor.alter_field(TrailEntry, old, new)
        raise_guards()
        self.assertEqual(guarding.missing_triggers(), set())


@pytest.mark.once
class WithoutThePragmaTests(TransactionTestCase):
    def test_replace_is_refused_on_a_bare_connection(self):
        """Another program opens the file without our pragmas; REPLACE would remove rows behind the delete guards."""
        if connection.vendor != "sqlite":
            self.skipTest("SQLite's own")
        with transaction.atomic():
            record(stream="s", kind="k", by=None, at=NOON, facts={})
        bare = sqlite3.connect(connection.settings_dict["NAME"])
        with self.assertRaisesRegex(sqlite3.IntegrityError, "not replaced"):
            bare.execute("INSERT OR REPLACE INTO trail_trailentry SELECT * FROM trail_trailentry")
        bare.close()
