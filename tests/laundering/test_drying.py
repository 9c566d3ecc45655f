"""Drying is a run of its own: pieces of one or several washes, in a machine or in the air."""

import uuid
from datetime import date

from django.db import IntegrityError, transaction

from apps.core import clock
from apps.core.errors import Refusal
from apps.equipment.services import put_out_of_service
from apps.laundering import services
from apps.laundering.models import Drying, LoadPiece
from apps.methods.models import DryingProcedure
from tests.cast import NOON, LabTestCase, a_calibration
from tests.laundering.support import (
    HOUR,
    MINUTE,
    deviations,
    dried,
    dry,
    end_dry,
    make_up,
    ready,
    start,
    tick_all,
    told,
    washed,
)


class StartTests(LabTestCase):
    def refused(self, code: str, *loads, **how) -> str:
        before = Drying.objects.count()
        with self.assertRaises(Refusal) as caught:
            dry(self, *loads, **how)
        self.assertEqual(caught.exception.code, code, str(caught.exception))
        self.assertEqual(Drying.objects.count(), before)
        return str(caught.exception)

    def test_pieces_of_several_washes_share_a_dryer(self):
        one, two = ready(self), ready(self)
        loads = washed(self, one), washed(self, two)
        drying = dry(self, *loads)
        self.assertEqual((drying.pieces.count(), drying.dryer, drying.state), (6, self.dryers[0], "running"))
        (facts,) = told(one, "drying.started")
        self.assertEqual((facts["loads"], facts["dryer"]), ([load.pk for load in loads], "D1"))

    def test_pieces_of_one_wash_part_here(self):
        tumbled, hung = ready(self), ready(self, dry="aatcc-b")
        load = washed(self, tumbled, hung)
        self.assertIn("Dry them apart", self.refused("drying_differs", load))
        of = {request: list(LoadPiece.objects.filter(specimen__request=request)) for request in (tumbled, hung)}
        dry(self, piece_ids=[piece.pk for piece in of[tumbled]], load_id=load.pk)
        line = dry(self, piece_ids=[piece.pk for piece in of[hung]], load_id=load.pk, dryer_id=None)
        self.assertIsNone(line.dryer)

    def test_air_drying_holds_no_machine(self):
        loads = [washed(self, ready(self, dry="aatcc-b")) for _ in range(2)]
        self.refused("no_machine_needed", loads[0])
        for load in loads:
            dry(self, load, dryer_id=None)

    def test_the_machine_is_a_dryer_that_stands_free_and_may_be_used(self):
        load = washed(self, ready(self))
        self.refused("no_dryer", load, dryer_id=None)
        self.refused("no_dryer", load, dryer_id=self.washers[0].pk)
        put_out_of_service(equipment_id=self.dryers[1].pk, reason="belt torn", by=self.lou, at=NOON)
        self.refused("out_of_service", load, dryer_id=self.dryers[1].pk)
        dry(self, washed(self, ready(self)))
        self.assertIn("D1", self.refused("dryer_busy", load))

    def test_a_dryer_that_is_overdue_is_disclosed(self):
        a_calibration(self, self.dryers[0], due_on=date(2026, 3, 1))
        request = ready(self)
        load = washed(self, request)
        self.refused("overdue", load)
        self.refused("not_at_risk", load, deviation="verification is ordered")
        dry(self, load, deviation="verification is ordered", by=self.mara)
        self.assertEqual(request.deviations.get().load_number, load.pk)

    def test_only_washed_pieces_that_are_not_dried_yet(self):
        load = start(self, make_up(self, ready(self)), washer_id=self.washers[1].pk)
        self.refused("not_washed", load)
        other = dried(self, ready(self))
        self.refused("in_drying", other)
        tick_all(self, other)
        self.refused("piece_shut", piece_ids=list(other.pieces.values_list("pk", flat=True)))
        self.refused("no_pieces", piece_ids=[])
        self.refused("no_pieces", piece_ids=[987654321])
        self.refused("not_in_load", washed(self, ready(self)), load_id=load.pk)

    def test_moments_keep_their_order_and_late_entry_is_told(self):
        request = ready(self)
        load = washed(self, request)
        self.refused("before_previous_step", load, at=NOON - MINUTE)
        self.refused("future", load, at=NOON + HOUR)
        with clock.set_to(NOON + 5 * HOUR):
            dry(self, load)
        self.assertIn("Start of drying", deviations(request)[0])

    def test_a_double_post_is_one_drying(self):
        load, key = washed(self, ready(self)), uuid.uuid4()
        ids = list(load.pieces.values_list("pk", flat=True))
        self.assertEqual(dry(self, piece_ids=ids, key=key), dry(self, piece_ids=ids, key=key))
        self.assertEqual(Drying.objects.count(), 1)

    def test_the_database_agrees(self):
        request = ready(self)
        load = washed(self, request)
        drying = dry(self, load)
        waiting = washed(self, ready(self))
        line = DryingProcedure.objects.get(code="aatcc-b")
        broken = [
            lambda: Drying.objects.create(procedure=line, dryer=self.dryers[0], started_at=NOON, by=self.lou),
            lambda: Drying.objects.filter(pk=drying.pk).update(state="dried"),
            lambda: Drying.objects.filter(pk=drying.pk).update(state="void"),
            lambda: LoadPiece.objects.filter(load=load).update(drying=None),
            lambda: LoadPiece.objects.filter(load=make_up(self, ready(self))).update(drying=drying),
        ]
        for number, act in enumerate(broken):
            with self.subTest(number), self.assertRaises(IntegrityError), transaction.atomic():
                act()
        end_dry(self, drying)
        with self.assertRaises(IntegrityError), transaction.atomic():
            LoadPiece.objects.filter(load=waiting).update(drying=drying)
        with self.assertRaises(IntegrityError), transaction.atomic():
            Drying.objects.filter(pk=drying.pk).update(exhaust_c=20)


class EndTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.request = ready(cls)
        cls.drying = dry(cls, washed(cls, cls.request))

    def refused(self, code: str, **how) -> Refusal:
        with self.assertRaises(Refusal) as caught:
            end_dry(self, self.drying, **how)
        self.assertEqual(caught.exception.code, code, str(caught.exception))
        return caught.exception

    def test_what_was_seen_is_kept(self):
        end_dry(self, self.drying, exhaust_c="64,5", remark="seams damp", cooled_down=True)
        self.drying.refresh_from_db()
        self.assertEqual((self.drying.state, str(self.drying.exhaust_c)), ("dried", "64.5"))
        self.assertTrue(self.drying.lint_filter_cleaned)
        (facts,) = told(self.request, "drying.ended")
        self.assertEqual((facts["exhaust_c"], facts["remark"], facts["cooled_down"]), ("64.5", "seams damp", True))
        self.assertEqual(deviations(self.request), [])

    def test_the_lint_filter_is_cleaned_or_the_remark_says_why_not(self):
        self.assertEqual(self.refused("lint_filter", lint_filter_cleaned=False).field, "remark")
        end_dry(self, self.drying, lint_filter_cleaned=False, remark="screen broken, ordered")

    def test_air_drying_has_no_lint_filter(self):
        line = dry(self, washed(self, ready(self, dry="aatcc-b")), dryer_id=None)
        self.assertFalse(end_dry(self, line, lint_filter_cleaned=False).lint_filter_cleaned)

    def test_an_exhaust_above_the_limit_is_disclosed(self):
        self.assertEqual(self.refused("exhaust", exhaust_c="74.1").field, "exhaust_c")
        end_dry(self, self.drying, exhaust_c="74.1", deviation="sensor drifts", at_risk=True)
        row = self.request.deviations.get()
        self.assertEqual((row.kind, row.at_risk), ("drying", True))
        self.assertIn("74.1 °C", row.text)

    def test_the_limit_itself_is_within(self):
        end_dry(self, self.drying, exhaust_c="74")

    def test_nonsense_is_refused_beside_its_field(self):
        for text in ("hot", "-5", "1e2", "NaN", "301", "6.45", "6\x000", "9" * 10_000, "👕"):
            self.assertEqual(self.refused_anyhow(exhaust_c=text).field, "exhaust_c")
        for text in ("x" * 10_000, "a\x00"):
            self.assertEqual(self.refused_anyhow(remark=text).field, "remark")
        self.refused("before_previous_step", at=NOON - MINUTE)
        self.refused("future", at=NOON + HOUR)

    def refused_anyhow(self, **how) -> Refusal:
        with self.assertRaises(Refusal) as caught:
            end_dry(self, self.drying, **how)
        return caught.exception

    def test_it_ends_once(self):
        key = uuid.uuid4()
        end_dry(self, self.drying, key=key)
        end_dry(self, self.drying, key=key)
        self.refused("drying_dried")
        self.assertEqual(len(told(self.request, "drying.ended")), 1)


class VoidTests(LabTestCase):
    def void(self, drying: Drying, **how) -> Drying:
        return services.void_drying(
            **{"drying_id": drying.pk, "reason": "belt torn", "by": self.lou, "at": NOON, **how}
        )

    def test_the_pieces_dry_again_and_the_run_stays_in_the_book(self):
        request = ready(self)
        load = washed(self, request)
        first = self.void(dry(self, load))
        self.assertEqual((first.state, first.ended_at), ("void", NOON))
        self.assertEqual(first.pieces_when_void.count(), 3)
        self.assertIn("dried again", deviations(request)[0])
        second = dry(self, load, dryer_id=self.dryers[1].pk)
        self.assertEqual(second.pieces.count(), 3)
        end_dry(self, second)
        tick_all(self, load)

    def test_a_finished_drying_may_be_found_void_before_the_tick(self):
        request = ready(self)
        load = dried(self, request)
        self.void(Drying.objects.get())
        end_dry(self, dry(self, load))
        tick_all(self, load)
        with self.assertRaises(Refusal) as caught:
            self.void(Drying.objects.first())
        self.assertEqual(caught.exception.code, "cycle_ticked")

    def test_not_without_a_reason_and_not_twice(self):
        drying = dry(self, washed(self, ready(self)))
        with self.assertRaises(Refusal) as caught:
            self.void(drying, reason=" ")
        self.assertEqual(caught.exception.field, "reason")
        self.void(drying)
        with self.assertRaises(Refusal):
            self.void(drying)
