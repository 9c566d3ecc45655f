"""The page on which a closed run's record is put right."""

from datetime import timedelta

from apps.core import clock
from apps.laundering.models import LoadCorrection
from tests.cast import NOON, LabTestCase, a_marked_request, in_a_load, washed_and_dried, with_originals
from tests.walls.page import Page

SECONDS = timedelta(seconds=40)


class CorrectPageTests(LabTestCase):
    def test_a_time_left_as_it_stood_is_the_very_time(self):
        """Made up, washed and dried within one minute, as the machines' buttons are tapped: the page shows minutes,
        and what it shows must not be taken for a time before the make-up."""
        with clock.set_to(NOON + SECONDS):
            request = with_originals(self, a_marked_request(self, at=NOON + SECONDS), at=NOON + SECONDS)
            load = in_a_load(self, request, at=NOON + SECONDS)
            washed_and_dried(self, load, at=NOON + SECONDS)
            self.sign_in(self.lou)
            url = f"/laundry/loads/{load.pk}/correct/"
            form = next(form for form in Page(self.client.get(url).content.decode(), url).forms if form.path == url)
            sent = form.as_it_stands() | {"reason": ["another lot"], "detergent_lot": ["L-2"]}
            self.assertEqual(sent["wash_started_at"], ["2026-03-02T12:00"])
            self.assertEqual(self.client.post(url, sent).status_code, 302)
        row = LoadCorrection.objects.get()
        self.assertEqual((row.wash_started_at, row.wash_ended_at), (load.made_up_at, load.made_up_at))

    def test_a_time_that_was_typed_is_taken_as_typed(self):
        with clock.set_to(NOON + timedelta(hours=3)):
            request = with_originals(self, a_marked_request(self))
            load = in_a_load(self, request)
            washed_and_dried(self, load, at=NOON + timedelta(hours=1, seconds=7))
            self.sign_in(self.lou)
            url = f"/laundry/loads/{load.pk}/correct/"
            form = next(form for form in Page(self.client.get(url).content.decode(), url).forms if form.path == url)
            sent = form.as_it_stands() | {"reason": ["begun earlier"], "wash_started_at": ["2026-03-02T12:30"]}
            self.assertEqual(self.client.post(url, sent).status_code, 302)
        row = LoadCorrection.objects.get()
        self.assertEqual(row.wash_started_at, NOON + timedelta(minutes=30))
        self.assertEqual(row.wash_ended_at, NOON + timedelta(hours=1, seconds=7))
