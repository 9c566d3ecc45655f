"""Work that takes another course: tested anew, stopped early, washed on, cancelled; results of other laboratories."""

import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from apps.core.errors import Refusal, RequestIsLocked
from apps.intake.models import Deviation, Request
from apps.measuring import services as measuring
from apps.reporting import services
from apps.reporting.facts import Facts
from apps.reporting.models import Cancellation, ExternalResult, Retest
from apps.reporting.pdf import build
from apps.reporting.queries import obstacles, review
from tests.cast import NOON, LabTestCase, a_marked_request, after_cycle, with_originals, with_readings
from tests.reporting.support import LIMITS, SHRUNK, a_finished_job, approve, finished, requests_of
from tests.reporting.test_pdf import pages_of

THREE = {"cycles": 3, "measured_after": (1, 3)}


class RetestTests(LabTestCase):
    def setUp(self):
        self.job = a_finished_job(self, **LIMITS)
        (self.first,) = requests_of(self.job)

    def order(self, **more) -> Request:
        said = {"asked_by": "customer", "reason": "the customer doubts it", "cause": "", "enough_cloth": True}
        return services.order_retest(**{"request_id": self.first.pk, "by": self.fran, "at": NOON, **said, **more})

    def test_new_specimens_and_both_are_reported(self):
        again = self.order(cause="the rule was bent")
        assert (str(again), again.cycles) == (f"{self.job.number}-A/2", 1)
        finished(self, again)
        assert [s.short_code for s in again.specimens.all()] == ["A4", "A5", "A6"]
        with pytest.raises(Refusal, match="The first result is told too"):
            approve(self, again)
        report = approve(self, self.first, again)
        facts = Facts.read(report.facts)
        (told,) = facts.retests_told
        assert told == (
            "A/2 tests A/1 anew with new specimens, asked for by the customer: the customer doubts it. "
            "Cause found for the first result: the rule was bent. The first result stays."
        )
        text = " ".join(pages_of(build(facts)))
        assert told in text and "A1, A2, A3" in text and "A4, A5, A6" in text

    def test_after_the_first_is_reported(self):
        approve(self, self.first)
        again = finished(self, self.order())
        assert Facts.read(approve(self, again).facts).retests_told

    def test_refuses(self):
        fresh = a_marked_request(self)
        for code, more in (
            ("no_reason", {"reason": " "}),
            ("asked_by", {"asked_by": "chance"}),
            ("not_desk", {"by": self.bea}),
            ("no_result", {"request_id": fresh.pk}),
        ):
            with pytest.raises(Refusal) as caught:
                self.order(**more)
            assert caught.value.code == code
        assert not Retest.objects.exists()

    def test_a_double_tap_orders_one(self):
        key = uuid.uuid4()
        assert self.order(key=key) == self.order(key=key)
        assert Retest.objects.count() == 1

    def test_the_database_keeps_it(self):
        self.order()
        for sql in ("UPDATE reporting_retest SET reason = 'x'", "DELETE FROM reporting_retest"):
            with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(sql)
        (other,) = requests_of(a_finished_job(self))
        how = {"asked_by": "lab", "reason": "x", "by": self.mara, "at": NOON}
        with pytest.raises(IntegrityError), transaction.atomic():
            Retest.objects.create(request=other, first=self.first, **how)


class CyclesTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **THREE, **LIMITS)
        with_originals(self, self.request)

    def washed_and_read(self, cycle: int = 1) -> None:
        after_cycle(self, self.request)
        if cycle in (1, 3):
            with_readings(self, self.request, cycle, SHRUNK * 3)

    def change(self, cycles: int, **more) -> Request:
        said = {"agreed_with": "Casey Quellbach, 2 March", "reason": "the first cycle failed", "shown": 3}
        how = {"request_id": self.request.pk, "by": self.mara, "at": NOON}
        return services.change_cycles(cycles=cycles, **{**how, **said, **more})

    def test_stopped_after_the_first_cycle(self):
        self.washed_and_read()
        request = self.change(1)
        assert (request.cycles, request.measured_after) == (1, "1")
        assert {s.stage for s in request.specimens.all()} == {"done"}
        report = approve(self, request)
        told = " ".join(row["text"] for row in Facts.read(report.facts).deviations)
        assert "Stopped after cycle 1, ordered were 3; Casey Quellbach, 2 March agreed: the first cycle failed" in told

    def test_washed_on(self):
        self.washed_and_read()
        self.change(1)
        request = self.change(2, shown=1, reason="one more, please")
        assert (request.measured_after, {s.stage for s in request.specimens.all()}) == ("1,2", {"ready"})
        after_cycle(self, request)
        with_readings(self, request, 2, SHRUNK * 3)
        assert not obstacles([Request.objects.get(pk=request.pk)])[request.pk]
        assert "Went on to cycle 2, ordered were 1" in Deviation.objects.filter(kind="change").last().text

    def test_refuses(self):
        with pytest.raises(Refusal, match="Choose another"):
            self.change(3)
        self.washed_and_read()
        self.washed_and_read(2)
        for code, cycles, more in (
            ("beyond", 1, {}),
            ("not_read", 2, {}),
            ("cycles", 2, {"shown": 5}),
            ("cycles", 51, {}),
            ("cycles", 0, {}),
            ("agreed_with", 5, {"agreed_with": " "}),
            ("no_reason", 5, {"reason": ""}),
            ("not_desk", 5, {"by": self.bea}),
        ):
            with pytest.raises(Refusal) as caught:
                self.change(cycles, **more)
            assert caught.value.code == code, (cycles, more, caught.value)

    def test_not_while_it_is_in_the_water_nor_after_the_report(self):
        from tests.cast import in_a_load

        self.washed_and_read()
        load = in_a_load(self, self.request)
        with pytest.raises(Refusal, match="lies in a load"):
            self.change(1)
        assert load.pk
        (other,) = requests_of(a_finished_job(self))
        approve(self, other)
        with pytest.raises(RequestIsLocked):
            self.change(2, request_id=other.pk, shown=1)


class CancelTests(LabTestCase):
    def cancel(self, request, **more):
        said = {"asked_by": "Casey", "reason": "the season is over", "whole_sample": False}
        return services.cancel_requests(**{"request_id": request.pk, "by": self.fran, "at": NOON, **said, **more})

    def test_sets_all_aside_and_the_rest_goes_on(self):
        first, second = requests_of(a_finished_job(self, samples=2))
        self.cancel(second)
        assert {s.stage for s in second.specimens.all()} == {"set_aside"}
        assert obstacles([Request.objects.get(pk=second.pk)])[second.pk] == ["Cancelled: the season is over"]
        facts = Facts.read(approve(self, first).facts)
        assert facts.not_covered_told == ""
        assert facts.cancelled_told == "Cancelled before it was reported: B/1: the season is over."
        assert facts.cancelled_told in " ".join(pages_of(build(facts)))

    def test_nothing_more_happens_to_it(self):
        request = a_marked_request(self)
        self.cancel(request)
        with pytest.raises(RequestIsLocked, match="is cancelled"):
            with_originals(self, request)
        with pytest.raises(RequestIsLocked, match="is cancelled"):
            self.cancel(request)

    def test_before_anything_is_cut(self):
        request = requests_of(a_finished_job(self))[0]
        again = services.order_retest(
            request_id=request.pk, asked_by="lab", reason="x", cause="", enough_cloth=True, by=self.mara, at=NOON
        )
        self.cancel(again)
        with pytest.raises(RequestIsLocked):
            measuring.cut_and_mark(request_id=again.pk, count=3, fewer_reason="", by=self.bea, at=NOON)
        self.sign_in(self.bea)
        assert str(again) not in self.client.get(reverse("measuring:bench")).content.decode()

    def test_a_sample_that_is_withdrawn(self):
        job = a_finished_job(self)
        (first,) = requests_of(job)
        approve(self, first)
        how = {"asked_by": "lab", "reason": "x", "cause": "", "enough_cloth": True, "by": self.mara, "at": NOON}
        one = services.order_retest(request_id=first.pk, **how)
        two = services.order_retest(request_id=first.pk, **how)
        assert self.cancel(one, whole_sample=True) == [one, two]
        first.refresh_from_db()
        assert first.lock == "locked" and Cancellation.objects.count() == 2

    def test_refuses_what_is_reported_and_who_may_not(self):
        (request,) = requests_of(a_finished_job(self))
        for code, more in (
            ("no_reason", {"reason": ""}),
            ("asked_by", {"asked_by": " "}),
            ("not_desk", {"by": self.lou}),
        ):
            with pytest.raises(Refusal) as caught:
                self.cancel(request, **more)
            assert caught.value.code == code
        approve(self, request)
        with pytest.raises(RequestIsLocked):
            self.cancel(request)
        how = {"asked_by": "x", "reason": "x", "by": self.mara, "at": NOON}
        with pytest.raises(IntegrityError), transaction.atomic():
            Cancellation.objects.create(request=request, **how)


class ExternalTests(LabTestCase):
    def setUp(self):
        self.job = a_finished_job(self)
        (self.request,) = requests_of(self.job)
        self.sign_in(self.fran)
        self.details = {
            "laboratory": "Farbwerk Labor, invented",
            "accreditation": "invented body no. 9",
            "test": "colour fastness to washing",
            "result": "4-5",
            "reference": "FW 12, 1 March",
            "consent": "Casey, 27 February",
        }

    def post(self, name: str, *args, **fields):
        return self.client.post(reverse(f"reporting:{name}", args=[self.request.pk, *args]), fields)

    def test_is_printed_as_theirs(self):
        pdf = SimpleUploadedFile("r.pdf", b"%PDF-1.4 theirs")
        assert self.post("external", file=pdf, **self.details).status_code == 302
        facts = Facts.read(approve(self, self.request).facts)
        text = " ".join(pages_of(build(facts)))
        assert "Results of other laboratories ‡" in text and "‡ " + self.request.sample.code in text
        assert "colour fastness to washing 4-5 Farbwerk Labor, invented" in text
        assert "Results marked ‡ come from other laboratories" in text
        assert "No result in this report comes from another laboratory." not in text

    def test_void_is_printed_no_more(self):
        self.post("external", **self.details)
        row = ExternalResult.objects.get()
        assert self.post("void_external", row.pk, reason="").status_code == 422
        assert self.post("void_external", row.pk, reason="another cloth").status_code == 302
        assert self.post("void_external", row.pk, reason="again").status_code == 422
        assert Facts.read(approve(self, self.request).facts).external == []
        for sql in ("UPDATE reporting_externalresult SET result = '9'", "DELETE FROM reporting_externalresult"):
            with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(sql)

    def test_bad_input(self):
        for name in ("laboratory", "test", "result", "reference", "consent"):
            for text in ("", " ", "\x00", "x" * 10_000):
                answer = self.post("external", **{**self.details, name: text})
                assert answer.status_code == 422 and 'class="error"' in answer.content.decode(), (name, text[:5])
        no_pdf = SimpleUploadedFile("r.pdf", b"<svg/>")
        assert "kept as a PDF" in self.post("external", file=no_pdf, **self.details).content.decode()
        assert not ExternalResult.objects.exists()


class PageTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **THREE)
        with_originals(self, self.request)
        after_cycle(self, self.request)
        with_readings(self, self.request, 1, SHRUNK * 3)
        self.sign_in(self.fran)

    def url(self, name: str = "course", request=None) -> str:
        return reverse(f"reporting:{name}", args=[(request or self.request).pk])

    def page(self, request=None) -> str:
        return self.client.get(self.url(request=request)).content.decode()

    def test_stops_tests_anew_and_cancels(self):
        fields = {"cycles": "1", "shown": "3", "agreed_with": "Casey", "reason": "failed"}
        assert self.client.post(self.url("cycles"), fields).status_code == 302
        assert "already" not in self.page() and "1 of 1" in self.page()
        key = {"key": str(uuid.uuid4())}
        fields = {"asked_by": "lab", "reason": "doubt", "enough_cloth": "on", **key}
        assert {self.client.post(self.url("retest"), fields).status_code for _ in range(2)} == {302}
        again = Retest.objects.get().request
        assert "Tested anew" in self.page() and "Retest" in self.page(again)
        assert self.client.post(self.url("cancel", again), {"asked_by": "Casey", "reason": "no"}).status_code == 302
        assert "Cancelled" in self.page(again)
        job = self.client.get(reverse("front:job", args=[self.request.sample.job.number])).content.decode()
        assert self.url() in job
        assert review(self.request.sample.job)

    def test_bad_input_keeps_what_was_typed(self):
        good = {"cycles": "1", "shown": "3", "agreed_with": "Casey \U0001f9fa", "reason": "failed"}
        for name in good:
            for text in ("", "\x00", "x" * 10_000):
                answer = self.client.post(self.url("cycles"), {**good, name: text})
                assert answer.status_code == 422, (name, text[:5])
        for number in ("1e999", "NaN", "-3", "0", "51", "2.5", "9" * 50):
            answer = self.client.post(self.url("cycles"), {**good, "cycles": number})
            assert answer.status_code == 422 and "Casey \U0001f9fa" in answer.content.decode(), number
        assert self.client.post(self.url("cycles"), {**good, "shown": "2"}).status_code == 422
        assert self.client.post(self.url("retest"), {"asked_by": "moon", "reason": "x"}).status_code == 422
        assert self.client.post(self.url("retest"), {}).status_code == 422
        assert self.client.post(self.url("cancel"), {"reason": "x"}).status_code == 422
        self.request.refresh_from_db()
        assert self.request.cycles == 3 and not Retest.objects.exists() and not Cancellation.objects.exists()

    def test_who_may(self):
        for user, code in ((self.bea, 403), (self.lou, 403), (self.casey, 403), (None, 302)):
            self.sign_in(user)
            assert self.client.get(self.url()).status_code == code
            for name in ("cycles", "retest", "cancel", "external"):
                assert self.client.post(self.url(name), {}).status_code == code

    def test_does_not_grow(self):
        from django.test.utils import CaptureQueriesContext

        counts = []
        for _ in range(2):
            with CaptureQueriesContext(connection) as asked:
                self.page()
            counts.append(len(asked))
            for n in range(11):
                how = {"reason": str(n), "asked_by": "lab", "cause": "", "enough_cloth": True, "by": self.mara}
                services.order_retest(request_id=self.request.pk, at=NOON, **how)
        assert counts[0] == counts[1], counts
