"""After issue: an amendment opens a report for one thing, a revision replaces it, a withdrawal ends it."""

import json
import uuid

import pytest

from apps.accounts.models import Outgoing
from apps.core.errors import Refusal, RequestIsLocked
from apps.intake import services as intake
from apps.measuring import services as measuring
from apps.measuring.models import Reading
from apps.reporting import queries, services
from apps.reporting.facts import Facts, changes
from apps.reporting.models import Amendment, Report
from tests.cast import NOON, LabTestCase
from tests.reporting import paper
from tests.reporting.support import LIMITS, an_issued_report, approve, requests_of


class AmendTests(LabTestCase):
    def setUp(self):
        self.report = an_issued_report(self, **LIMITS)
        (self.request,) = requests_of(self.report.job)

    def open_for(self, what: str, report: Report | None = None) -> Amendment:
        report_id = (report or self.report).pk
        how = {"reason": "a reading was wrong", "opened_for": what, "by": self.mara, "at": NOON}
        return services.open_amendment(report_id=report_id, **how)

    def correct_a_reading(self) -> Reading:
        old = Reading.objects.filter(pair__specimen__request=self.request, stage=1, voided_at=None).first()
        return measuring.correct_reading(
            reading_id=old.pk, text="240", unit="mm", reason="digits swapped", by=self.bea, at=NOON
        )

    def revise(self) -> Report:
        return services.approve_revision(report_id=self.report.pk, password_ok=True, by=self.mara, at=NOON)

    def test_opens_for_one_thing_only(self):
        with pytest.raises(RequestIsLocked):
            self.correct_a_reading()
        self.open_for("limits")
        with pytest.raises(RequestIsLocked):
            self.correct_a_reading()

    def test_a_revision_replaces_and_lists_what_changed(self):
        self.open_for("readings")
        self.correct_a_reading()
        revised = self.revise()
        assert revised.number == f"{self.report.number}-R1"
        assert (revised.revision, revised.replaces, revised.serial) == (1, self.report, self.report.serial)
        assert {request.lock for request in requests_of(self.report.job)} == {"locked"}
        amends = json.loads(revised.facts)["report"]["amends"]
        assert (amends["number"], amends["reason"]) == (self.report.number, "a reading was wrong")
        told = {change["what"]: (change["was"], change["now"]) for change in amends["changes"]}
        code = f"{self.report.job.number}-A/1"
        assert told[f"{code} A1 length 1 after cycle 1 mm"] == ("245.0", "240.0")
        assert told[f"{code} length after cycle 1 reported"] == ("−2.4", "−2.6")
        assert all("report" not in what for what in told if "reported" not in what)

    def test_the_replaced_report_stays_as_it_was(self):
        before = self.report.facts
        self.open_for("readings")
        self.correct_a_reading()
        self.revise()
        self.report.refresh_from_db()
        assert self.report.facts == before
        assert self.report.files.count() == 1

    def test_a_revision_of_a_revision(self):
        self.open_for("wording")
        second = self.revise()
        self.open_for("wording", second)
        third = services.approve_revision(report_id=second.pk, password_ok=True, by=self.mara, at=NOON)
        assert third.number.endswith("-01-R2") and third.replaces == second
        assert Facts.read(third.facts).amends["changes"] == []

    def test_customer_is_told_what_it_replaces(self):
        self.open_for("wording")
        revised = self.revise()
        services.build_pending(limit=5, now=NOON)
        letter = Outgoing.objects.order_by("pk").last()
        assert revised.number in letter.subject and f"replaces report {self.report.number}" in letter.body

    def test_limits_may_change_when_opened_for_them(self):
        self.open_for("limits")
        request = requests_of(self.report.job)[0]
        shown = intake.RequestDetails(
            method=request.method,
            procedure=request.procedure,
            drying=request.drying,
            review=None,
            cycles=request.cycles,
            measured_after=tuple(request.measured_cycles),
            decision_rule=request.decision_rule,
            **LIMITS,
        )
        wanted = intake.RequestDetails(**{**shown.__dict__, "length_lower": None})
        how = {"reason": "the customer's list had a slip", "by": self.fran, "at": NOON}
        intake.change_request(request_id=request.pk, shown=shown, request=wanted, **how)
        changes = Facts.read(self.revise().facts).amends["changes"]
        assert {"what": f"{request} limits length lower", "was": "−3.0", "now": ""} in changes

    def test_refuses_what_makes_no_sense(self):
        how = {"by": self.mara, "at": NOON}
        for code, report_id, more in (
            ("no_reason", self.report.pk, {"reason": "  ", "opened_for": "readings"}),
            ("opened_for", self.report.pk, {"reason": "x", "opened_for": "everything"}),
            ("not_manager", self.report.pk, {"reason": "x", "opened_for": "readings", "by": self.bea}),
        ):
            with pytest.raises(Refusal) as caught:
                services.open_amendment(report_id=report_id, **{**how, **more})
            assert caught.value.code == code
        self.open_for("readings")
        with pytest.raises(Refusal, match="already open"):
            self.open_for("limits")
        with pytest.raises(Refusal, match="already open"):
            services.withdraw(report_id=self.report.pk, reason="x", **how)
        self.revise()
        with pytest.raises(Refusal, match="replaced by"):
            self.open_for("readings")

    def test_an_amended_report_is_approved_whole(self):
        other = an_issued_report(self, samples=2)
        first, second = requests_of(other.job)
        self.open_for("readings", other)
        with pytest.raises(Refusal) as caught:
            approve(self, first)
        assert caught.value.code == "amendment_whole"
        assert approve(self, first, second).revision == 1

    def close(self, reason: str = "the reading was right", **more):
        how = {"report_id": self.report.pk, "by": self.mara, "at": NOON, **more}
        return services.close_amendment(reason=reason, **how)

    def test_closed_without_a_change(self):
        self.open_for("readings")
        assert queries.Issued(queries.reports(self.mara).get(pk=self.report.pk)).state == "amending"
        key = uuid.uuid4()
        assert self.close(key=key) == self.close(key=key)
        issued = queries.Issued(queries.reports(self.mara).get(pk=self.report.pk))
        assert (issued.state, issued.in_force) == ("issued", True)
        assert [request.lock for request in requests_of(self.report.job)] == ["locked"]
        with pytest.raises(RequestIsLocked):
            self.correct_a_reading()
        self.open_for("limits")
        assert self.report.amendments.count() == 2
        revised = self.revise()
        assert revised.amendment == self.report.amendments.latest("pk")

    def test_not_closed_over_a_change(self):
        self.open_for("readings")
        self.correct_a_reading()
        for code, more in (("changed", {}), ("no_reason", {"reason": " "}), ("not_manager", {"by": self.bea})):
            with pytest.raises(Refusal) as caught:
                self.close(**more)
            assert caught.value.code == code
        self.revise()
        with pytest.raises(Refusal, match="No amendment"):
            self.close()

    def test_not_closed_over_work_sent_back(self):
        self.open_for("readings")
        row = intake.send_back(request_id=self.request.pk, to="bench", reason="look again", by=self.mara, at=NOON)
        with pytest.raises(Refusal, match="sent back"):
            self.close()
        intake.answer_send_back(send_back_id=row.pk, answer="it is right", by=self.bea, at=NOON)
        self.close()

    def test_a_word_on_the_whole_job_is_no_change_of_the_report(self):
        self.open_for("readings")
        intake.deviate(job_id=self.report.job_id, kind="other", text="about sample B", by=self.lou, at=NOON)
        self.close()

    def test_withdrawn_once_and_told(self):
        withdrawal = services.withdraw(report_id=self.report.pk, reason="wrong cloth", by=self.mara, at=NOON)
        assert withdrawal.report == self.report
        letter = Outgoing.objects.order_by("pk").last()
        assert "withdrawn" in letter.subject and "wrong cloth" in letter.body
        with pytest.raises(Refusal, match="already withdrawn"):
            services.withdraw(report_id=self.report.pk, reason="again", by=self.mara, at=NOON)
        with pytest.raises(Refusal, match="already withdrawn"):
            self.open_for("readings")


@pytest.mark.once
def test_what_older_facts_do_not_tell_is_no_change():
    old, new = paper.facts(), paper.facts()
    del old["loads"][0]["spun"], old["requests"][0]["retest"]
    new["loads"][0]["water_temp_c"] = "50.0"
    new["deviations"] = [paper.a_deviation()]
    told = {change["what"]: (change["was"], change["now"]) for change in changes(old, new)}
    assert told.pop("run 11 water temp c") == ("49.5", "50.0")
    assert told and all(what.startswith("deviations wash 1") for what in told), told
