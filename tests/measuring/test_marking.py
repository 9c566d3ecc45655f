"""Specimens are cut and marked."""

from decimal import Decimal
from uuid import uuid4

from apps.core.errors import KeyReused, Refusal, RequestIsLocked
from apps.intake.models import Deviation, Request, Specimen
from apps.intake.services import cut_specimens
from apps.measuring.models import BenchmarkPair
from apps.measuring.services import cut_and_mark, lose_mark, mark_specimens
from apps.trail.queries import timeline
from tests.cast import NOON, LabTestCase, a_marked_request, a_received_job, after_cycle, with_originals, with_readings
from tests.measuring.support import HOUR, issue, pair


class CutAndMarkTests(LabTestCase):
    def setUp(self):
        self.request = Request.objects.get(sample__job=a_received_job(self))

    def cut(self, **how):
        return cut_and_mark(**{"request_id": self.request.pk, "count": 3, "by": self.bea, "at": NOON, **how})

    def test_three_specimens_with_three_pairs_each_way(self):
        pairs = self.cut()
        self.assertEqual(len(pairs), 18)
        self.assertEqual(
            [str(p)[-11:] for p in pairs[:4]], ["A1 length 1", "A1 length 2", "A1 length 3", "-A1 width 1"]
        )
        self.assertEqual({p.nominal_mm for p in pairs}, {Decimal(250)})
        self.assertEqual({s.stage for s in self.request.specimens.all()}, {Specimen.Stage.MARKED})

    def test_the_trail_tells_of_both_acts(self):
        self.cut()
        entries = timeline(self.request.sample.job.stream)
        self.assertEqual([entry.kind for entry in entries[:2]], ["specimens.marked", "specimens.cut"])
        self.assertEqual((entries[0].actor_name, entries[0].at), ("Bea Bench", NOON))

    def test_fewer_needs_a_reason_and_is_disclosed(self):
        with self.assertRaises(Refusal) as refused:
            self.cut(count=1)
        self.assertEqual(refused.exception.field, "fewer_reason")
        self.cut(count=1, fewer_reason="too little cloth")
        self.assertEqual(Deviation.objects.get().text, "1 of 3 specimens: too little cloth")

    def test_twice_is_refused_and_a_second_tap_is_answered(self):
        key = uuid4()
        first = self.cut(key=key)
        self.assertEqual(self.cut(key=key), first)
        with self.assertRaises(KeyReused):
            self.cut(key=key, count=4)
        with self.assertRaises(Refusal) as refused:
            self.cut()
        self.assertEqual(refused.exception.code, "already_cut")
        self.assertEqual(BenchmarkPair.objects.count(), 18)

    def test_not_before_the_sample_came_nor_in_the_future(self):
        for at, code in ((NOON - HOUR, "before_previous_step"), (NOON + HOUR, "future")):
            with self.subTest(code), self.assertRaises(Refusal) as refused:
                self.cut(at=at)
            self.assertEqual(refused.exception.code, code)

    def test_an_issued_request_is_refused(self):
        issue(self.request, by=self.mara)
        with self.assertRaises(RequestIsLocked):
            self.cut()

    def test_marking_apart_from_cutting(self):
        for act, code in ((None, "not_cut"), (cut_specimens, "already_marked")):
            if act:
                act(request_id=self.request.pk, count=3, by=self.bea, at=NOON)
                key = uuid4()
                first = mark_specimens(request_id=self.request.pk, by=self.bea, at=NOON, key=key)
                self.assertEqual(mark_specimens(request_id=self.request.pk, by=self.bea, at=NOON, key=key), first)
            with self.assertRaises(Refusal) as refused:
                mark_specimens(request_id=self.request.pk, by=self.bea, at=NOON)
            self.assertEqual(refused.exception.code, code)


class LoseMarkTests(LabTestCase):
    def setUp(self):
        self.request = with_originals(self, a_marked_request(self, count=1, fewer_reason="short"))
        after_cycle(self, self.request)
        self.pair = pair(self.request, "A1 length 2")

    def lose(self, **how):
        details = {"pair_id": self.pair.pk, "stage": 1, "reason": "frayed into the mark", "by": self.bea, "at": NOON}
        return lose_mark(**{**details, **how})

    def test_no_reading_is_due_any_more_and_the_report_says_so(self):
        self.lose()
        text = Deviation.objects.get(kind="reading").text
        self.assertEqual(text, "A1 length 2: no reading after cycle 1, the mark is lost: frayed into the mark")
        with_readings(self, self.request, 1, ["244", "", "244", "245", "245", "245"])
        self.assertEqual(self.request.specimens.get().stage, Specimen.Stage.DONE)

    def test_the_last_one_missing_lets_the_specimen_go_on(self):
        with_readings(self, self.request, 1, ["244", "", "244", "245", "245", "245"])
        self.assertEqual(self.request.specimens.get().stage, Specimen.Stage.OWED)
        self.lose()
        self.assertEqual(self.request.specimens.get().stage, Specimen.Stage.DONE)
        self.assertEqual(timeline(self.request.sample.job.stream)[0].facts["complete"], [self.pair.specimen.code])

    def test_only_while_due_once_and_with_a_reason(self):
        cases = [({"stage": 3}, "not_due"), ({"stage": 0}, "not_due"), ({"reason": " "}, "no_reason")]
        for how, code in cases:
            with self.subTest(how), self.assertRaises(Refusal) as refused:
                self.lose(**how)
            self.assertEqual(refused.exception.code, code)
        key = uuid4()
        self.assertEqual(self.lose(key=key), self.lose(key=key))
        with self.assertRaises(Refusal) as refused:
            self.lose()
        self.assertEqual(refused.exception.code, "already_lost")

    def test_a_pair_that_is_read_is_not_lost(self):
        with_readings(self, self.request, 1, ["244", "244", "", "", "", ""])
        with self.assertRaises(Refusal) as refused:
            self.lose()
        self.assertEqual(refused.exception.code, "already_read")
