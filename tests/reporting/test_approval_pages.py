"""The manager's pages: what is ready, the review, and approving with the password once more."""

import re
import uuid
from urllib.parse import quote

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apps.intake import services as intake
from apps.intake.models import Deviation, SendBack
from apps.measuring import services as measuring
from apps.measuring.models import Reading
from apps.reporting import services
from apps.reporting.models import Report
from tests.cast import NOON, PASSWORD, LabTestCase, a_received_job
from tests.reporting.support import LIMITS, a_finished_job, approve, finished, requests_of

HARM = ["", " ", "\x00", "x" * 10_000, "🧺", "1e999", "NaN", "-1", "<script>alert(1)</script>"]


class PagesTestCase(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.job = a_finished_job(cls, samples=2, cycles=3, measured_after=(1, 3), **LIMITS)
        cls.first, cls.second = requests_of(cls.job)

    def setUp(self):
        self.sign_in(self.mara)

    def url(self, name: str, *more) -> str:
        return reverse(f"reporting:{name}", args=[self.job.number, *more])

    def page(self) -> str:
        return self.client.get(self.url("review")).content.decode()

    def form(self, **changes) -> dict:
        """What the page would post: its marks, a key, all that is ready."""
        page = self.page()
        fields = dict(re.findall(r'name="(shown-\d+)" value="([^"]*)"', page))
        fields["key"] = str(uuid.uuid4())
        fields["requests"] = re.findall(r'name="requests" value="(\d+)"', page)
        return {**fields, "password": PASSWORD, **changes}

    def note(self, text: str) -> Deviation:
        about = {"job_id": self.job.pk, "request_id": self.first.pk}
        return intake.deviate(**about, kind="other", text=text, by=self.lou, at=NOON)

    def post(self, name: str, *more, **fields):
        return self.client.post(self.url(name, *more), fields)


class ApprovalsPageTests(PagesTestCase):
    def test_lists_what_is_ready_and_why_the_rest_is_not(self):
        intake.send_back(request_id=self.second.pk, to="bench", reason="B1 looks odd", by=self.mara, at=NOON)
        going = a_received_job(self)
        page = self.client.get(reverse("reporting:approvals")).content.decode()
        assert self.job.number in page and going.number not in page
        assert "Sent back to the bench: B1 looks odd" in page
        assert page.count("Sent back, not yet answered") == 1

    def test_empty(self):
        approve(self, self.first, self.second)
        assert "Nothing waits for you" in self.client.get(reverse("reporting:approvals")).content.decode()

    def test_who_may(self):
        for name, user in self.__class__.cast_by_role(self).items():
            self.sign_in(user)
            status = self.client.get(reverse("reporting:approvals")).status_code
            assert status == {"nobody": 302, "mara": 200}.get(name, 403), name

    def cast_by_role(self):
        people = ("fran", "bea", "lou", "mara", "casey", "dana")
        return {"nobody": None, **{name: getattr(self, name) for name in people}}

    def test_queries_do_not_grow(self):
        def count() -> int:
            with CaptureQueriesContext(connection) as captured:
                self.client.get(reverse("reporting:approvals"))
            return len(captured)

        one = count()
        for request in requests_of(a_received_job(self, samples=21)):
            finished(self, request, count=1)
        assert count() == one


class ReviewPageTests(PagesTestCase):
    def test_shows_figures_and_what_is_out_of_the_ordinary(self):
        reading = Reading.objects.filter(pair__specimen__request=self.first, stage=3).first()
        measuring.correct_reading(
            reading_id=reading.pk, text="246", unit="mm", reason="digits swapped", by=self.bea, at=NOON
        )
        intake.deviate(
            job_id=self.job.pk, kind="other", text="lint on A2", request_id=self.first.pk, by=self.lou, at=NOON
        )
        page = self.page()
        for part in ("digits swapped", "lint on A2", "not yet held against the standard", "−0.8 %", "<svg", "Pass"):
            assert part in page, part
        assert page.index("digits swapped") < page.index("−0.8 %")

    def test_nothing_ready_nothing_to_approve(self):
        job = a_received_job(self)
        page = self.client.get(reverse("reporting:review", args=[job.number])).content.decode()
        assert "No request of this job is ready." in page and "No specimen is cut yet." in page

    def test_who_may(self):
        for name, user in {"nobody": None, "fran": self.fran, "bea": self.bea, "casey": self.casey}.items():
            self.sign_in(user)
            for url in (self.url("review"), self.url("approve")):
                ask = self.client.post if url.endswith("approve/") else self.client.get
                assert ask(url).status_code == (302 if name == "nobody" else 403), (name, url)
        assert not Report.objects.exists()

    def test_unknown_job(self):
        for number in ("26-99999X", "x" * 300, "🧺", "\x00", "'--"):
            assert self.client.get(f"/approvals/{quote(number)}/").status_code == 404

    def test_queries_do_not_grow(self):
        def count(samples: int) -> int:
            job = a_received_job(self, samples=samples)
            for request in requests_of(job):
                finished(self, request, count=1)
            with CaptureQueriesContext(connection) as captured:
                assert self.client.get(reverse("reporting:review", args=[job.number])).status_code == 200
            return len(captured)

        assert count(2) == count(7)


class ApproveTests(PagesTestCase):
    def test_issues_the_report(self):
        answer = self.client.post(self.url("approve"), self.form())
        report = Report.objects.get()
        assert answer.url == reverse("reporting:report", args=[report.number])
        page = self.client.get(answer.url).content.decode()
        assert "is issued. Its file is being made." in page and "The PDF is being made." in page

    def test_only_the_chosen(self):
        self.client.post(self.url("approve"), self.form(requests=[str(self.second.pk)]))
        assert [c.request for c in Report.objects.get().covers.all()] == [self.second]

    def test_a_wrong_password_is_said_beside_it_and_nothing_is_lost(self):
        for password in (*HARM, "wrong"):
            answer = self.client.post(self.url("approve"), self.form(password=password, requests=[str(self.second.pk)]))
            page = answer.content.decode()
            assert answer.status_code == 422, password[:20]
            assert 'class="error"' in page.split('id="div_id_password"')[1]
            assert f'value="{self.second.pk}" ' in page and page.count("checked") == 1
            assert password.strip() == "" or f'value="{password}"' not in page
        assert not Report.objects.exists()

    def test_nothing_chosen_and_tampered_requests(self):
        for wanted in ([], ["x"], ["-1"], ["1e999"], ["9" * 30], ["\x00"], ["🧺"], [str(self.first.pk), "999999"]):
            answer = self.client.post(self.url("approve"), self.form(requests=wanted))
            assert answer.status_code == 422, wanted
        assert not Report.objects.exists()

    def test_missing_fields(self):
        assert self.client.post(self.url("approve"), {}).status_code == 422
        assert self.client.post(self.url("approve"), {"key": "no", "password": PASSWORD}).status_code == 422

    def test_a_request_of_another_job_is_not_taken(self):
        other = requests_of(a_finished_job(self))[0]
        answer = self.client.post(self.url("approve"), self.form(requests=[str(other.pk)]))
        assert answer.status_code == 422
        assert not Report.objects.exists()

    def test_a_double_tap_leaves_one_report(self):
        form = self.form()
        first, second = (self.client.post(self.url("approve"), form) for _ in range(2))
        assert first.url == second.url and Report.objects.count() == 1

    def test_the_back_button_after_an_approval(self):
        self.client.post(self.url("approve"), self.form(requests=[str(self.first.pk)]))
        answer = self.client.post(self.url("approve"), self.form(requests=[str(self.first.pk)]))
        assert answer.status_code == 422 and "already issued" in answer.content.decode()

    def test_a_stale_page_is_shown_anew(self):
        form = self.form()
        intake.deviate(
            job_id=self.job.pk, kind="other", text="lint on A2", request_id=self.first.pk, by=self.lou, at=NOON
        )
        answer = self.client.post(self.url("approve"), form)
        page = answer.content.decode()
        assert answer.status_code == 422 and "since this page was opened" in page and "lint on A2" in page
        assert not Report.objects.exists()
        anew = dict(re.findall(r'name="(shown-\d+)" value="([^"]*)"', page))
        assert self.client.post(self.url("approve"), {**form, **anew}).status_code == 302

    def test_tampered_marks_do_not_approve(self):
        for mark in ("", "x", "\x00" * 70):
            form = {**self.form(), f"shown-{self.first.pk}": mark}
            assert self.client.post(self.url("approve"), form).status_code == 422
        assert not Report.objects.exists()

    def test_an_amended_report_is_proposed_alone(self):
        self.client.post(self.url("approve"), self.form(requests=[str(self.first.pk)]))
        report = Report.objects.get()
        services.open_amendment(report_id=report.pk, reason="x", opened_for="wording", by=self.mara, at=NOON)
        page = self.page()
        assert page.count("checked") == 1 and "opened by an amendment" in page
        self.client.post(self.url("approve"), self.form(requests=[str(self.first.pk)]))
        assert Report.objects.get(revision=1).replaces == report

    def test_who_read_values_is_told_so_before(self):
        assert "You read values here." not in self.page()
        self.bea = self.mara
        job = a_finished_job(self)
        page = self.client.get(reverse("reporting:review", args=[job.number])).content.decode()
        assert "You read values here." in page

    def test_get_is_refused(self):
        assert self.client.get(self.url("approve")).status_code == 405


class SendBackTests(PagesTestCase):
    def test_sends_back_with_a_reason(self):
        answer = self.post("send_back", self.first.pk, to="bench", reason="A1 length 2 looks odd")
        assert answer.url == self.url("review")
        row = SendBack.objects.get()
        assert (row.request, row.to, row.reason, row.by) == (self.first, "bench", "A1 length 2 looks odd", self.mara)
        assert "Sent back to the bench: A1 length 2 looks odd" in self.page()

    def test_a_double_tap_leaves_one(self):
        fields = {"to": "laundry", "reason": "which dryer?", "key": str(uuid.uuid4())}
        assert {self.post("send_back", self.first.pk, **fields).status_code for _ in range(2)} == {302}
        assert SendBack.objects.count() == 1

    def test_bad_input(self):
        for fields in (*({"to": "bench", "reason": text} for text in HARM[:4]), {}, {"to": "moon", "reason": "x"}):
            answer = self.post("send_back", self.first.pk, **fields)
            assert answer.status_code == 422, fields
            assert 'class="error"' in answer.content.decode()
        assert not SendBack.objects.exists()

    def test_not_of_this_job(self):
        other = requests_of(a_received_job(self))[0]
        assert self.post("send_back", other.pk, to="bench", reason="x").status_code == 404

    def test_who_may(self):
        for user in (self.bea, self.casey):
            self.sign_in(user)
            assert self.post("send_back", self.first.pk, to="bench", reason="x").status_code == 403


class JudgeTests(PagesTestCase):
    def setUp(self):
        super().setUp()
        self.deviation = intake.deviate(
            job_id=self.job.pk,
            kind="wash",
            text="bath at 40 °C",
            at_risk=True,
            request_id=self.first.pk,
            by=self.lou,
            at=NOON,
        )

    def test_holds_up_until_judged(self):
        assert f'name="requests" value="{self.first.pk}"' not in self.page()
        answer = self.post("judge", self.deviation.pk, judgement="no influence on the result")
        assert answer.url == self.url("review")
        page = self.page()
        assert f'name="requests" value="{self.first.pk}"' in page
        assert "Judged by Mara Manager: no influence on the result" in page

    def test_bad_input_and_twice(self):
        for text in HARM[:4]:
            assert self.post("judge", self.deviation.pk, judgement=text).status_code == 422, text[:9]
        assert self.post("judge", self.deviation.pk).status_code == 422
        self.post("judge", self.deviation.pk, judgement="fine")
        self.post("judge", self.deviation.pk, judgement="not fine")
        assert Deviation.objects.get(pk=self.deviation.pk).judgement == "fine"

    def test_not_of_this_job(self):
        other = a_received_job(self)
        row = intake.deviate(job_id=other.pk, kind="other", text="x", at_risk=True, by=self.lou, at=NOON)
        assert self.post("judge", row.pk, judgement="x").status_code == 404
        self.sign_in(self.lou)
        assert self.post("judge", self.deviation.pk, judgement="x").status_code == 403


@pytest.mark.once
def test_marks_are_only_of_what_is_shown():
    from apps.reporting.facts import seen
    from tests.reporting import paper

    facts, code = paper.facts(samples=2), "26-00147N-A/1"
    before = seen(facts, code)
    facts["requests"][1]["specimens"][0]["pairs"][0]["readings"][0]["text"] = "999"
    assert seen(facts, code) == before
    facts["requests"][0]["specimens"][0]["pairs"][0]["readings"][0]["text"] = "999"
    assert seen(facts, code) != before
