"""Cloth that was wetted and counts no cycle: the manager says what becomes of it."""

import uuid

from apps.core.errors import Refusal, RequestIsLocked
from apps.intake.models import Specimen
from apps.laundering import services
from apps.laundering.models import LoadPiece, VoidJudgement
from apps.reporting.queries import obstacles
from tests.cast import NOON, LabTestCase
from tests.laundering.support import issue, make_up, pieces_of, ready, start, told


class JudgeTests(LabTestCase):
    def setUp(self):
        self.request = ready(self)
        self.load = start(self, make_up(self, self.request))
        services.void_load(load_id=self.load.pk, reason="power cut", by=self.lou, at=NOON)
        self.pieces = list(self.load.pieces.order_by("pk"))

    def judge(self, *pieces: LoadPiece, **how) -> list[VoidJudgement]:
        ids = [piece.pk for piece in pieces or self.pieces]
        return services.judge_void(
            **{"piece_ids": ids, "decision": "go_on", "text": "rinsed only", "by": self.mara, "at": NOON, **how}
        )

    def refused(self, code: str, *pieces, **how) -> None:
        with self.assertRaises(Refusal) as caught:
            self.judge(*pieces, **how)
        self.assertEqual(caught.exception.code, code)

    def obstacle(self) -> str:
        return " ".join(obstacles([self.request])[self.request.pk])

    def test_until_then_nothing_is_approved(self):
        self.assertIn("A1, A2, A3: wetted in load", self.obstacle())
        self.judge(self.pieces[0])
        self.assertIn("A2, A3: wetted in load", self.obstacle())
        self.judge(*self.pieces[1:])
        self.assertNotIn("wetted", self.obstacle())

    def test_what_is_repeated_is_set_aside(self):
        self.judge(self.pieces[0], decision="repeat")
        first = pieces_of(self.request)[0]
        self.assertEqual(first.stage, Specimen.Stage.SET_ASIDE)
        self.assertIn("rinsed only", first.set_aside_reason)
        self.assertEqual([f["decision"] for f in told(self.request, "void.judged")], ["repeat"])

    def test_it_is_said_once_by_a_manager_with_words(self):
        self.refused("not_a_manager", by=self.lou)
        self.refused("decision", decision="")
        self.refused("decision", decision="never")
        for text, code in (("", "missing"), ("x" * 10_000, "too_long"), ("a\x00", "not_text")):
            self.refused(code, text=text)
        with self.assertRaises(Refusal):
            self.judge(piece_ids=[])
        self.judge()
        self.refused("judged")

    def test_only_what_was_wetted_in_vain(self):
        again = make_up(self, self.request)
        self.refused("not_void", again.pieces.first())

    def test_a_form_sent_twice_is_one_judgement(self):
        key = uuid.uuid4()
        self.assertEqual(len(self.judge(key=key)), 3)
        self.assertEqual(len(self.judge(key=key)), 3)
        self.assertEqual(VoidJudgement.objects.count(), 3)

    def test_not_once_the_report_is_issued(self):
        issue(self.request, by=self.mara)
        with self.assertRaises(RequestIsLocked):
            self.judge()

    def test_a_piece_in_a_load_is_not_set_aside(self):
        make_up(self, self.request)
        self.refused("in_load", decision="repeat")
        self.assertFalse(VoidJudgement.objects.exists())


class JudgePageTests(LabTestCase):
    def setUp(self):
        self.request = ready(self)
        self.load = start(self, make_up(self, self.request))
        services.void_load(load_id=self.load.pk, reason="power cut", by=self.lou, at=NOON)
        self.ids = list(self.load.pieces.values_list("pk", flat=True))
        self.url = f"/laundry/loads/{self.load.pk}/judge-void/"

    def post(self, **data):
        given = {"piece": self.ids, "judge-decision": "go_on", "judge-text": "rinsed only", "key": uuid.uuid4()}
        return self.client.post(self.url, {**given, **data})

    def test_the_manager_is_led_there_and_judges(self):
        self.sign_in(self.mara)
        self.assertContains(self.client.get("/laundry/"), f"/laundry/loads/{self.load.pk}/#judge")
        self.assertContains(self.client.get(f"/laundry/loads/{self.load.pk}/"), "your judgement")
        self.assertRedirects(self.post(), f"/laundry/loads/{self.load.pk}/")
        page = self.client.get(f"/laundry/loads/{self.load.pk}/")
        self.assertNotContains(page, "your judgement")
        self.assertContains(page, "rinsed only")
        self.assertNotContains(self.client.get("/laundry/"), "#judge")

    def test_bad_input_comes_back_with_what_was_typed(self):
        self.sign_in(self.mara)
        for how in (
            {"judge-text": ""},
            {"judge-text": "x" * 10_000},
            {"judge-text": "a\x00b"},
            {"judge-decision": "👕"},
            {"piece": []},
            {"piece": ["x", "9" * 40, "-1"]},
        ):
            with self.subTest(str(how)[:40]):
                self.assertContains(self.post(**how), "Not judged yet", status_code=422)
        self.assertContains(self.post(**{"judge-decision": ""}), "rinsed only", status_code=422)
        self.assertFalse(VoidJudgement.objects.exists())

    def test_who_may(self):
        for who, status in ((self.lou, 403), (self.bea, 403), (self.casey, 403), (None, 302)):
            self.sign_in(who)
            self.assertEqual(self.post().status_code, status)
        self.sign_in(self.lou)
        self.assertContains(self.client.get(f"/laundry/loads/{self.load.pk}/"), "to be judged by the manager", count=3)
