"""The record of an ended drying, put right as a whole; the first one stays beside it."""

import csv
import uuid
from datetime import UTC, datetime, timedelta

from apps.core import clock
from apps.core.errors import Refusal, RequestIsLocked, StalePage
from apps.laundering import services
from apps.laundering.models import Drying, DryingCorrection
from apps.laundering.queries import cycle_record
from apps.laundering.services import DryingRecord
from tests.cast import NOON, LabTestCase
from tests.laundering.support import (
    HOUR,
    deviations,
    dried,
    end,
    issue,
    make_up,
    ready,
    start,
    tick_all,
    told,
)


class CorrectDryingTests(LabTestCase):
    def setUp(self):
        self.request = ready(self)
        self.load = dried(self, self.request)
        self.drying = Drying.objects.get()

    def correct(self, **how) -> DryingCorrection:
        record = DryingRecord(lint_filter_cleaned=True, exhaust_c=how.pop("exhaust_c", "60"), dryness="dry")
        given = {"drying_id": self.drying.pk, "shown_revision": 0, "record": record, "dryer_id": self.dryers[1].pk}
        when = {"started_at": NOON, "ended_at": NOON, "reason": "wrong dryer noted", "by": self.lou, "at": NOON}
        return services.correct_drying(**{**given, **when, **how})

    def refused(self, code: str, **how) -> None:
        with self.assertRaises(Refusal) as caught:
            self.correct(**how)
        self.assertEqual(caught.exception.code, code)

    def test_the_newest_holds_and_the_report_rests_on_it(self):
        self.correct()
        tick_all(self, self.load)
        (row, *_) = cycle_record([self.request])[self.request.pk]
        self.assertEqual((row.dried.dryer, str(row.dried.exhaust_c)), (self.dryers[1], "60.0"))
        self.assertEqual(row.drying.dryer, self.dryers[0])
        self.assertEqual([facts["reason"] for facts in told(self.request, "drying.corrected")], ["wrong dryer noted"])

    def test_what_turns_out_to_be_outside_is_disclosed(self):
        self.correct(exhaust_c="90")
        self.assertIn("record corrected: The exhaust reached 90 °C", deviations(self.request)[0])

    def test_it_refuses(self):
        self.refused("missing", reason="")
        self.refused("no_dryer", dryer_id=None)
        self.refused("no_dryer", dryer_id=self.washers[0].pk)
        self.refused("before_previous_step", started_at=NOON - HOUR)
        self.refused("before_previous_step", ended_at=NOON - HOUR)
        self.refused("future", ended_at=NOON + HOUR)
        self.correct()
        with self.assertRaises(StalePage):
            self.correct()
        issue(self.request, by=self.mara)
        with self.assertRaises(RequestIsLocked):
            self.correct(shown_revision=1)

    def test_a_form_sent_twice_is_one_correction(self):
        key = uuid.uuid4()
        self.assertEqual(self.correct(key=key), self.correct(key=key))

    def test_the_page(self):
        self.sign_in(self.lou)
        url = f"/laundry/dryings/{self.drying.pk}/correct/"
        self.assertContains(self.client.get(f"/laundry/loads/{self.load.pk}/"), url)
        self.assertContains(self.client.get(url), 'value="2026-03-02T12:00"', count=2)
        data = {"dryer": self.dryers[1].pk, "started_at": "2026-03-02T12:00", "ended_at": "2026-03-02T12:00"}
        data |= {"lint_filter_cleaned": "on", "dryness": "dry", "shown_revision": 0, "exhaust_c": "61"}
        for bad in ({"reason": ""}, {"reason": "x", "exhaust_c": "1e999"}, {"reason": "x", "ended_at": "soon"}):
            page = self.client.post(url, {**data, **bad})
            self.assertContains(page, "The record is not corrected", status_code=422)
        self.assertRedirects(self.client.post(url, {**data, "reason": "slip"}), f"/laundry/loads/{self.load.pk}/")
        self.assertContains(self.client.get(f"/laundry/loads/{self.load.pk}/"), "correction 1")
        self.assertContains(self.client.get("/laundry/logbook/"), "61 °C")


class LogbookTests(LabTestCase):
    def test_the_day_as_a_table_for_a_spreadsheet(self):
        request = ready(self)
        dried(self, request)
        self.sign_in(self.bea)
        answer = self.client.get("/laundry/logbook.csv?day=2026-03-02")
        self.assertEqual(answer["Content-Type"], "text/csv; charset=utf-8")
        rows = list(csv.DictReader(answer.content.decode("utf-8-sig").splitlines()))
        self.assertEqual([row["run"].split()[0] for row in rows], ["load"] * 3 + ["drying"] * 3)
        self.assertEqual(
            (rows[0]["water_c"], rows[0]["ballast_pieces"], rows[0]["operator"]), ("41.0", "12", "Lou Laundry")
        )
        for nonsense in ("x", "9" * 5000, "2026-13-01", ""):
            self.assertEqual(self.client.get("/laundry/logbook.csv", {"day": nonsense}).status_code, 200)

    def test_a_wash_over_midnight_shows_both_days(self):
        late = datetime(2026, 3, 2, 22, 50, tzinfo=UTC)
        request = ready(self)
        with clock.set_to(late + timedelta(hours=3)):
            load = start(self, make_up(self, request), at=late)
            end(self, load, at=late + timedelta(hours=2))
            self.sign_in(self.lou)
            page = self.client.get("/laundry/logbook/?day=2026-03-02")
        self.assertContains(page, "2 Mar 2026, 2")
        self.assertContains(page, "3 Mar 2026, 0")
