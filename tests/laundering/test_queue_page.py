"""What waits for a wash, grouped by what may share a drum."""

import uuid
from datetime import date, timedelta

from apps.accounts.models import Lab
from apps.accounts.queries import the_lab
from apps.intake import services as intake
from apps.intake.models import Job, Request, SendBack
from apps.laundering.models import Load
from apps.laundering.queries import Pace, groups, in_hand
from apps.laundering.queries.queue import WITHOUT_SPIN, GroupKey
from apps.methods.models import DryingProcedure
from tests.cast import NOON, LabTestCase
from tests.laundering.support import (
    dried,
    dry,
    issue,
    laundry_queue,
    make_up,
    pieces_of,
    ready,
    requests,
    start,
    washed,
    whole_cycle,
)

TODAY = NOON.date()
READERS = {"fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 403, "dana": 403, "nobody": 302}


class QueueTests(LabTestCase):
    def keys(self) -> list[str]:
        return [f"{group.cloth}, {group.key.without_spin}, {bool(group.key.bleeding)}" for group in self.groups()]

    def groups(self):
        return laundry_queue(self.lou, TODAY)

    def due(self, request: Request, day: date, **more) -> Request:
        Job.objects.filter(pk=request.sample.job_id).update(due_on=day, **more)
        return request

    def test_pieces_are_grouped_by_what_may_share_a_drum(self):
        ready(self), ready(self, dry="aatcc-b"), ready(self, construction="knit"), ready(self, dry="aatcc-c")
        ready(self, bleeds=True), ready(self, bleeds=True), ready(self, wash="aatcc-1-iv")
        self.assertEqual(sorted(group.waiting for group in self.groups()), [3, 3, 3, 3, 3, 6])
        self.assertEqual(self.keys().count("woven, False, True"), 2)
        for group in self.groups():
            make_up(self, specimen_ids=[piece.pk for piece in group.pieces])

    def test_a_lab_that_only_warns_sees_woven_and_knit_together(self):
        ready(self), ready(self, construction="knit")
        Lab.objects.update(mix_rule=Lab.MixRule.WARN)
        self.assertEqual([(group.waiting, group.cloth) for group in self.groups()], [(6, "woven and knit")])

    def test_the_oldest_due_date_comes_first_and_none_last(self):
        ready(self, construction="knit")
        late = self.due(ready(self), TODAY - timedelta(days=1))
        soon = self.due(ready(self), TODAY)
        undated = ready(self)
        first, second = self.groups()
        self.assertEqual((first.cloth, second.cloth), ("woven", "knit"))
        self.assertEqual([piece.request for piece in first.pieces[::3]], [late, soon, undated])
        self.assertEqual([row.late for row in first.rows[::3]], [True, False, False])

    def test_only_what_may_be_washed_now_waits(self):
        requests(self)
        make_up(self, ready(self))
        whole_cycle(self, ready(self))
        issue(ready(self), by=self.mara)
        self.assertEqual(self.groups(), [])

    def test_a_group_key_is_read_back_and_nonsense_is_not(self):
        ready(self)
        (group,) = self.groups()
        self.assertEqual(GroupKey.read(str(group.key)), group.key)
        for text in ("", "1", "1-woven-spun", "1-silk-spun-0", "x" * 10_000, "1-woven-spun-0\x00", "٤-woven-spun-0"):
            self.assertIsNone(GroupKey.read(text))

    def test_drip_drying_is_told_the_same_way_everywhere(self):
        for drying in DryingProcedure.objects.all():
            self.assertEqual(drying.without_spin, drying.kind in WITHOUT_SPIN)

    def test_customers_see_no_load_and_nothing_of_another_company(self):
        ready(self)
        make_up(self, ready(self))
        self.assertEqual(groups(self.dana, the_lab(), TODAY), [])
        for who in (self.casey, self.dana):
            self.assertFalse(Load.objects.visible_to(who).exists())

    def test_what_is_in_hand_says_what_is_next(self):
        loads = [dried(self, ready(self)), washed(self, ready(self), washer_id=self.washers[1].pk)]
        drying = washed(self, ready(self))
        dry(self, drying)
        loads += [start(self, make_up(self, ready(self))), drying, make_up(self, ready(self))]
        pace = Pace.of(the_lab(), NOON)
        with self.assertNumQueries(1):
            found = in_hand(self.lou, pace)
            self.assertEqual([one.load for one in found], loads)
            self.assertEqual([(one.to_tick, one.to_dry, len(one.dryings)) for one in found[:2]], [(3, 0, 0), (0, 3, 0)])


class QueuePageTests(LabTestCase):
    def post(self, **data):
        return self.client.post("/laundry/loads/", {"key": uuid.uuid4(), **data})

    def test_who_may(self):
        ready(self)
        for name, person in self.by_role():
            self.sign_in(person)
            with self.subTest(name):
                self.assertEqual(self.client.get("/laundry/").status_code, READERS[name])
                writes = name in ("lou", "mara")
                status = self.post().status_code
                self.assertEqual(status, 422 if writes else 302 if name == "nobody" else 403)
        self.sign_in(self.bea)
        self.assertNotContains(self.client.get("/laundry/"), "Make up a load")

    def by_role(self):
        return {name: getattr(self, name, None) for name in READERS}.items()

    def test_the_ticked_become_a_load(self):
        self.sign_in(self.lou)
        first, second, _ = pieces_of(ready(self))
        answer = self.post(specimen=[first.pk, second.pk])
        load = Load.objects.get()
        self.assertRedirects(answer, f"/laundry/loads/{load.pk}/")
        self.assertEqual(load.pieces.count(), 2)

    def test_all_that_is_shown_becomes_a_load(self):
        self.sign_in(self.lou)
        ids = [piece.pk for piece in pieces_of(ready(self))]
        self.post(shown=ids, all="yes")
        self.assertEqual(Load.objects.get().pieces.count(), 3)

    def test_a_refusal_keeps_the_ticks_and_stands_in_its_group(self):
        self.sign_in(self.lou)
        woven, knit = ready(self), ready(self, construction="knit")
        ids = [pieces_of(woven)[0].pk, pieces_of(knit)[0].pk]
        page = self.post(specimen=ids, group=str(laundry_queue(self.lou, TODAY)[0].key))
        self.assertEqual(page.status_code, 422)
        self.assertContains(page, "Woven and knit are washed apart", status_code=422, count=1)
        self.assertContains(page, " checked", count=2, status_code=422)
        self.assertContains(self.post(specimen=ids), "Woven and knit are washed apart", status_code=422, count=1)

    def test_tampered_posts_are_refused_with_a_sentence(self):
        self.sign_in(self.lou)
        ready(self)
        for specimen in ("", "abc", "-1", "1e3", "9" * 30, "999999999999999", "1\x00", "👕", "٤"):
            for extra in (
                {},
                {"when": "yesterday"},
                {"when": "9" * 10_000},
                {"when": "0001-01-01T00:00"},
                {"key": "x"},
            ):
                with self.subTest(specimen=specimen[:9], extra=str(extra)[:30]):
                    page = self.post(specimen=specimen, group="x", **extra)
                    self.assertContains(page, "No load was made up", status_code=422)
        self.assertFalse(Load.objects.exists())

    def test_the_reason_is_asked_for_where_the_lab_only_warns(self):
        Lab.objects.update(mix_rule=Lab.MixRule.WARN)
        self.sign_in(self.lou)
        ids = [piece.pk for piece in pieces_of(ready(self), ready(self, construction="knit"))]
        group = str(laundry_queue(self.lou, TODAY)[0].key)
        page = self.post(specimen=ids, group=group, deviation="", when="2026-03-02T12:00")
        self.assertContains(page, "say why", status_code=422)
        self.assertContains(page, 'value="2026-03-02T12:00"', status_code=422)
        long = self.post(specimen=ids, group=group, deviation="x" * 251)
        self.assertContains(long, "250 characters at most", status_code=422)
        self.assertEqual(self.post(specimen=ids, group=group, deviation="one drum today").status_code, 302)

    def test_a_double_tap_is_one_load(self):
        self.sign_in(self.lou)
        data = {"specimen": [piece.pk for piece in pieces_of(ready(self))], "key": uuid.uuid4()}
        self.assertEqual(self.post(**data).url, self.post(**data).url)
        self.assertEqual(Load.objects.count(), 1)

    def test_a_group_has_a_page_of_its_own_with_all_its_pieces(self):
        self.sign_in(self.lou)
        for _ in range(18):
            ready(self)
        (group,) = laundry_queue(self.lou, TODAY)
        self.assertContains(self.client.get("/laundry/"), f'href="/laundry/?group={group.key}"')
        self.assertContains(
            self.client.get(f"/laundry/?group={group.key}"), 'type="checkbox" name="specimen"', count=50
        )
        self.assertContains(
            self.client.get(f"/laundry/?group={group.key}&page=2"), 'type="checkbox" name="specimen"', count=4
        )
        for nonsense in ("x", "9-woven-spun-0", "1%00", "9" * 5000):
            page = self.client.get(f"/laundry/?group={nonsense}&pieces={nonsense}")
            self.assertContains(page, "Choose the pieces yourself")

    def test_work_sent_back_to_the_laundry_is_answered_here(self):
        request = ready(self)
        intake.send_back(request_id=request.pk, to="laundry", reason="which detergent?", by=self.mara, at=NOON)
        self.sign_in(self.lou)
        self.assertContains(self.client.get("/laundry/"), "which detergent?")
        answer = {"answer": "lot L-1", "next": "/laundry/"}
        row = SendBack.objects.get()
        self.assertRedirects(self.client.post(f"/send-backs/{row.pk}/answer/", answer), "/laundry/")
        self.assertNotContains(self.client.get("/laundry/"), "which detergent?")

    def test_the_number_of_queries_does_not_grow(self):
        self.sign_in(self.lou)
        make_up(self, ready(self, count=2))
        ready(self, count=2)
        with self.assertNumQueries(12):
            self.client.get("/laundry/")
        for how in ({}, {"construction": "knit"}, {"dry": "aatcc-c"}, {"bleeds": True}, {"bleeds": True}):
            make_up(self, ready(self, **how))
            [ready(self, **how) for _ in range(2)]
        with self.assertNumQueries(12):
            self.client.get("/laundry/")
