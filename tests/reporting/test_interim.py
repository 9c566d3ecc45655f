"""An interim report says how far the work is, is frozen, and locks nothing."""

import pytest
from django.urls import reverse

from apps.core.errors import Refusal
from apps.intake.models import Request
from apps.measuring import services as measuring
from apps.reporting import queries, services
from apps.reporting.facts import Facts
from apps.reporting.models import Report
from tests.cast import NOON, PASSWORD, LabTestCase, a_marked_request, after_cycle, with_originals, with_readings
from tests.reporting.support import SHRUNK, approve
from tests.reporting.test_pdf import pages_of

TWO = {"cycles": 2, "measured_after": (1, 2)}


class InterimTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **TWO)
        with_originals(self, self.request)

    def first_cycle(self) -> Request:
        after_cycle(self, self.request)
        return with_readings(self, self.request, 1, SHRUNK * 3)

    def last_cycle(self) -> Request:
        after_cycle(self, self.request)
        return with_readings(self, self.request, 2, SHRUNK * 3)

    def issued(self, report: Report) -> queries.Issued:
        return queries.Issued(queries.reports(self.casey).get(pk=report.pk))

    def test_is_frozen_and_locks_nothing(self):
        self.first_cycle()
        report = approve(self, self.request, interim=True)
        services.build_pending(limit=5, now=NOON)
        self.request.refresh_from_db()
        assert (report.interim, report.number[-3:], self.request.lock) == (True, "-01", "open")
        first = pages_of(bytes(report.files.get().blob.content))[0]
        assert "Interim test report" in first and "a final report takes its place" in first
        assert self.issued(report).state == "interim"
        self.last_cycle()
        final = approve(self, self.request)
        services.build_pending(limit=5, now=NOON)
        assert (final.number[-3:], final.interim) == ("-02", False)
        assert f"takes the place of the interim report {report.number}" in Facts.read(final.facts).follows_told
        stands = self.issued(report)
        assert (stands.state, stands.followed_by, stands.in_force) == ("superseded", final.number, False)
        assert self.issued(final).state == "issued"

    def test_refuses_what_has_no_result_yet(self):
        with pytest.raises(Refusal, match="no result yet"):
            approve(self, self.request, interim=True)
        self.first_cycle()
        with pytest.raises(Refusal, match="Not ready"):
            approve(self, self.request)

    def test_is_not_amended_but_may_be_withdrawn(self):
        self.first_cycle()
        report = approve(self, self.request, interim=True)
        how = {"report_id": report.pk, "reason": "x", "by": self.mara, "at": NOON}
        with pytest.raises(Refusal) as caught:
            services.open_amendment(opened_for="wording", **how)
        assert caught.value.code == "interim"
        services.withdraw(**how)
        self.last_cycle()
        assert Facts.read(approve(self, self.request).facts).follows_told == ""

    def test_an_amended_request_gives_no_interim_report(self):
        self.first_cycle()
        self.last_cycle()
        report = approve(self, self.request)
        services.open_amendment(report_id=report.pk, reason="x", opened_for="wording", by=self.mara, at=NOON)
        with pytest.raises(Refusal, match="as a revision"):
            approve(self, self.request, interim=True)

    def test_readings_may_still_be_put_right(self):
        self.first_cycle()
        approve(self, self.request, interim=True)
        reading = self.request.specimens.first().pairs.first().readings.get(stage=1)
        how = {"text": "246", "unit": "mm", "reason": "slip", "by": self.bea, "at": NOON}
        assert measuring.correct_reading(reading_id=reading.pk, **how).text == "246"

    def test_on_the_page(self):
        self.first_cycle()
        self.sign_in(self.mara)
        number = self.request.sample.job.number
        page = self.client.get(reverse("reporting:review", args=[number])).content.decode()
        assert "still going on: interim only" in page and "checked" not in page
        url = reverse("reporting:approve", args=[number])
        (one,) = queries.review(self.request.sample.job).reviewed
        form = {"requests": [self.request.pk], "password": PASSWORD, f"shown-{self.request.pk}": one.mark}
        answer = self.client.post(url, form)
        assert answer.status_code == 422 and "Not ready" in answer.content.decode()
        assert self.client.post(url, {**form, "interim": "on"}).status_code == 302
        report = Report.objects.get()
        page = self.client.get(reverse("reporting:report", args=[report.number])).content.decode()
        assert "interim" in page and "Amend this report" not in page and "Withdraw it" in page
        self.sign_in(self.casey)
        services.build_pending(limit=5, now=NOON)
        assert "The work went on" in self.client.get(reverse("reporting:report", args=[report.number])).content.decode()
        assert "Reported" not in self.client.get(reverse("portal:jobs")).content.decode().split("<tbody>")[1]
