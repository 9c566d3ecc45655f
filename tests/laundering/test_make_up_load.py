"""Pieces are put together for one drum."""

import uuid

from apps.accounts.models import Lab
from apps.core.errors import KeyReused, Refusal, RequestIsLocked
from apps.intake import services as intake
from apps.intake.models import Specimen
from apps.laundering import services
from apps.laundering.models import Load, LoadPiece
from apps.measuring import services as measuring
from tests.cast import NOON, LabTestCase
from tests.laundering.support import (
    HOUR,
    deviations,
    issue,
    make_up,
    pieces_of,
    ready,
    requests,
    start,
    told,
    whole_cycle,
)


class MakeUpTests(LabTestCase):
    def refused(self, code: str, *requests, **how) -> str:
        with self.assertRaises(Refusal) as caught:
            make_up(self, *requests, **how)
        self.assertEqual(caught.exception.code, code)
        self.assertFalse(Load.objects.exists())
        return str(caught.exception)

    def test_pieces_of_several_jobs_share_a_drum_and_each_trail_tells_its_own(self):
        one, two = ready(self), ready(self)
        load = make_up(self, one, two)
        self.assertEqual(load.pieces.filter(open=True).count(), 6)
        self.assertEqual({piece.stage for piece in pieces_of(one, two)}, {Specimen.Stage.IN_LOAD})
        (facts,) = told(one, "load.made_up")
        self.assertEqual(facts["load"], load.pk)
        self.assertEqual(facts["pieces"], {piece.code: 1 for piece in pieces_of(one)})
        self.assertEqual(facts["pieces_of_other_jobs"], 3)
        self.assertNotIn(two.sample.job.number, str(facts))

    def test_pieces_at_different_cycles_may_share(self):
        ahead = ready(self, measured_after=(3,))
        whole_cycle(self, ahead)
        load = make_up(self, ahead, ready(self))
        self.assertEqual(sorted(load.pieces.values_list("ordinal", flat=True)), [1, 1, 1, 2, 2, 2])

    def test_an_unmeasured_piece_is_refused_whatever_is_written(self):
        (cut,) = requests(self)
        intake.cut_specimens(request_id=cut.pk, count=3, by=self.bea, at=NOON - HOUR)
        self.assertIn("bench", self.refused("stage_cut", cut, deviation="the manager said so", by=self.mara))
        (marked,) = requests(self)
        measuring.cut_and_mark(request_id=marked.pk, count=3, fewer_reason="", by=self.bea, at=NOON - HOUR)
        self.assertIn("A1", self.refused("stage_marked", marked, deviation="no time", by=self.mara))

    def test_the_next_cycle_waits_for_the_readings_due(self):
        request = ready(self)
        load = whole_cycle(self, request)
        with self.assertRaises(Refusal) as caught:
            make_up(self, request)
        self.assertEqual(caught.exception.code, "stage_owed")
        self.assertIn("after cycle 1", str(caught.exception))
        self.assertEqual(list(Load.objects.all()), [load])

    def test_a_piece_lies_in_one_load_only(self):
        request = ready(self)
        make_up(self, request)
        with self.assertRaises(Refusal) as caught:
            make_up(self, request)
        self.assertEqual(caught.exception.code, "stage_in_load")

    def test_what_clashes_is_named(self):
        base = ready(self)
        clashes = [
            ("construction", {"construction": "knit"}, "woven", "knit"),
            ("procedure", {"wash": "aatcc-1-iv"}, "(1) III", "(1) IV"),
            ("spin", {"dry": "aatcc-c"}, "spun", "drip"),
            ("bleeds", {"bleeds": True}, "bleed", "A1"),
        ]
        for code, how, *words in clashes:
            with self.subTest(code):
                other = ready(self, **how)
                sentence = self.refused(code, base, other)
                for word in (*words, base.sample.job.number, other.sample.job.number):
                    self.assertIn(word, sentence)

    def test_a_garment_of_both_is_a_class_of_its_own(self):
        mixed = ready(self, count=1)
        type(mixed.sample).objects.filter(pk=mixed.sample_id).update(kind="garment", construction="mixed")
        self.refused("construction", mixed, ready(self))
        make_up(self, mixed)

    def test_a_piece_that_may_bleed_is_washed_with_its_own_sample(self):
        make_up(self, ready(self, bleeds=True))

    def test_a_lab_that_only_warns_asks_for_the_reason_and_discloses_it(self):
        Lab.objects.update(mix_rule=Lab.MixRule.WARN)
        woven, knit = ready(self), ready(self, construction="knit")
        self.refused("construction", woven, knit)
        load = make_up(self, woven, knit, deviation="one drum left today")
        for request in (woven, knit):
            (text,) = deviations(request)
            self.assertIn("one drum left today", text)
            self.assertEqual(request.deviations.get().load_number, load.pk)

    def test_an_issued_request_stays_out(self):
        request = ready(self)
        issue(request, by=self.mara)
        with self.assertRaises(RequestIsLocked):
            make_up(self, request)

    def test_nothing_chosen_or_something_unknown_is_refused(self):
        self.refused("no_pieces")
        self.refused("no_such_piece", specimen_ids=[987654321])

    def test_a_moment_before_the_readings_or_in_the_future_is_refused(self):
        request = ready(self)
        self.refused("before_previous_step", request, at=NOON - 2 * HOUR)
        self.refused("future", request, at=NOON + HOUR)

    def test_a_double_post_is_one_load_and_the_key_is_not_used_twice(self):
        request, key = ready(self), uuid.uuid4()
        first = make_up(self, request, key=key)
        self.assertEqual(make_up(self, request, key=key), first)
        self.assertEqual(LoadPiece.objects.count(), 3)
        with self.assertRaises(KeyReused):
            make_up(self, ready(self), key=key)


class TakeOutTests(LabTestCase):
    def take(self, load: Load, specimen: Specimen, **how) -> LoadPiece:
        return services.take_out(
            **{"load_id": load.pk, "specimen_id": specimen.pk, "reason": "torn", "by": self.lou, "at": NOON, **how}
        )

    def refused(self, code: str, load: Load, specimen: Specimen, **how) -> None:
        with self.assertRaises(Refusal) as caught:
            self.take(load, specimen, **how)
        self.assertEqual(caught.exception.code, code)

    def test_a_dry_piece_leaves_as_it_came(self):
        request = ready(self)
        load, (first, *_) = make_up(self, request), pieces_of(request)
        self.take(load, first)
        first.refresh_from_db()
        self.assertEqual((first.stage, first.times_wetted), (Specimen.Stage.READY, 0))
        self.assertEqual(load.pieces.get(specimen=first).outcome, LoadPiece.Outcome.OUT)
        self.assertEqual(deviations(request), [])
        (facts,) = told(request, "load.piece_out")
        self.assertEqual((facts["load"], facts["wetted"], facts["reason"]), (load.pk, False, "torn"))
        make_up(self, specimen_ids=[first.pk])

    def test_the_last_piece_takes_the_load_with_it(self):
        request = ready(self, count=1)
        load, (only,) = make_up(self, request), pieces_of(request)
        self.refused("only_piece", load, only)

    def test_never_from_a_running_machine_and_never_without_reason(self):
        request = ready(self)
        load, (first, *_) = make_up(self, request), pieces_of(request)
        for reason in ("", "  ", "x" * 10_000, "a\x00b"):
            self.refused(
                {0: "missing"}.get(len(reason.strip()), "too_long" if len(reason) > 250 else "not_text"),
                load,
                first,
                reason=reason,
            )
        start(self, load)
        self.refused("load_washing", load, first)
        self.refused("not_in_load", load, pieces_of(ready(self))[0])
