"""Ticking a cycle off: once, in order, washed and dried, and never into an issued report."""

import uuid

from django.db import IntegrityError, transaction

from apps.core import clock
from apps.core.errors import KeyReused, Refusal, RequestIsLocked
from apps.intake.models import Request
from apps.laundering import services
from apps.laundering.models import CycleLog, LoadPiece
from tests.cast import NOON, LabTestCase
from tests.laundering.support import (
    HOUR,
    MINUTE,
    amend,
    dried,
    dry,
    end,
    issue,
    make_up,
    pieces_of,
    ready,
    start,
    tick_all,
    told,
    washed,
    whole_cycle,
)


class TickTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.request = ready(cls)
        cls.specimen = pieces_of(cls.request)[0]

    def tick(self, ordinal: int = 1, **how) -> CycleLog:
        specimen = self.specimen.pk
        return services.tick_cycle(**{"specimen_id": specimen, "ordinal": ordinal, "by": self.lou, "at": NOON, **how})

    def refused(self, code: str, ordinal: int = 1, **how) -> str:
        before = CycleLog.objects.count()
        with self.assertRaises(Refusal) as caught:
            self.tick(ordinal, **how)
        self.assertEqual(caught.exception.code, code, str(caught.exception))
        self.assertEqual(CycleLog.objects.count(), before)
        return str(caught.exception)

    def test_records_who_and_when(self):
        dried(self, self.request)
        cycle = self.tick()
        self.assertEqual((cycle.ordinal, cycle.done_by, cycle.done_at), (1, self.lou, NOON))
        self.specimen.refresh_from_db()
        self.assertEqual((self.specimen.stage, self.specimen.cycles_valid, self.specimen.times_wetted), ("owed", 1, 1))
        (facts,) = told(self.request, "cycle.ticked")
        self.assertEqual((facts["pieces"], facts["loads"]), ({self.specimen.code: 1}, [cycle.piece.load_id]))

    def test_a_double_tap_leaves_one_row(self):
        dried(self, self.request)
        first = self.tick(key=uuid.uuid4())
        self.assertEqual(self.tick(key=uuid.uuid4()), first)
        key = uuid.uuid4()
        other = pieces_of(self.request)[1].pk
        self.assertEqual(self.tick(specimen_id=other, key=key), self.tick(specimen_id=other, key=key))
        self.assertEqual(CycleLog.objects.count(), 2)
        with self.assertRaises(KeyReused):
            self.tick(2, key=key)

    def test_nobody_skips_or_repeats_a_cycle(self):
        dried(self, self.request)
        for ordinal in (0, 2, 3, 4, 32767):
            self.assertIn("Cycle 1 of 3 is next.", self.refused("cycle_out_of_order", ordinal))
        one = ready(self, cycles=1, measured_after=(1,))
        whole_cycle(self, one)
        last = pieces_of(one)[0].pk
        self.assertIn("All 1 cycles", self.refused("cycle_out_of_order", 2, specimen_id=last))

    def test_wet_or_unwashed_cloth_is_no_cycle(self):
        self.refused("not_in_load")
        load = make_up(self, self.request)
        self.refused("not_washed")
        start(self, load)
        self.refused("not_washed")
        end(self, load)
        self.refused("not_dried")
        dry(self, load)
        self.refused("not_dried")

    def test_an_issued_request_is_refused_until_an_amendment_opens_its_cycle_record(self):
        load = dried(self, self.request)
        report = issue(self.request, by=self.mara)
        with self.assertRaises(RequestIsLocked):
            self.tick()
        amend(self.request, report, opened_for=Request.OpenedFor.LIMITS, by=self.mara)
        with self.assertRaises(RequestIsLocked):
            self.tick()
        self.assertEqual(load.pieces.filter(open=True).count(), 3)

    def test_all_of_a_load_in_one_go_or_none(self):
        load = dried(self, self.request)
        ids = [piece.pk for piece in pieces_of(self.request)]
        with self.assertRaises(Refusal):
            services.tick_cycles(shown={ids[0]: 1, ids[1]: 2}, by=self.lou, at=NOON)
        self.assertFalse(CycleLog.objects.exists())
        key = uuid.uuid4()
        shown = dict.fromkeys(ids, 1)
        first = services.tick_cycles(shown=shown, by=self.lou, at=NOON, key=key)
        self.assertEqual(services.tick_cycles(shown=shown, by=self.lou, at=NOON, key=key), first)
        self.assertEqual(len(told(self.request, "cycle.ticked")), 1)
        self.assertFalse(load.pieces.filter(open=True).exists())
        with self.assertRaises(Refusal):
            services.tick_cycles(shown={}, by=self.lou, at=NOON)

    def test_moments_keep_their_order_and_late_entry_is_told(self):
        dried(self, self.request)
        self.refused("before_previous_step", at=NOON - MINUTE)
        self.refused("future", at=NOON + HOUR)
        with clock.set_to(NOON + 5 * HOUR):
            cycle = self.tick()
        self.assertEqual(cycle.recorded_at - cycle.done_at, 5 * HOUR)
        self.assertEqual(self.request.deviations.get().kind, "late_entry")

    def test_the_database_agrees(self):
        load = dried(self, self.request)
        piece = load.pieces.get(specimen=self.specimen)
        other = load.pieces.exclude(pk=piece.pk).first()
        damp = washed(self, ready(self)).pieces.first()
        who = {"done_at": NOON, "done_by": self.lou, "recorded_at": NOON}

        def log(piece: LoadPiece, **how) -> CycleLog:
            values = {"specimen": piece.specimen, "ordinal": piece.ordinal, "piece": piece, **who, **how}
            return CycleLog.objects.create(**values)

        broken = [
            lambda: log(piece, ordinal=0),
            lambda: log(piece, ordinal=2),
            lambda: log(piece, specimen=other.specimen),
            lambda: log(damp),
            lambda: log(piece) and log(piece),
            lambda: log(piece, void_reason="x"),
        ]
        for number, act in enumerate(broken):
            with self.subTest(number), self.assertRaises(IntegrityError), transaction.atomic():
                act()
        tick_all(self, load)
        cycles = CycleLog.objects.filter(specimen=self.specimen)
        for number, act in enumerate(
            [
                lambda: cycles.update(ordinal=2),
                lambda: cycles.update(done_at=NOON - HOUR),
                lambda: cycles.update(voided_at=NOON),
                lambda: cycles.update(piece=other),
                lambda: cycles.delete(),
                lambda: LoadPiece.objects.filter(pk=piece.pk).update(open=True, outcome=""),
                lambda: LoadPiece.objects.filter(pk=piece.pk).delete(),
            ]
        ):
            with self.subTest(f"logged {number}"), self.assertRaises(IntegrityError), transaction.atomic():
                act()
