"""Specimens: cut, moved from stage to stage, set aside; and what is out of the ordinary."""

import itertools
import uuid
from dataclasses import replace
from datetime import timedelta

from django.test import SimpleTestCase

from apps.core import clock
from apps.core.errors import Refusal, RequestIsLocked
from apps.intake import services
from apps.intake.models import Deviation, Request, SendBack, Specimen
from apps.intake.services.specimens import MAY_FOLLOW
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase, a_received_job, a_request_for
from tests.intake.issued import issued, opened

Stage = Specimen.Stage


class SpecimenCase(LabTestCase):
    def setUp(self):
        self.job = a_received_job(self)
        self.sample = self.job.samples.get()
        self.request = self.sample.requests.get()

    def cut(self, count: int = 3, **how) -> list[Specimen]:
        how = {"request_id": self.request.pk, "count": count, "by": self.bea, "at": NOON, **how}
        return services.cut_specimens(**how)

    def assert_refused(self, code: str, call, **how):
        with self.assertRaises(Refusal) as refusal:
            call(**how)
        self.assertEqual(refusal.exception.code, code)


class CutTests(SpecimenCase):
    def test_three_specimens_with_codes_of_the_sample(self):
        specimens = self.cut()
        self.assertEqual([piece.code for piece in specimens], [f"{self.sample.code}{n}" for n in (1, 2, 3)])
        self.assertEqual([piece.short_code for piece in specimens], ["A1", "A2", "A3"])
        self.assertEqual({piece.stage for piece in specimens}, {Stage.CUT})
        self.assertEqual(TrailEntry.objects.get(kind="specimens.cut").actor_id, self.bea.pk)

    def test_a_second_way_goes_on_counting(self):
        self.cut()
        again = services.add_request(sample_id=self.sample.pk, request=a_request_for(), by=self.fran, at=NOON)
        self.assertEqual([piece.short_code for piece in self.cut(request_id=again.pk)], ["A4", "A5", "A6"])

    def test_fewer_need_a_reason_that_is_disclosed(self):
        self.assert_refused("no_reason", self.cut, count=2)
        self.cut(2, fewer_reason="too short")
        self.assertEqual(Request.objects.get().fewer_reason, "too short")
        self.assertEqual(Deviation.objects.get().text, "2 of 3 specimens: too short")

    def test_counts_that_cannot_be(self):
        for count in (0, -1, 13, 10**9):
            self.assert_refused("count", self.cut, count=count)
        self.cut(12)
        self.assert_refused("already_cut", self.cut)

    def test_a_double_tap_cuts_once(self):
        key = uuid.uuid4()
        first, second = self.cut(key=key), self.cut(key=key)
        self.assertEqual([piece.pk for piece in first], [piece.pk for piece in second])
        self.assertEqual(Specimen.objects.count(), 3)

    def test_an_issued_request_is_not_cut(self):
        issued(self, self.request)
        with self.assertRaises(RequestIsLocked):
            self.cut()


class StageTableTests(SimpleTestCase):
    def test_every_stage_has_its_row_and_set_aside_is_the_end(self):
        self.assertEqual(set(MAY_FOLLOW), set(Stage))
        self.assertEqual(MAY_FOLLOW[Stage.SET_ASIDE], set())
        self.assertTrue(
            all(Stage.SET_ASIDE in after for stage, after in MAY_FOLLOW.items() if stage != Stage.SET_ASIDE)
        )


class AdvanceTests(SpecimenCase):
    def test_only_what_may_follow_follows(self):
        piece = self.cut()[0]
        for before, after in itertools.product(Stage, Stage):
            reason = "lost" if Stage.SET_ASIDE in (before, after) else ""
            piece.stage, piece.set_aside_reason = before, reason
            with self.subTest(before=before, after=after):
                if after in MAY_FOLLOW[before]:
                    services.advance(specimen=piece, to=after, at=NOON)
                    piece.refresh_from_db()
                    self.assertEqual(piece.stage, after)
                else:
                    self.assert_refused("stage", services.advance, specimen=piece, to=after, at=NOON)

    def test_valid_cycles_and_times_wetted_are_counted_apart(self):
        piece = self.cut()[0]
        later = NOON + timedelta(hours=1)
        for stage in (Stage.MARKED, Stage.READY, Stage.IN_LOAD):
            services.advance(specimen=piece, to=stage, at=NOON)
        services.advance(specimen=piece, to=Stage.READY, at=later, wetted=True)
        self.assertEqual((piece.cycles_valid, piece.times_wetted, piece.stage_since), (0, 1, later))
        services.advance(specimen=piece, to=Stage.IN_LOAD, at=later)
        services.advance(specimen=piece, to=Stage.OWED, at=later, cycle_done=True, wetted=True)
        piece.refresh_from_db()
        self.assertEqual((piece.cycles_valid, piece.times_wetted, piece.next_cycle), (1, 2, 2))


class SetAsideTests(SpecimenCase):
    def set_aside(self, piece, **how):
        return services.set_aside(**{"specimen_id": piece.pk, "reason": "frayed", "by": self.bea, "at": NOON, **how})

    def test_it_stays_in_the_book_and_is_disclosed(self):
        piece = self.cut()[0]
        self.set_aside(piece)
        piece.refresh_from_db()
        self.assertEqual((piece.stage, piece.set_aside_reason), (Stage.SET_ASIDE, "frayed"))
        self.assertEqual(Deviation.objects.get().text, "A1 set aside: frayed")
        self.assertTrue(TrailEntry.objects.filter(kind="specimen.set_aside").exists())

    def test_once_with_a_reason_and_not_from_a_load(self):
        piece, wet = self.cut()[:2]
        self.assert_refused("no_reason", self.set_aside, piece=piece, reason="  ")
        for stage in (Stage.MARKED, Stage.READY, Stage.IN_LOAD):
            services.advance(specimen=wet, to=stage, at=NOON)
        self.assert_refused("in_load", self.set_aside, piece=wet)
        key = uuid.uuid4()
        self.set_aside(piece, key=key)
        self.set_aside(piece, key=key)
        self.assertEqual(Deviation.objects.count(), 1)
        self.assert_refused("stage", self.set_aside, piece=piece)

    def test_an_issued_specimen_stays(self):
        piece = self.cut()[0]
        report = issued(self, self.request)
        with self.assertRaises(RequestIsLocked):
            self.set_aside(piece)
        opened(self, report, "readings")
        self.set_aside(piece)


class DeviationTests(SpecimenCase):
    def deviate(self, **how):
        how = {"job_id": self.job.pk, "kind": "wash", "text": "43 °C", "by": self.lou, "at": NOON, **how}
        return services.deviate(**how)

    def test_it_is_written_and_told(self):
        piece = self.cut()[0]
        row = self.deviate(specimen_id=piece.pk, at_risk=True)
        self.assertEqual((row.specimen, row.at_risk, row.judged_at), (piece, True, None))
        self.assertEqual(TrailEntry.objects.get(kind="deviation.written").facts["text"], "43 °C")

    def test_a_double_tap_writes_one(self):
        key = uuid.uuid4()
        self.assertEqual(self.deviate(key=key), self.deviate(key=key))
        self.assertEqual(Deviation.objects.count(), 1)

    def test_what_cannot_be_written(self):
        self.assert_refused("no_reason", self.deviate, text=" ")
        other = a_received_job(self).samples.get().requests.get()
        self.assert_refused("another_job", self.deviate, request_id=other.pk)
        piece = services.cut_specimens(request_id=other.pk, count=3, by=self.bea, at=NOON)[0]
        self.assert_refused("another_job", self.deviate, specimen_id=piece.pk)

    def test_nothing_joins_an_issued_report_until_it_is_opened(self):
        piece = self.cut()[0]
        report = issued(self, self.request)
        for about in ({"request_id": self.request.pk}, {"specimen_id": piece.pk}):
            self.assert_refused("request_locked", self.deviate, **about)
        self.deviate()
        opened(self, report, "wording")
        self.deviate(request_id=self.request.pk)

    def test_the_manager_judges_once(self):
        row = self.deviate(request_id=self.request.pk, at_risk=True)
        judge = {"deviation_id": row.pk, "by": self.mara, "at": NOON}
        self.assert_refused("no_judgement", services.judge_deviation, judgement=" ", **judge)
        services.judge_deviation(judgement="harmless", **judge)
        row.refresh_from_db()
        self.assertEqual((row.judged_by, row.judgement), (self.mara, "harmless"))
        self.assert_refused("already_judged", services.judge_deviation, judgement="again", **judge)

    def test_an_issued_one_is_judged_no_more(self):
        row = self.deviate(request_id=self.request.pk)
        issued(self, self.request)
        self.assert_refused(
            "request_locked", services.judge_deviation, deviation_id=row.pk, judgement="x", by=self.mara, at=NOON
        )

    def test_late_entry_is_disclosed_with_both_times(self):
        late = {"job_id": self.job.pk, "what": "Wash", "by": self.lou}
        self.assertIsNone(services.disclose_late(at=NOON - timedelta(hours=4), **late))
        row = services.disclose_late(at=NOON - timedelta(hours=4, minutes=1), **late)
        self.assertEqual(row.text, "Wash: done 02 Mar 2026 07:59, entered 02 Mar 2026 12:00")


class SendBackTests(SpecimenCase):
    def send(self, **how):
        how = {"request_id": self.request.pk, "to": "bench", "reason": "look again", "by": self.mara, "at": NOON, **how}
        return services.send_back(**how)

    def answer(self, row, **how):
        return services.answer_send_back(
            **{"send_back_id": row.pk, "answer": "read again", "by": self.bea, "at": NOON, **how}
        )

    def test_there_and_back(self):
        row = self.send()
        self.assert_refused("already_sent_back", self.send)
        self.assert_refused("no_answer", self.answer, row=row, answer=" ")
        self.answer(row)
        row.refresh_from_db()
        self.assertEqual((row.answer, row.answered_by), ("read again", self.bea))
        self.assert_refused("already_answered", self.answer, row=row)
        self.send()
        kinds = list(TrailEntry.objects.filter(kind__startswith="request.").values_list("kind", flat=True))
        self.assertEqual(kinds, ["request.sent_back", "request.answered", "request.sent_back"])

    def test_a_double_tap_answers_once(self):
        row, key = self.send(), uuid.uuid4()
        self.answer(row, key=key)
        self.answer(row, key=key)
        self.assertEqual(SendBack.objects.filter(answered_at__isnull=False).count(), 1)

    def test_an_issued_request_is_neither_sent_back_nor_answered(self):
        row = self.send()
        issued(self, self.request)
        self.assert_refused("request_locked", self.send)
        self.assert_refused("request_locked", self.answer, row=row)

    def test_a_reason_is_needed(self):
        self.assert_refused("no_reason", self.send, reason="")


class AddedLaterTests(SpecimenCase):
    def test_one_more_sample_takes_the_next_letter(self):
        sample = services.SampleDetails("second, invented", "knit")
        key = uuid.uuid4()
        with clock.set_to(NOON):
            rows = [
                services.add_sample(job_id=self.job.pk, sample=sample, by=self.fran, at=NOON, key=key) for _ in range(2)
            ]
        self.assertEqual([row.code for row in rows], [f"{self.job.number}-B"] * 2)

    def test_one_more_way_needs_a_look_at_the_contract(self):

        order = a_request_for()
        add = {"sample_id": self.sample.pk, "by": self.fran, "at": NOON}
        self.assert_refused("no_review", services.add_request, request=replace(order, review=None), **add)
        key = uuid.uuid4()
        rows = [services.add_request(request=order, key=key, **add) for _ in range(2)]
        self.assertEqual([row.ordinal for row in rows], [2, 2])

    def test_one_more_way_of_another_kind_or_family_is_refused(self):

        add = {"sample_id": self.sample.pk, "by": self.fran, "at": NOON}
        garment = a_request_for("aatcc-tm150-2018")
        self.assert_refused("kind", services.add_request, request=garment, **add)
        iso = a_request_for("iso-5077-2007-6330-2012")
        for name in ("procedure", "drying"):
            mixed = replace(a_request_for(), **{name: getattr(iso, name)})
            self.assert_refused("family", services.add_request, request=mixed, **add)
