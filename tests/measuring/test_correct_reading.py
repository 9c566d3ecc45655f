"""A reading is put right."""

from decimal import Decimal
from uuid import uuid4

from apps.core import clock
from apps.core.errors import Refusal, RequestIsLocked
from apps.intake.models import Specimen
from apps.measuring.models import Reading
from apps.measuring.queries import results_of
from apps.measuring.services import correct_reading
from apps.trail.queries import timeline
from tests.cast import NOON, LabTestCase, a_marked_request, after_cycle, with_originals, with_readings
from tests.measuring.support import HOUR, issue, pair


class CorrectTests(LabTestCase):
    def setUp(self):
        self.request = with_originals(self, a_marked_request(self, count=1, fewer_reason="short"))
        self.wrong = Reading.objects.get(pair=pair(self.request, "A1 length 1"))

    def correct(self, **how) -> Reading:
        details = {"reading_id": self.wrong.pk, "text": "251", "unit": "mm", "reason": "misread", "by": self.mara}
        return correct_reading(**{**details, "at": NOON, **how})

    def refused(self, **how) -> str:
        with self.assertRaises(Refusal) as refused:
            self.correct(**how)
        return refused.exception.code

    def test_the_old_value_stays_visible(self):
        new = self.correct()
        self.wrong.refresh_from_db()
        self.assertEqual((self.wrong.voided_by, self.wrong.void_reason, self.wrong.mm), (self.mara, "misread", 250))
        self.assertEqual((new.mm, new.read_by, new.stage), (Decimal(251), self.mara, 0))
        row = results_of([self.request])[self.request.pk].rows[0]
        self.assertEqual((row.readings[0], row.superseded), (new, [self.wrong]))
        entry = timeline(self.request.sample.job.stream)[0]
        self.assertEqual((entry.kind, entry.facts["was"]["mm"]), ("reading.corrected", "250"))
        self.assertEqual((entry.facts["now"]["mm"], entry.facts["reason"]), ("251", "misread"))

    def test_also_after_later_washes_and_the_specimen_stays_where_it_is(self):
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, "245")
        self.correct()
        self.assertEqual(self.request.specimens.get().stage, Specimen.Stage.DONE)

    def test_refusals(self):
        self.assertEqual(self.refused(reason="  "), "no_reason")
        self.assertEqual(self.refused(text="25.0", unit="cm"), "no_change")
        self.assertEqual(self.refused(text="letters"), "not_a_length")
        self.assertEqual(self.refused(text=""), "empty")
        self.assertEqual(self.refused(unit="ell"), "unit")
        self.assertEqual(self.refused(text="25"), "second_look")
        self.assertEqual(self.refused(at=NOON - HOUR), "before_previous_step")
        self.assertEqual(Reading.objects.filter(voided_at__isnull=False).count(), 0)
        self.assertEqual(self.correct(text="200", confirmed=True).mm, 200)

    def test_once_only_and_a_second_tap_is_answered(self):
        key = uuid4()
        first = self.correct(key=key)
        self.assertEqual(self.correct(key=key), first)
        self.assertEqual(self.refused(), "already_corrected")
        with clock.set_to(NOON + HOUR):
            again = self.correct(reading_id=first.pk, text="252", at=NOON + HOUR)
        self.assertEqual(again.mm, 252)

    def test_an_issued_request_is_refused(self):
        issue(self.request, by=self.mara)
        with self.assertRaises(RequestIsLocked):
            self.correct()
