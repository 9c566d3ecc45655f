"""A tap that came too late to fit: kept as it was tapped, shown, and judged once by the manager."""

import uuid
from datetime import timedelta

from django.db import IntegrityError, transaction

from apps.core.errors import Refusal
from apps.laundering import services
from apps.laundering.models import KeptTap, Load
from apps.laundering.queries import kept_of, to_be_judged
from apps.laundering.services import Tap
from apps.reporting.queries import review
from apps.trail.queries import timeline
from tests.cast import NOON, LabTestCase
from tests.laundering.support import make_up, ready, told
from tests.reporting.support import a_finished_job

KEY = uuid.UUID("00000000-0000-4000-8000-000000000001")


class Kept(LabTestCase):
    def keep(self, load=None, **how) -> KeptTap:
        tap = {
            "key": KEY,
            "path": "/laundry/loads/1/end/",
            "what": "End of the wash, load 1",
            "words": "The last spin ran",
        }
        tap |= {"typed": [("spun", "on")]} | {name: how.pop(name) for name in list(how) if name in Tap.__annotations__}
        pieces = load.pieces.values_list("pk", flat=True) if load else []
        given = {"piece_ids": pieces, "load_id": load and load.pk, "refusal": "Load 1 is void.", "by": self.lou}
        return services.keep_tap(tap=Tap(**tap), **{**given, "at": NOON - timedelta(minutes=9), **how})

    def judge(self, row: KeptTap, **how) -> KeptTap:
        return services.judge_kept(
            **{"kept_id": row.pk, "judgement": "entered from paper", "by": self.mara, "at": NOON, **how}
        )


class KeepTapTests(Kept):
    def test_what_was_tapped_when_by_whom_and_why_it_did_not_fit(self):
        request = ready(self)
        load = make_up(self, request)
        row = self.keep(load)
        self.assertEqual(
            (row.what, row.by, row.tapped_at), ("End of the wash, load 1", self.lou, NOON - timedelta(minutes=9))
        )
        self.assertEqual((row.typed, row.load, row.pieces.count()), ([["spun", "on"]], load, 3))
        (facts,) = told(request, "tap.kept")
        self.assertEqual((facts["kept"], facts["refusal"]), (row.pk, "Load 1 is void."))
        self.assertEqual(kept_of([request.pk]), [row])

    def test_the_same_tap_again_is_the_same_row(self):
        load = make_up(self, ready(self))
        self.assertEqual(self.keep(load), self.keep(load))
        self.assertEqual(timeline(f"user:{self.lou.pk}").filter(kind="tap.kept").count(), 0)

    def test_another_tap_under_the_same_key_is_not_lost(self):
        self.assertNotEqual(self.keep(), self.keep(typed=[("spun", "")]))
        self.assertEqual(KeptTap.objects.count(), 2)

    def test_what_is_about_nothing_stands_in_the_persons_own_trail(self):
        self.keep()
        self.assertEqual(timeline(f"user:{self.lou.pk}").filter(kind="tap.kept").count(), 1)

    def test_whatever_it_holds_it_is_kept(self):
        for what in ("", "\0", "👕" * 9, "x" * 10_000):
            with self.subTest(what[:5]):
                row = self.keep(what=what, words=what, typed=[(what, what)] * 900, refusal=what, path="/" + what)
                row.refresh_from_db()
                self.assertTrue(row.what and row.refusal)
                self.assertNotIn("\0", row.what + row.words + row.refusal + row.path + str(row.typed))

    def test_the_database_agrees(self):
        row = self.keep(make_up(self, ready(self)))
        for change in ({"what": "x"}, {"typed": []}, {"by": self.mara}, {"refusal": "x"}, {"tapped_at": NOON}):
            with self.subTest(str(change)), self.assertRaises(IntegrityError), transaction.atomic():
                KeptTap.objects.filter(pk=row.pk).update(**change)
        with self.assertRaises(IntegrityError), transaction.atomic():
            KeptTap.objects.filter(pk=row.pk).update(judgement="x")
        with self.assertRaises(IntegrityError), transaction.atomic():
            row.pieces.clear()
        with self.assertRaises(IntegrityError), transaction.atomic():
            row.delete()
        self.judge(row)
        with self.assertRaises(IntegrityError), transaction.atomic():
            KeptTap.objects.filter(pk=row.pk).update(judgement="something else")


class JudgeKeptTests(Kept):
    def test_the_manager_judges_once(self):
        request = ready(self)
        row = self.judge(self.keep(make_up(self, request)))
        self.assertEqual((row.judgement, row.judged_by, row.judged_at), ("entered from paper", self.mara, NOON))
        (facts,) = told(request, "tap.judged")
        self.assertEqual(facts["judgement"], "entered from paper")
        with self.assertRaisesMessage(Refusal, "Mara Manager has judged this already"):
            self.judge(row)

    def test_a_double_tap_is_one_judgement(self):
        row, key = self.keep(), uuid.uuid4()
        self.assertEqual(self.judge(row, key=key), self.judge(row, key=key))

    def test_refuses_anybody_else_and_an_empty_word(self):
        row = self.keep()
        for how in ({"by": self.lou}, {"judgement": " "}, {"judgement": "x" * 501}, {"judgement": "\0"}):
            with self.subTest(str(how)[:20]), self.assertRaises(Refusal):
                self.judge(row, **how)
        self.assertEqual(to_be_judged(self.lou), 1)


class ReviewTests(Kept):
    def test_the_manager_reads_of_it_before_an_approval(self):
        job = a_finished_job(self)
        load = Load.objects.get()
        row = self.keep(load)
        self.assertIn("Load 1 is void. (Lou Laundry). Not judged yet.", review(job).notices[0].text)
        self.judge(row)
        self.assertIn("Judged by Mara Manager: entered from paper", review(job).notices[0].text)


class KeptPageTests(Kept):
    def test_the_laundry_sees_it_and_the_manager_judges_it(self):
        row = self.keep(make_up(self, ready(self)))
        self.sign_in(self.lou)
        self.assertContains(self.client.get("/laundry/"), "1 tap came too late to fit")
        page = self.client.get("/laundry/kept/")
        self.assertContains(page, "Load 1 is void.")
        self.assertNotContains(page, "Judge</button>")
        self.assertEqual(self.client.post(f"/laundry/kept/{row.pk}/judge/", {"judgement": "x"}).status_code, 403)
        self.sign_in(self.mara)
        empty = self.client.post(f"/laundry/kept/{row.pk}/judge/", {"judgement": " "})
        self.assertContains(empty, "What becomes of it is missing", status_code=422)
        answer = self.client.post(f"/laundry/kept/{row.pk}/judge/", {"judgement": "washed again", "key": uuid.uuid4()})
        self.assertRedirects(answer, "/laundry/kept/")
        self.assertContains(self.client.get("/laundry/kept/"), "washed again")
        self.assertNotContains(self.client.get("/laundry/"), "came too late to fit")
        again = self.client.post(f"/laundry/kept/{row.pk}/judge/", {"judgement": "twice"}, follow=True)
        self.assertContains(again, "has judged this already")

    def test_nobody_else_sees_it(self):
        row = self.keep()
        for person in (self.fran, self.bea, self.casey):
            self.sign_in(person)
            self.assertEqual(self.client.get("/laundry/kept/").status_code, 403)
        self.sign_in(self.mara)
        self.assertEqual(self.client.post(f"/laundry/kept/{row.pk + 1}/judge/").status_code, 404)

    def test_does_not_grow(self):
        self.sign_in(self.mara)
        for many in (2, 20):
            for number in range(many):
                self.keep(typed=[("spun", str(many)), ("n", str(number))])
            with self.assertNumQueries(5):
                self.client.get("/laundry/kept/")
