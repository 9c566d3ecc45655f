"""A closed run was written down wrongly: a whole record supersedes it, with who and why."""

import uuid
from dataclasses import replace

from django.db import IntegrityError, transaction

from apps.core.errors import Refusal, StalePage
from apps.intake.models import Request
from apps.laundering import services
from apps.laundering.models import Load, LoadCorrection
from apps.laundering.queries import cycle_record
from apps.laundering.services import WashRecord
from tests.cast import NOON, LabTestCase
from tests.laundering.support import (
    HOUR,
    MINUTE,
    WASH,
    amend,
    deviations,
    issue,
    make_up,
    ready,
    start,
    told,
    washed,
    whole_cycle,
)


class CorrectLoadTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.request, cls.other = ready(cls), ready(cls)
        cls.load = whole_cycle(cls, cls.request, cls.other)
        cls.record = WashRecord(
            washer_id=cls.washers[1].pk, wash_started_at=NOON, wash_ended_at=NOON, spun=True, **WASH
        )

    def correct(self, load: Load | None = None, **how) -> LoadCorrection:
        changes = {name: how.pop(name) for name in list(how) if name in WashRecord.__dataclass_fields__}
        act = {"shown_revision": 0, "reason": "wrong washer noted", "by": self.lou, "at": NOON, **how}
        record = replace(self.record, **changes)
        return services.correct_load(load_id=(load or self.load).pk, record=record, **act)

    def refused(self, code: str, load: Load | None = None, **how) -> Refusal:
        with self.assertRaises(Refusal) as caught:
            self.correct(load, **how)
        self.assertEqual(caught.exception.code, code, str(caught.exception))
        return caught.exception

    def test_the_newest_record_holds_and_the_old_one_stays(self):
        row = self.correct(water_temp_c="42")
        self.assertEqual(row.revision, 1)
        again = self.correct(shown_revision=1, water_temp_c="40", reason="read the wrong line")
        self.assertEqual(again.revision, 2)
        self.load.refresh_from_db()
        self.assertEqual((self.load.washer, str(self.load.water_temp_c)), (self.washers[0], "41.0"))
        conditions = cycle_record([self.request])[self.request.pk][0].conditions
        self.assertEqual((conditions, conditions.washer), (again, self.washers[1]))

    def test_every_job_in_the_load_hears_of_it(self):
        self.correct()
        for request in (self.request, self.other):
            (facts,) = told(request, "load.corrected")
            self.assertEqual((facts["load"], facts["revision"], facts["washer"]), (self.load.pk, 1, "W2"))

    def test_what_turns_out_to_be_outside_is_disclosed_not_hidden(self):
        self.correct(water_temp_c="30")
        self.assertIn("30 °C", deviations(self.request)[0])
        self.assertIn("record corrected", deviations(self.other)[0])

    def test_a_stale_page_is_refused(self):
        self.correct()
        with self.assertRaises(StalePage):
            self.correct()
        self.assertEqual(LoadCorrection.objects.count(), 1)

    def test_only_a_closed_wash_is_put_right(self):
        load = make_up(self, ready(self))
        self.refused("load_made_up", load)
        start(self, load)
        self.refused("load_washing", load)
        apart = make_up(self, ready(self))
        services.void_load(load_id=apart.pk, reason="wrong drum", by=self.lou, at=NOON)
        self.refused("never_washed", apart)
        services.void_load(load_id=load.pk, reason="power cut", by=self.lou, at=NOON)
        self.correct(load)

    def test_issued_reports_that_rest_on_it_are_named(self):
        report = issue(self.request, by=self.mara)
        refusal = self.refused("request_locked")
        self.assertIn(str(self.request), str(refusal))
        self.assertNotIn(str(self.other), str(refusal))
        amend(self.request, report, opened_for=Request.OpenedFor.LIMITS, by=self.mara)
        self.refused("request_locked")

    def test_an_amendment_for_the_cycle_record_opens_it(self):
        report = issue(self.request, by=self.mara)
        amend(self.request, report, opened_for=Request.OpenedFor.CYCLE_RECORD, by=self.mara)
        self.correct(water_temp_c="30")
        self.assertEqual(len(deviations(self.request)), 1)

    def test_bad_input_is_refused_beside_its_field(self):
        for field in ("specimen_mass_g", "ballast_mass_g", "ballast_pieces", "detergent_g", "water_temp_c"):
            for text in ("", "abc", "-1", "1e999", "NaN", "4\x000", "9" * 10_000, "👕"):
                with self.assertRaises(Refusal) as caught:
                    self.correct(**{field: text})
                self.assertEqual(caught.exception.field, field)
        self.assertEqual(self.refused("missing", reason=" ").field, "reason")
        self.assertEqual(self.refused("too_long", reason="x" * 10_000).field, "reason")
        self.assertEqual(self.refused("no_washer", washer_id=self.dryers[0].pk).field, "washer")
        self.assertEqual(self.refused("not_a_figure", rinse_temp_c="warm").field, "rinse_temp_c")
        self.refused("before_previous_step", wash_started_at=NOON - HOUR)
        self.refused("before_previous_step", wash_started_at=NOON, wash_ended_at=NOON - MINUTE)
        self.refused("future", wash_ended_at=NOON + HOUR)

    def test_the_wash_does_not_end_after_its_drying_began(self):
        self.refused("after_next_step", wash_ended_at=NOON + MINUTE)

    def test_a_double_post_is_one_correction(self):
        key = uuid.uuid4()
        self.assertEqual(self.correct(key=key), self.correct(key=key))
        self.assertEqual(LoadCorrection.objects.count(), 1)

    def test_the_database_agrees(self):
        row = self.correct()
        broken = [
            lambda: LoadCorrection.objects.create(load=self.load, revision=1, reason="x", by=self.lou, at=NOON),
            lambda: LoadCorrection.objects.create(load=self.load, revision=2, reason="", by=self.lou, at=NOON),
            lambda: LoadCorrection.objects.filter(pk=row.pk).update(water_temp_c=20),
            lambda: row.delete(),
            lambda: Load.objects.filter(pk=self.load.pk).update(water_temp_c=20),
            lambda: Load.objects.filter(pk=self.load.pk).update(state="void", void_reason="x"),
            lambda: Load.objects.filter(pk=self.load.pk).delete(),
        ]
        for number, act in enumerate(broken):
            with self.subTest(number), self.assertRaises(IntegrityError), transaction.atomic():
                act()
        untouched = washed(self, ready(self))
        with self.assertRaises(IntegrityError), transaction.atomic():
            Load.objects.filter(pk=untouched.pk).update(state="void", void_reason="x", water_temp_c=20)
