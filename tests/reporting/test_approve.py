"""The manager approves: facts are frozen, the report is issued, its requests are locked."""

import json
import uuid
from datetime import timedelta

import pytest
from django.db import connection

from apps.accounts.models import Lab
from apps.core.errors import KeyReused, Refusal, StalePage
from apps.intake import services as intake
from apps.intake.models import Request
from apps.measuring.queries import results_of
from apps.reporting import services
from apps.reporting.facts import Facts, freeze, seen
from apps.reporting.models import FileDue, Report, ReportRequest
from apps.trail.models import TrailEntry
from apps.trail.queries import broken_link
from tests.cast import NOON, LabTestCase, a_received_job
from tests.reporting.support import LIMITS, a_finished_job, approve, finished, requests_of


class ApproveTests(LabTestCase):
    def refused(self, code: str, *requests: Request, **more) -> Refusal:
        with pytest.raises(Refusal) as caught:
            approve(self, *requests, **more)
        assert caught.value.code == code, caught.value
        assert not Report.objects.filter(covers__request__in=requests).exists()
        return caught.value

    def test_issues_revision_0_and_locks(self):
        job = a_finished_job(self, samples=2, **LIMITS)
        report = approve(self, *requests_of(job))
        assert (report.number, report.revision, report.meaning) == (f"{job.number}-01", 0, "reviewed and authorised")
        assert {request.lock for request in requests_of(job)} == {"locked"}
        assert ReportRequest.objects.filter(report=report).count() == 2
        assert FileDue.objects.filter(report=report, done_at=None).count() == 1

    def test_facts_say_what_the_results_are(self):
        job = a_finished_job(self, cycles=2, measured_after=(1, 2), **LIMITS)
        (request,) = requests_of(job)
        facts = Facts.read(approve(self, request).facts)
        result = results_of([request])[request.pk]
        told = {(r["direction"], r["stage"]): r for r in facts.data["requests"][0]["results"]}
        assert len(told) == len(result.directions) == 4
        for direction in result.directions:
            row = told[direction.direction, direction.stage]
            assert row["reported"] == str(direction.reported)
            assert row["change"] == format(direction.summary.change, "f")
            assert row["verdict"]["state"] == direction.state
        assert [f.change for f in facts.requests[0].final] == ["−2.4", "−0.8"]
        assert [f.verdict for f in facts.requests[0].final] == ["pass", "pass"]

    def test_facts_hold_no_float_and_survive_being_read(self):
        report = approve(self, *requests_of(a_finished_job(self, **LIMITS)))
        assert Facts.read(report.facts).text == report.facts

        def leaves(value):
            if isinstance(value, dict):
                return [leaf for item in value.values() for leaf in leaves(item)]
            return [leaf for item in value for leaf in leaves(item)] if isinstance(value, list) else [value]

        assert not [leaf for leaf in leaves(json.loads(report.facts)) if isinstance(leaf, float)]

    def test_chain_head_in_the_facts_includes_the_approval(self):
        report = approve(self, *requests_of(a_finished_job(self)))
        approved, issued = TrailEntry.objects.filter(stream=report.job.stream).order_by("-seq")[:2][::-1]
        chain = json.loads(report.facts)["report"]["chain"]
        assert (approved.kind, approved.seq, approved.hash) == ("report.approved", chain["seq"], chain["hash"])
        assert (issued.kind, issued.facts["facts_sha256"]) == ("report.issued", report.facts_sha256)
        assert (report.chain_seq, report.chain_head) == (approved.seq, approved.hash)
        assert broken_link(report.job.stream) is None

    def test_the_rest_of_the_job_goes_on(self):
        job = a_received_job(self, samples=2)
        first, second = requests_of(job)
        finished(self, first)
        report = approve(self, first)
        assert Facts.read(report.facts).not_covered_told.startswith("Partial report: it covers 1 of the 2 tests")
        finished(self, second)
        other = approve(self, second)
        assert (report.number[-2:], other.number[-2:]) == ("01", "02")

    def test_a_double_tap_leaves_one_report(self):
        (request,) = requests_of(a_finished_job(self))
        key = uuid.uuid4()
        assert approve(self, request, key=key) == approve(self, request, key=key)
        assert Report.objects.count() == 1

    def test_the_same_key_for_another_request_is_refused(self):
        first, second = requests_of(a_finished_job(self, samples=2))
        key = uuid.uuid4()
        approve(self, first, key=key)
        with pytest.raises(KeyReused):
            approve(self, second, key=key)

    def test_refuses_who_may_not(self):
        (request,) = requests_of(a_finished_job(self))
        for person in (self.fran, self.bea, self.lou, self.casey):
            self.refused("not_manager", request, by=person)
        assert self.refused("password", request, password_ok=False).field == "password"
        self.refused("future", request, at=NOON + timedelta(hours=1))

    def test_refuses_what_is_not_ready(self):
        request = requests_of(a_received_job(self))[0]
        self.refused("not_ready", request)
        finished(self, request)
        intake.send_back(request_id=request.pk, to="bench", reason="look at A1 again", by=self.mara, at=NOON)
        assert "look at A1 again" in str(self.refused("not_ready", request))

    def test_refuses_at_risk_until_judged(self):
        (request,) = requests_of(a_finished_job(self))
        deviation = intake.deviate(
            job_id=request.sample.job_id,
            kind="wash",
            text="bath at 40 °C",
            at_risk=True,
            request_id=request.pk,
            by=self.lou,
            at=NOON,
        )
        self.refused("not_ready", request)
        intake.judge_deviation(deviation_id=deviation.pk, judgement="no influence", by=self.mara, at=NOON)
        told = Facts.read(approve(self, request).facts).deviations
        assert [(row["text"], row["judgement"]) for row in told] == [("bath at 40 °C", "no influence")]

    def test_refuses_two_jobs_none_and_one_that_is_issued(self):
        first, second = (requests_of(a_finished_job(self))[0] for _ in range(2))
        self.refused("several_jobs", first, second)
        self.refused("no_request")
        self.refused("several_jobs", first, request_ids=[first.pk, 999_999])
        approve(self, first)
        with pytest.raises(Refusal, match="already issued"):
            approve(self, first)

    def test_refuses_a_verdict_that_nobody_agreed(self):
        review = intake.ReviewDetails(can_do=True, enough_cloth=True, agreed=False)
        (request,) = requests_of(a_finished_job(self, review=review, **LIMITS))
        assert "agreed" in str(self.refused("not_ready", request))

    def test_who_read_may_not_approve_unless_the_lab_says_so(self):
        self.mara.bench = True
        self.mara.save(update_fields=["bench"])
        (request,) = requests_of(a_finished_job(self))
        self.bea = self.mara
        (own,) = requests_of(a_finished_job(self))
        approve(self, request)
        self.refused("reader", own)
        Lab.objects.update(reader_may_approve=True)
        facts = Facts.read(approve(self, own).facts)
        assert facts.authorised_by == "Mara Manager, lab manager, signatory (who also read values of this test)"

    def test_a_stale_page_is_sent_back(self):
        first, second = requests_of(a_finished_job(self, samples=2))
        facts = freeze([first, second])
        shown = {request.pk: seen(facts, str(request)) for request in (first, second)}
        intake.deviate(job_id=first.sample.job_id, kind="other", text="x", request_id=first.pk, by=self.bea, at=NOON)
        with pytest.raises(StalePage):
            approve(self, first, shown=shown)
        assert approve(self, second, shown=shown).number.endswith("-01")

    def test_a_draft_and_the_report_say_the_same(self):
        (request,) = requests_of(a_finished_job(self, **LIMITS))
        draft = freeze([request])
        issued = json.loads(approve(self, request).facts)
        people = [person for person in issued["people"] if person["name"] != "Mara Manager"]
        assert {**issued, "report": draft["report"], "people": people} == draft

    def test_the_report_names_who_marked_and_who_read(self):
        (request,) = requests_of(a_finished_job(self))
        facts = json.loads(approve(self, request).facts)
        did = {person["name"]: person["did"] for person in facts["people"]}
        self.assertEqual(did["Bea Bench"][:2], ["marked the specimens", "read the distances"])

    def test_queries_do_not_grow(self):
        from django.test.utils import CaptureQueriesContext

        def count(samples: int) -> int:
            requests = requests_of(a_finished_job(self, samples=samples, count=1))
            with CaptureQueriesContext(connection) as captured:
                freeze(requests)
            return len(captured)

        assert count(2) == count(6)


class VerificationCodeTests(LabTestCase):
    def test_is_twelve_clear_characters(self):
        report = approve(self, *requests_of(a_finished_job(self)))
        assert len(report.verification_code) == 12
        assert not set(report.verification_code) & set("01ILOUilou")
        assert services.approve.__doc__
