"""Opening, closing and withdrawing in a browser, and what a report's page says meanwhile."""

import uuid

from django.urls import reverse

from apps.measuring import services as measuring
from apps.measuring.models import Reading
from apps.reporting import services
from apps.reporting.models import Amendment, AmendmentClosing, Withdrawal
from tests.cast import NOON, LabTestCase
from tests.reporting.support import LIMITS, an_issued_report

HARM = ["", " ", "\x00", "x" * 10_000]


class AmendPagesTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.report = an_issued_report(cls, **LIMITS)

    def setUp(self):
        self.sign_in(self.mara)

    def url(self, name: str) -> str:
        return reverse(f"reporting:{name}", args=[self.report.number])

    def page(self, name: str = "report") -> str:
        return self.client.get(self.url(name)).content.decode()

    def amend(self, **fields):
        return self.client.post(self.url("amend"), {"reason": "a slip", "opened_for": "readings", **fields})

    def test_opens_and_says_so_to_everybody(self):
        assert "in force" in self.page() and f"{self.report.number}-R1" in self.page("amend")
        answer = self.amend()
        assert answer.url == self.url("report")
        told = self.page()
        assert "being amended" in told and "a slip" in told and "Close without a change" in told
        assert "Amend this report" not in told
        self.sign_in(self.casey)
        told = self.page()
        assert "being amended" in told and "still in force" in told
        assert "a slip" not in told and "Close without" not in told
        job = self.client.get(reverse("portal:job", args=[self.report.job.number])).content.decode()
        assert "being amended" in job

    def test_a_double_tap_opens_one(self):
        key = str(uuid.uuid4())
        assert {self.amend(key=key).status_code for _ in range(2)} == {302}
        assert Amendment.objects.count() == 1

    def test_bad_input_keeps_what_was_typed(self):
        for reason in HARM:
            assert self.amend(reason=reason).status_code == 422, reason[:9]
            assert self.client.post(self.url("withdraw"), {"reason": reason}).status_code == 422, reason[:9]
        answer = self.amend(opened_for="everything", reason="digits swapped \U0001f9fa")
        assert answer.status_code == 422 and "digits swapped \U0001f9fa" in answer.content.decode()
        assert not Amendment.objects.exists() and not Withdrawal.objects.exists()

    def test_a_stale_page_is_told(self):
        self.amend()
        answer = self.amend(reason="another")
        assert answer.status_code == 422 and "already open" in answer.content.decode()
        services.approve_revision(report_id=self.report.pk, password_ok=True, by=self.mara, at=NOON)
        for name in ("amend", "withdraw", "close_amendment"):
            answer = self.client.post(self.url(name), {"reason": "x", "opened_for": "readings"})
            assert answer.status_code == 422, name

    def test_closes_without_a_change(self):
        self.amend()
        answer = self.client.post(self.url("close_amendment"), {"reason": "it was right"})
        assert answer.url == self.url("report")
        assert AmendmentClosing.objects.get().reason == "it was right"
        told = self.page()
        assert "in force" in told and "nothing changed: it was right" in told

    def test_does_not_close_over_a_change(self):
        self.amend()
        old = Reading.objects.filter(stage=1, voided_at=None).first()
        how = {"text": "240", "unit": "mm", "reason": "digits swapped", "by": self.bea, "at": NOON}
        measuring.correct_reading(reading_id=old.pk, **how)
        answer = self.client.post(self.url("close_amendment"), {"reason": "it was right"})
        assert answer.status_code == 422 and "Something was changed" in answer.content.decode()

    def test_replaced_stays_readable_and_says_by_what(self):
        self.amend()
        revised = services.approve_revision(report_id=self.report.pk, password_ok=True, by=self.mara, at=NOON)
        services.build_pending(limit=9, now=NOON)
        told = self.page()
        assert "superseded" in told and revised.number in told and "Amend this report" not in told
        told = self.client.get(reverse("reporting:report", args=[revised.number])).content.decode()
        assert "amends and replaces report" in told and "a slip" in told
        self.sign_in(self.casey)
        assert "superseded" in self.page()

    def test_withdraws(self):
        answer = self.client.post(self.url("withdraw"), {"reason": "wrong cloth"})
        assert answer.url == self.url("report")
        assert "withdrawn" in self.page() and "wrong cloth" in self.page()
        self.sign_in(self.casey)
        assert "wrong cloth" in self.page()

    def test_who_may(self):
        for user, code in ((self.bea, 403), (self.lou, 403), (self.casey, 403), (None, 302)):
            self.sign_in(user)
            for name in ("amend", "close_amendment", "withdraw"):
                assert self.client.post(self.url(name), {"reason": "x", "opened_for": "limits"}).status_code == code
        assert not Amendment.objects.exists()
