"""A check fabric tells when a washer washes otherwise than before, and results wait for the manager."""

import uuid
from io import BytesIO

from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from openpyxl import load_workbook

from apps.control import queries, services
from apps.control.models import Baseline, Check, CheckFabric, CheckPair, CheckPoint
from apps.control.services.points import Typed
from apps.core.errors import KeyReused, Refusal
from apps.equipment import services as equipment
from apps.equipment.models import Hold
from apps.reporting.queries import obstacles
from apps.trail.queries import broken_link, timeline
from tests.cast import NOON, LabTestCase
from tests.control.support import DAY, FLOW, HOUR, NOTHING, a_check, a_run, a_washed_load, runs, typed, with_limits
from tests.reporting.support import a_finished_job, approve

READERS = {"nobody": 302, "fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 403, "dana": 403}


class ControlCase(LabTestCase):
    def refused(self, code: str, act, **given) -> str:
        with self.assertRaises(Refusal) as caught:
            act(**given)
        self.assertEqual(caught.exception.code, code)
        return str(caught.exception)

    def series(self, check: Check):
        return queries.series_of([check])[check.pk][0]


class LimitsTests(ControlCase):
    def test_the_limits_of_the_handbook(self):
        row = with_limits(self, a_check(self))
        told = (round(row.center, 4), round(row.mr_bar, 4), round(row.lower, 4), round(row.upper, 4), row.n)
        self.assertEqual([str(each) for each in told], ["50.8100", "1.8778", "45.8159", "55.8041", "10"])

    def test_too_few_or_equal_points_give_none(self):
        check = a_check(self)
        points = runs(self, check, FLOW[:9])
        span = {"check_id": check.pk, "direction": "length", "first_id": points[0].pk, "by": self.mara, "at": NOON}
        sentence = self.refused("too_few_points", services.set_baseline, last_id=points[-1].pk, note="usual", **span)
        self.assertIn("at least 10 points in length; these are 9", sentence)
        self.refused("no_such_point", services.set_baseline, last_id=0, note="usual", **span)
        self.refused("note_missing", services.set_baseline, last_id=points[-1].pk, note=" ", **span)
        self.refused("not_manager", services.set_baseline, last_id=points[-1].pk, note="x", **span | {"by": self.bea})

    def test_limits_stay_until_others_are_set(self):
        check = a_check(self)
        first = with_limits(self, check)
        a_run(self, check, "50", NOON - HOUR * 3)
        self.assertEqual(self.series(check).baseline, first)

    def test_a_change_is_that_of_the_sums_and_a_void_point_counts_no_more(self):
        check, load = a_check(self), a_washed_load(self, NOON - DAY)
        pairs = {"length": NOTHING, "width": Typed("250 9.5", "245,5 9.25")}
        given = {"check_id": check.pk, "load_id": load.pk, "typed": pairs, "by": self.bea, "at": NOON}
        (point,) = services.record_run(unit="cm", **given)
        # 100 (254.75 - 259.5) / 259.5, worked by hand
        self.assertEqual(str(round(point.change, 6)), "-1.830443")
        self.refused("point_there", services.record_run, unit="cm", **given)
        services.void_point(point_id=point.pk, reason="wrong piece", by=self.mara, at=NOON)
        self.assertEqual(list(queries.points_of([check])), [])
        services.record_run(unit="cm", **given)


class AlarmTests(ControlCase):
    def setUp(self):
        self.check = a_check(self)
        with_limits(self, self.check)

    def test_a_point_beyond_the_limits_holds_the_machine_since_the_last_good_one(self):
        good = self.series(self.check).points[-1]
        a_run(self, self.check, "56", NOON - HOUR * 3)
        hold = Hold.objects.get()
        self.assertEqual((hold.equipment, hold.since), (self.washers[0], good.load.wash_started_at))
        self.assertIn("One point lies beyond a control limit.", hold.reason)
        self.assertIsNone(broken_link(self.check.stream))
        a_run(self, self.check, "57", NOON - HOUR * 2.5)
        self.assertEqual(Hold.objects.count(), 1)

    def test_each_rule_of_a_run_is_told_by_its_words(self):
        # sigma is 1.8778 / 1.128 = 1.6647: 54.2 lies beyond two of them
        a_run(self, self.check, "54.2", NOON - HOUR * 3)
        self.assertFalse(Hold.objects.exists())
        a_run(self, self.check, "54.3", NOON - HOUR * 2.5)
        self.assertIn("Two of three points lie beyond 2 sigma on one side.", Hold.objects.get().reason)

    def test_what_is_as_usual_holds_nothing(self):
        a_run(self, self.check, "50.9", NOON - HOUR * 3)
        self.assertFalse(Hold.objects.exists())

    def test_results_wait_until_the_manager_says_why_they_may_go_out(self):
        job = a_finished_job(self)
        (request,) = job.samples.get().requests.all()
        self.assertEqual(obstacles([request])[request.pk], [])
        a_run(self, self.check, "60", NOON - HOUR * 2)
        (told,) = obstacles([request])[request.pk]
        self.assertIn("W1 is held since its check fabric gave an alarm (load", told)
        with self.assertRaises(Refusal) as caught:
            approve(self, request)
        self.assertEqual(caught.exception.code, "not_ready")
        hold = Hold.objects.get()
        self.sign_in(self.mara)
        self.assertContains(self.client.get(f"/approvals/{job.number}/"), "W1 is held since")
        page = self.client.post(f"/equipment/holds/{hold.pk}/release/", {"reason": ""})
        self.assertEqual(page.status_code, 200)
        self.client.post(f"/equipment/holds/{hold.pk}/release/", {"reason": "a worn belt; results agree with W2"})
        self.assertEqual(obstacles([request])[request.pk], [])
        self.assertContains(self.client.get(f"/approvals/{job.number}/"), "a worn belt; results agree with W2")
        self.assertEqual(approve(self, request).job, job)

    def test_another_machine_or_an_earlier_run_is_not_held(self):
        job = a_finished_job(self)
        (request,) = job.samples.get().requests.all()
        with transaction.atomic():
            equipment.hold_results(equipment_id=self.washers[1].pk, since=None, reason="alarm", by=self.bea, at=NOON)
            equipment.hold_results(
                equipment_id=self.washers[0].pk, since=NOON + HOUR, reason="alarm", by=self.bea, at=NOON
            )
        self.assertEqual(obstacles([request])[request.pk], [])

    def test_only_a_manager_releases_and_once(self):
        a_run(self, self.check, "60", NOON - HOUR * 3)
        hold, key = Hold.objects.get(), uuid.uuid4()
        given = {"hold_id": hold.pk, "at": NOON, "key": key}
        self.refused("not_manager", equipment.release_hold, reason="x", by=self.bea, **given)
        for _ in range(2):
            equipment.release_hold(reason="looked into", by=self.mara, **given)
        self.refused("already_released", equipment.release_hold, **given | {"key": None}, reason="y", by=self.mara)
        with self.assertRaises(KeyReused):
            equipment.release_hold(reason="other words", by=self.mara, **given)
        kinds = [entry.kind for entry in timeline(self.washers[0].stream)]
        self.assertEqual(sorted(kinds), ["equipment.held", "equipment.hold_released"])


class RefusalTests(ControlCase):
    def test_readings_in_pairs_of_a_washed_load_of_this_machine(self):
        check = a_check(self)
        ours, other = a_washed_load(self, NOON - DAY), a_washed_load(self, NOON - DAY, washer=self.washers[1])
        given = {"check_id": check.pk, "unit": "mm", "by": self.bea, "at": NOON}

        def run(code, load=ours, **pairs):
            pairs = {"length": NOTHING, "width": NOTHING, **pairs}
            return self.refused(code, services.record_run, load_id=load.pk, typed=pairs, **given)

        run("nothing_read")
        run("other_load", other, length=typed("1"))
        run("not_in_pairs", length=Typed("250 250", "249"))
        run("how_many", width=Typed("250", ""))
        run("not_a_length", length=Typed("ten", "9"))
        services.end_check(check_id=check.pk, reason="the lot is used up", by=self.mara, at=NOON)
        run("check_ended", length=typed("1"))
        self.assertEqual(CheckPoint.objects.count(), 0)

    def test_one_plan_at_a_time_with_a_frequency_in_a_washer(self):
        check = a_check(self)
        given = {"fabric_id": check.fabric_id, "procedure_id": check.procedure_id, "by": self.mara, "at": NOON}
        often = {"every_loads": 5, "every_days": None}
        self.refused("check_there", services.plan_check, washer_id=check.washer_id, **often, **given)
        self.refused("not_a_washer", services.plan_check, washer_id=self.dryers[0].pk, **often, **given)
        none = {"every_loads": None, "every_days": None}
        self.refused("no_frequency", services.plan_check, washer_id=self.washers[1].pk, **none, **given)
        self.refused("fabric_there", services.add_fabric, name=check.fabric.name, lot="A", by=self.mara, at=NOON)

    def test_the_same_form_again_is_one_run(self):
        check, load, key = a_check(self), a_washed_load(self, NOON - DAY), uuid.uuid4()
        given = {"check_id": check.pk, "load_id": load.pk, "unit": "mm", "by": self.bea, "at": NOON, "key": key}
        pairs = {"length": typed("1"), "width": typed("2")}
        first = services.record_run(typed=pairs, **given)
        self.assertEqual(services.record_run(typed=pairs, **given), first)
        self.assertEqual(CheckPoint.objects.count(), 2)

    def test_the_database_keeps_what_was_written(self):
        with_limits(self, a_check(self))
        wrong = [
            lambda: CheckFabric.objects.update(lot="B"),
            lambda: Check.objects.update(every_loads=1),
            lambda: CheckPoint.objects.update(direction="width"),
            lambda: CheckPair.objects.update(after_mm=1),
            lambda: Baseline.objects.update(center=1),
            lambda: Baseline.objects.filter(pk__gt=0)._raw_delete("default"),
            lambda: CheckPair.objects.filter(pk__gt=0)._raw_delete("default"),
        ]
        for act in wrong:
            with self.assertRaises(IntegrityError), transaction.atomic():
                act()
        services.end_check(check_id=Check.objects.get().pk, reason="over", by=self.mara, at=NOON)
        with self.assertRaises(IntegrityError), transaction.atomic():
            Check.objects.update(ended_at=None, ended_by=None, end_reason="")


class PageTests(ControlCase):
    def test_from_an_empty_page_to_a_chart(self):
        self.sign_in(self.mara)
        self.assertContains(self.client.get("/control/"), "No check is planned yet")
        self.client.post("/control/fabrics/new/", {"name": "plain weave", "lot": "7"})
        fabric = CheckFabric.objects.get()
        form = {"fabric": fabric.pk, "washer": self.washers[0].pk, "procedure": "", "every_loads": "10"}
        page = self.client.post("/control/checks/new/", form)
        self.assertContains(page, "This field is required")
        procedure = a_washed_load(self, NOON - DAY).procedure_id
        self.client.post("/control/checks/new/", form | {"procedure": procedure})
        check = Check.objects.get()
        self.assertContains(self.client.get("/control/"), "due with the next load")
        (load,) = queries.washed_loads(check)
        self.sign_in(self.bea)
        typed_in = {"load": load.pk, "unit": "mm", "length_before": "250 250", "length_after": "245"}
        page = self.client.post(f"/control/checks/{check.pk}/run/", typed_in)
        self.assertContains(page, "2 originals and 1 readings after the run")
        self.assertContains(page, 'value="250 250"')
        page = self.client.post(f"/control/checks/{check.pk}/run/", typed_in | {"length_after": "245 245"}, follow=True)
        self.assertContains(page, "\N{MINUS SIGN}2.00")
        self.assertContains(self.client.get("/control/"), "no limits yet")

    def test_the_chart_and_its_table_say_the_limits(self):
        check = a_check(self)
        with_limits(self, check)
        a_run(self, check, "60", NOON - HOUR * 3)
        self.sign_in(self.mara)
        page = self.client.get(f"/control/checks/{check.pk}/")
        for text in ("45.82", "55.80", "50.81", "Limits from 10 points", "Results wait", "beyond a control limit"):
            self.assertContains(page, text)
        self.assertEqual(page.content.decode().count('<svg class="drawing check"'), 3)

    def test_a_load_is_offered_by_the_labs_own_day(self):
        check = a_check(self)
        a_washed_load(self, NOON + HOUR * 11.5)  # half past eleven at night in UTC
        self.sign_in(self.bea)
        with timezone.override("Europe/Vienna"):
            self.assertContains(self.client.get(f"/control/checks/{check.pk}/run/"), ", 3 Mar 2026</option>")

    def test_limits_are_set_on_the_page(self):
        check = a_check(self)
        points = runs(self, check, FLOW)
        self.sign_in(self.mara)
        form = {"first": points[0].pk, "last": points[-2].pk, "note": "steady"}
        page = self.client.post(f"/control/checks/{check.pk}/baseline/length/", form)
        self.assertContains(page, "these are 9", status_code=422)
        self.assertContains(page, 'value="steady"', status_code=422)
        self.client.post(f"/control/checks/{check.pk}/baseline/length/", form | {"last": points[-1].pk})
        self.assertEqual(Baseline.objects.get().n, 10)
        self.assertEqual(self.client.post(f"/control/checks/{check.pk}/baseline/across/", form).status_code, 404)

    def test_tables_to_keep(self):
        check = a_check(self)
        with_limits(self, check)
        self.sign_in(self.lou)
        text = self.client.get(f"/control/checks/{check.pk}.csv").content.decode("utf-8-sig")
        self.assertEqual(len(text.splitlines()), 11)
        self.assertIn(",49.6,", text)
        book = load_workbook(BytesIO(self.client.get(f"/control/checks/{check.pk}.xlsx").content))
        self.assertEqual([row[7] for row in book.active.iter_rows(min_row=2, values_only=True)], list(map(float, FLOW)))

    def test_who_may(self):
        check = a_check(self)
        for name, person in self.by_role().items():
            self.sign_in(person)
            with self.subTest(name=name):
                for path in ("/control/", f"/control/checks/{check.pk}/", f"/control/checks/{check.pk}.csv"):
                    self.assertEqual(self.client.get(path).status_code, READERS[name])

    def by_role(self):
        people = (self.fran, self.bea, self.lou, self.mara, self.casey, self.dana)
        return {"nobody": None, **{person.username: person for person in people}}

    def test_the_number_of_queries_does_not_grow(self):
        check = a_check(self)
        with_limits(self, check)
        self.sign_in(self.mara)
        pages = ("/control/", f"/control/checks/{check.pk}/")
        few = [self.queries(path) for path in pages]
        runs(self, check, FLOW[:8])
        services.plan_check(
            fabric_id=check.fabric_id,
            washer_id=self.washers[1].pk,
            procedure_id=check.procedure_id,
            every_loads=3,
            every_days=None,
            by=self.mara,
            at=NOON,
        )
        self.assertEqual([self.queries(path) for path in pages], few)

    def queries(self, path: str) -> int:
        with CaptureQueriesContext(connection) as seen:
            self.assertEqual(self.client.get(path).status_code, 200)
        return len(seen)
