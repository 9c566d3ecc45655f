"""What a tablet brings: at once it is answered as any form; late it is written, or kept for the manager."""

import re
import uuid
from datetime import timedelta

from django.core import signing
from django.test import Client
from django.urls import reverse

from apps.core import clock
from apps.core.tablet import SALT
from apps.laundering.models import CycleLog, KeptTap, Load
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase
from tests.laundering.support import (
    WASH,
    deviations,
    dried,
    dry,
    end_dry,
    make_up,
    pieces_of,
    ready,
    start,
    told,
    washed,
)

MINUTE = timedelta(minutes=1)


def milliseconds(moment) -> int:
    return int(moment.timestamp() * 1000)


class Carried(LabTestCase):
    def setUp(self):
        self.sign_in(self.lou)

    def bring(self, name: str, *where: int, how: str = "late", person=None, at=None, htmx=False, **data):
        token = signing.dumps((person or self.lou).pk, salt=SALT)
        when = {"tapped_at": milliseconds(at)} if at else {}
        tap = {"key": uuid.uuid4(), "tapped_by": token, "tapped_what": "a tap", "tapped_words": "", **when, **data}
        headers = {"X-Tap": how} | ({"HX-Request": "true"} if htmx else {})
        return self.client.post(reverse(f"laundering:{name}", args=where), tap, headers=headers)


class WrittenTests(Carried):
    def test_the_page_tells_its_script_whose_it_is(self):
        load = make_up(self, ready(self))
        for address in (f"/laundry/loads/{load.pk}/", "/laundry/"):
            page = self.client.get(address).content.decode()
            self.assertIn(f'data-person="{self.lou.pk}"', page)
            token = re.search(r'data-token="([^"]+)"', page)[1]
            self.assertEqual(signing.loads(token, salt=SALT), self.lou.pk)
            self.assertIn(f'data-now="{milliseconds(NOON)}"', page)

    def test_each_act_late_or_at_once_at_the_time_of_its_tap(self):
        request = ready(self)
        load = make_up(self, request, at=NOON - 9 * MINUTE)
        page, drying = f"/laundry/loads/{load.pk}/", request.drying_id
        answer = self.bring("start", load.pk, at=NOON - 8 * MINUTE, **WASH, washer=self.washers[0].pk)
        self.assertEqual((answer.json(), answer["X-Tapped"]), ({"next": page}, "written"))
        self.bring("end", load.pk, at=NOON - 7 * MINUTE, spun="on", how="first")
        load.refresh_from_db()
        self.assertEqual((load.wash_started_at, load.wash_ended_at), (NOON - 8 * MINUTE, NOON - 7 * MINUTE))
        pieces = list(load.pieces.values_list("pk", flat=True))
        dryer = {f"dry-{drying}-dryer": self.dryers[0].pk}
        self.bring("start_drying", load.pk, drying, at=NOON - 6 * MINUTE, piece=pieces, **dryer)
        run = load.pieces.first().drying
        self.bring("end_drying", run.pk, at=NOON - 5 * MINUTE, **{f"dried-{run.pk}-lint_filter_cleaned": "on"})
        first, *others = pieces_of(request)
        self.bring("tick", first.pk, at=NOON - 4 * MINUTE, ordinal=1)
        self.bring("tick_load", load.pk, at=NOON - 3 * MINUTE, piece=[f"{piece.pk}:1" for piece in others])
        moments = list(CycleLog.objects.order_by("pk").values_list("done_at", flat=True))
        self.assertEqual(moments, [NOON - 4 * MINUTE, NOON - 3 * MINUTE, NOON - 3 * MINUTE])
        self.assertFalse(KeptTap.objects.exists())

    def test_the_same_again_is_one_row(self):
        request, key = ready(self), uuid.uuid4()
        dried(self, request)
        for how in ("first", "late", "late"):
            answer = self.bring("tick", pieces_of(request)[0].pk, how=how, ordinal=1, key=key)
            self.assertEqual(answer["X-Tapped"], "written")
        self.assertEqual((CycleLog.objects.count(), len(told(request, "cycle.ticked"))), (1, 1))

    def test_a_tick_at_once_is_answered_with_its_row(self):
        request = ready(self)
        dried(self, request)
        answer = self.bring("tick", pieces_of(request)[0].pk, how="first", htmx=True, ordinal=1)
        self.assertEqual(answer["X-Tapped"], "written")
        self.assertContains(answer, "cycle 1 ticked off")

    def test_a_refusal_at_once_is_the_form_with_its_errors(self):
        load = make_up(self, ready(self))
        answer = self.bring("start", load.pk, how="first", **{**WASH, "water_temp_c": "20"}, washer=self.washers[0].pk)
        self.assertContains(answer, "Warm it", status_code=422)
        self.assertEqual(answer["X-Tapped"], "refused")
        self.assertFalse(KeptTap.objects.exists())


class MomentTests(Carried):
    def end(self, at, **how):
        load = start(self, make_up(self, ready(self), at=NOON - 9 * MINUTE), at=NOON - 9 * MINUTE)
        self.bring("end", load.pk, at=at, spun="on", **how)
        load.refresh_from_db()
        return load.wash_ended_at

    def test_a_tablet_a_little_ahead_is_not_let_into_the_future(self):
        self.assertEqual(self.end(NOON + MINUTE), NOON)

    def test_what_is_typed_holds(self):
        self.assertEqual(self.end(NOON - MINUTE, when="2026-03-02T11:55"), NOON - 5 * MINUTE)

    def test_nonsense_is_now(self):
        load = start(self, make_up(self, ready(self)))
        self.bring("end", load.pk, tapped_at="9" * 400)
        load.refresh_from_db()
        self.assertEqual(load.wash_ended_at, NOON)

    def test_far_ahead_and_before_the_step_before_are_kept(self):
        for at in (NOON + 10 * MINUTE, NOON - 60 * MINUTE):
            self.assertIsNone(self.end(at))
            Load.objects.filter(state="washing").update(state="washed", wash_ended_at=NOON)
        self.assertEqual(KeptTap.objects.count(), 2)

    def test_late_is_disclosed(self):
        request = ready(self)
        load = start(self, make_up(self, request))
        with clock.set_to(NOON + timedelta(hours=9)):
            self.sign_in(self.lou)
            self.bring("end", load.pk, at=NOON + MINUTE, spun="on")
            dried_later = end_dry(self, dry(self, load, at=clock.now()), at=clock.now())
        with clock.set_to(dried_later.ended_at + timedelta(hours=9)):
            self.sign_in(self.lou)
            for how in ("first", "late"):  # the answer to the first was lost
                tick = {"at": dried_later.ended_at, "ordinal": 1, "key": uuid.UUID(int=26)}
                self.assertEqual(self.bring("tick", pieces_of(request)[0].pk, how=how, **tick)["X-Tapped"], "written")
        written = deviations(request)
        self.assertEqual(
            [text.split(":")[0] for text in written], [f"End of wash, load {load.pk}", f"Tick of load {load.pk}"]
        )
        for text in written:
            self.assertIn("Reason: it waited in the tablet for a connection", text)


class KeptTests(Carried):
    def test_what_no_longer_fits_is_kept_with_the_reason(self):
        request = ready(self)
        load = washed(self, request)
        key = uuid.uuid4()
        for _ in range(2):
            answer = self.bring("end", load.pk, key=key, spun="on", tapped_what="End of the wash", at=NOON - MINUTE)
            self.assertEqual((answer.status_code, answer["X-Tapped"]), (200, "kept"))
        row = KeptTap.objects.get()
        self.assertEqual(
            (row.what, row.by, row.load, row.tapped_at), ("End of the wash", self.lou, load, NOON - MINUTE)
        )
        self.assertIn("is washed", row.refusal)
        self.assertEqual(row.typed, [["spun", "on"]])
        self.assertEqual(len(told(request, "tap.kept")), 1)
        self.assertContains(self.client.get("/laundry/"), "It is kept for the manager.")

    def test_a_tick_out_of_order_is_kept_for_its_own_job_only(self):
        one, two = ready(self), ready(self)
        dried(self, one, two)
        self.bring("tick", pieces_of(one)[0].pk, ordinal=2)
        self.assertIn("Cycle 1 of 3 is next", KeptTap.objects.get().refusal)
        self.assertEqual((len(told(one, "tap.kept")), len(told(two, "tap.kept"))), (1, 0))

    def test_what_is_not_there_is_kept_too(self):
        for name, where in (("end", (987,)), ("end_drying", (987,)), ("tick", (2**70,)), ("start_drying", (1, 987))):
            with self.subTest(name):
                self.assertEqual(self.bring(name, *where)["X-Tapped"], "kept")

    def test_bad_input_is_kept_and_never_an_error(self):
        load = make_up(self, ready(self))
        for nonsense in ("", "\0", "1e999", "NaN", "x" * 10_000, "👕"):
            with self.subTest(nonsense[:5]):
                given = dict.fromkeys(WASH, nonsense) | {"washer": nonsense, "when": nonsense, "tapped_what": nonsense}
                answer = self.bring("start", load.pk, **given, tapped_at=nonsense, tapped_words=nonsense, key=nonsense)
                self.assertEqual(answer["X-Tapped"], "kept")

    def test_a_person_whose_roles_were_taken_away_loses_nothing(self):
        load = start(self, make_up(self, ready(self)))
        self.sign_in(self.bea)
        self.assertEqual(self.bring("end", load.pk, person=self.bea)["X-Tapped"], "kept")
        self.sign_in(self.casey)
        self.assertEqual(self.bring("end", load.pk, person=self.casey).status_code, 403)

    def test_whose_it_was_cannot_be_proven(self):
        load = start(self, make_up(self, ready(self)))
        for token in ("", "x", "👕", signing.dumps(self.lou.pk, salt="another")):
            self.assertEqual(self.bring("end", load.pk, tapped_by=token, key=uuid.uuid4())["X-Tapped"], "kept")
        load.refresh_from_db()
        self.assertEqual(load.state, "washing")

    def test_nothing_of_a_customers_is_kept(self):
        """Neither with a mark of the own, nor with none; whatever it is about."""
        load = start(self, make_up(self, ready(self)))
        entries = TrailEntry.objects.count()
        self.sign_in(self.casey)
        for token in ("", "x", signing.dumps(self.casey.pk, salt=SALT)):
            for number in (load.pk, 987_654):
                for how in ("first", "late"):
                    self.assertEqual(self.bring("end", number, how=how, tapped_by=token).status_code, 403)
        self.assertEqual((KeptTap.objects.count(), TrailEntry.objects.count()), (0, entries))


class WhoseTests(Carried):
    def test_another_persons_tap_is_refused_and_waits(self):
        load = start(self, make_up(self, ready(self)))
        self.sign_in(self.mara)
        for how in ("first", "late"):
            answer = self.bring("end", load.pk, how=how, person=self.lou)
            self.assertEqual(answer.status_code, 409)
            self.assertNotIn("X-Tapped", answer)
        load.refresh_from_db()
        self.assertEqual((load.state, KeptTap.objects.count()), ("washing", 0))

    def test_an_ended_sign_in_is_told_and_it_waits(self):
        load = start(self, make_up(self, ready(self)))
        self.sign_in(None)
        answer = self.bring("end", load.pk)
        self.assertEqual(answer.status_code, 401)
        self.assertNotIn("X-Tapped", answer)

    def test_without_script_nothing_is_otherwise(self):
        load = start(self, make_up(self, ready(self)))
        self.sign_in(None)
        address = reverse("laundering:end", args=[load.pk])
        self.assertTrue(self.client.post(address).url.startswith("/sign-in/"))
        self.sign_in(self.lou)
        self.assertRedirects(self.client.post(address, {"spun": "on"}), f"/laundry/loads/{load.pk}/")

    def test_a_form_of_another_site_is_refused(self):
        load = start(self, make_up(self, ready(self)))
        strict = Client(enforce_csrf_checks=True)
        strict.force_login(self.lou)
        answer = strict.post(reverse("laundering:end", args=[load.pk]), {"spun": "on"}, headers={"X-Tap": "late"})
        self.assertEqual(answer.status_code, 403)
        self.assertNotIn("X-Tapped", answer)


class WorkerTests(LabTestCase):
    def test_it_looks_after_the_laundry_only(self):
        answer = self.client.get("/laundry/worker.js")
        self.assertEqual(answer["Service-Worker-Allowed"], "/laundry/")
        self.assertTrue(answer["Content-Type"].startswith("text/javascript"))
        self.assertContains(answer, "Pages of one")
