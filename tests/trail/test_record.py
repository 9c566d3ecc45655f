"""Writing into the trail: chained, keyed, in the transaction of the act itself."""

import threading
import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import TestCase, TransactionTestCase

from apps.core.errors import KeyReused
from apps.trail import guarding
from apps.trail.chain import chained_hash
from apps.trail.models import GENESIS, TrailEntry, TrailStream
from apps.trail.queries import broken_link, head, timeline
from apps.trail.services import record, repeated, store_blob
from tests.cast import NOON, LabTestCase


def write(stream="job:26-00147N", kind="reading.entered", **facts) -> TrailEntry:
    return record(stream=stream, kind=kind, by=None, at=NOON, facts=facts)


class RecordTests(LabTestCase):
    def test_each_entry_names_the_one_before(self):
        first, second = write(value="485.0"), write(value=Decimal("485.5"))
        self.assertEqual((first.seq, first.prev_hash), (1, GENESIS))
        self.assertEqual((second.seq, second.prev_hash), (2, first.hash))
        self.assertEqual(head("job:26-00147N"), (2, second.hash))
        self.assertIsNone(broken_link("job:26-00147N"))

    def test_keeps_who_as_plain_values(self):
        entry = record(stream="user:1", kind="x", by=self.fran, at=NOON, facts={})
        self.fran.full_name = "Somebody Else"
        self.fran.save(update_fields=["full_name"])
        entry.refresh_from_db()
        self.assertEqual((entry.actor_id, entry.actor_name), (self.fran.pk, "Fran Frontdesk"))

    def test_an_act_may_belong_to_several_streams(self):
        key = uuid.uuid4()
        record(stream=["job:b", "job:a"], kind="load.made_up", by=self.lou, at=NOON, facts={}, key=key, payload=[1])
        entries = TrailEntry.objects.order_by("stream")
        self.assertEqual([(entry.stream, entry.key) for entry in entries], [("job:a", key), ("job:b", None)])

    def test_newest_first(self):
        write(n=1), write(n=2)
        self.assertEqual([entry.facts["n"] for entry in timeline("job:26-00147N")], [2, 1])

    def test_a_float_is_no_fact(self):
        with self.assertRaises(TypeError):
            write(value=0.1)

    def test_the_same_key_again_is_found_and_another_payload_refused(self):
        key = uuid.uuid4()
        self.assertIsNone(repeated(key=key, payload={"a": 1}, by=None))
        entry = record(stream="s", kind="k", by=None, at=NOON, facts={}, key=key, payload={"a": 1})
        self.assertEqual(repeated(key=key, payload={"a": 1}, by=None), entry)
        with self.assertRaises(KeyReused):
            repeated(key=key, payload={"a": 2}, by=None)
        self.assertIsNone(repeated(key=None, payload={"a": 1}, by=None))

    def test_a_key_is_its_persons_own(self):
        """What Lou did is not told to Bea as done: the book would name Lou for it."""
        key = uuid.uuid4()
        entry = record(stream="s", kind="k", by=self.lou, at=NOON, facts={}, key=key, payload=[1])
        self.assertEqual(repeated(key=key, payload=[1], by=self.lou), entry)
        for somebody in (self.bea, None):
            with self.assertRaisesRegex(KeyReused, "Lou Laundry has already sent this form"):
                repeated(key=key, payload=[1], by=somebody)

    def test_bytes_are_kept_once(self):
        first, again = (store_blob(content=b"cloth", content_type="text/plain") for _ in range(2))
        self.assertEqual(first.pk, again.pk)
        # SHA-256 of "cloth", from the coreutils' sha256sum
        self.assertEqual(first.sha256, "d6e28ffb3b198d85e47dc58d1febc577d52031abedf28af8e10d8c165d681e7b")


class ChainTests(TestCase):
    """The chain tells where the trail was changed, even by somebody who lifted the guards."""

    def setUp(self):
        self.entries = [write(n=n) for n in range(5)]

    def change(self, **columns) -> None:
        with guarding.suspended(reason="a test of tampering"):
            TrailEntry.objects.filter(pk=self.entries[2].pk).update(**columns)

    def test_finds_a_changed_value_wherever_it_is(self):
        for columns in (
            {"facts": {"n": 9}},
            {"kind": "other"},
            {"actor_name": "Somebody Else"},
            {"actor_id": 7},
            {"at": NOON - timedelta(hours=1)},
            {"recorded_at": NOON - timedelta(hours=1)},
            {"prev_hash": GENESIS},
            {"hash": GENESIS},
        ):
            with self.subTest(columns), transaction.atomic():
                self.change(**columns)
                self.assertEqual(broken_link("job:26-00147N"), 3)
                transaction.set_rollback(True)

    def test_finds_a_missing_entry(self):
        with guarding.suspended(reason="a test of tampering"):
            TrailEntry.objects.filter(pk=self.entries[1].pk).delete()
        self.assertEqual(broken_link("job:26-00147N"), 2)

    def test_finds_a_cut_tail(self):
        with guarding.suspended(reason="a test of tampering"):
            TrailEntry.objects.filter(pk=self.entries[4].pk).delete()
        self.assertEqual(broken_link("job:26-00147N"), 5)

    def test_finds_a_head_that_was_set_back(self):
        TrailStream.objects.filter(name="job:26-00147N").update(seq=3)
        self.assertEqual(broken_link("job:26-00147N"), 6)

    def test_hash_vectors(self):
        """SHA-256 over the previous hash and the canonical JSON, worked with sha256sum apart from this code."""
        one = {"actor": "tech1", "at": "2026-01-02T03:04:05Z", "event": "measure", "seq": 1, "value": "485.0"}
        two = {"actor": "tech1", "at": "2026-01-02T03:05:00Z", "event": "correct", "reason": "typo", "seq": 2}
        first = chained_hash(GENESIS, one)
        self.assertEqual(first, "170d5c4fa12585d990823a9bc5ef28f4dbe1da9e9e2e461e7ad1c05f50a52802")
        second = chained_hash(first, {**two, "value": "485.5"})
        self.assertEqual(second, "c53c5f230a09bfb3cbacf074a1657fa4bb61427085f118e08d42c24ca1e506a4")


class OutsideATransactionTests(TransactionTestCase):
    def test_is_a_mistake_of_ours(self):
        with self.assertRaises(RuntimeError):
            write()


@pytest.mark.race
class TrailRaceTests(TransactionTestCase):
    def test_eight_writers_fork_no_chain(self):
        def add() -> None:
            try:
                for n in range(5):
                    with transaction.atomic():
                        write(n=n)
            finally:
                connection.close()

        threads = [threading.Thread(target=add) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        self.assertEqual(head("job:26-00147N")[0], 40)
        self.assertIsNone(broken_link("job:26-00147N"))


class TheDatabaseAgreesTests(TestCase):
    def test_no_two_entries_share_a_place(self):
        entry = write()
        entry.pk = None
        entry.key = uuid.uuid4()
        with self.assertRaises(IntegrityError), transaction.atomic():
            entry.save(force_insert=True)

    def test_a_key_has_its_payload(self):
        with self.assertRaises(IntegrityError), transaction.atomic():
            TrailEntry.objects.create(
                stream="s", seq=1, kind="k", at=NOON, recorded_at=NOON, actor_name="x", facts={}, key=uuid.uuid4(),
                payload_sha256="", prev_hash=GENESIS, hash=GENESIS,
            )  # fmt: skip
