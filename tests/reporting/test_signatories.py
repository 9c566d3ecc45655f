"""Who signs for which method: granted, ended, and asked when a report is approved."""

import uuid

import pytest
from django.urls import reverse

from apps.core.errors import Refusal
from apps.methods.models import TestMethod
from apps.reporting import services
from apps.reporting.facts import Facts
from apps.reporting.models import Report, Signatory
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase, a_person
from tests.reporting.support import a_finished_job, approve, requests_of


class SignatoryTestCase(LabTestCase):
    def setUp(self):
        self.method = TestMethod.objects.get(code="aatcc-tm135-2018-small")
        self.max = a_person("max", "Max Second", manager=True)
        self.how = {"method_id": self.method.pk, "by": self.mara, "at": NOON}
        self.sign_in(self.mara)

    def grant(self, person=None, *, deputy: bool = False, **more) -> Signatory:
        person = person or self.max
        return services.grant_signatory(person_id=person.pk, deputy=deputy, **{**self.how, **more})


class GrantTests(SignatoryTestCase):
    def test_signs_only_with_a_grant(self):
        (request,) = requests_of(a_finished_job(self))
        with pytest.raises(Refusal, match="no signatory for AATCC TM135-2018") as caught:
            approve(self, request, by=self.max)
        assert caught.value.code == "not_signatory"
        self.grant(deputy=True)
        report = approve(self, request, by=self.max)
        assert Facts.read(report.facts).authorised_by == "Max Second, lab manager, deputy signatory"
        assert TrailEntry.objects.get(kind="report.approved").facts["as"] == "deputy signatory"

    def test_ended_signs_no_more_and_what_is_signed_stays(self):
        first, second = requests_of(a_finished_job(self, samples=2))
        approve(self, first)
        row = Signatory.objects.get(method=self.method, person=self.mara)
        services.end_signatory(signatory_id=row.pk, reason="moved to sales", by=self.max, at=NOON)
        with pytest.raises(Refusal, match="no signatory"):
            approve(self, second)
        assert Report.objects.count() == 1
        again = self.grant(self.mara, by=self.max)
        assert again != row and approve(self, second)

    def test_refuses(self):
        self.grant()
        for code, person, more in (
            ("signs_already", self.max, {}),
            ("not_manager", self.bea, {}),
            ("not_manager", self.casey, {}),
            ("not_manager", self.lou, {"by": self.bea}),
        ):
            with pytest.raises(Refusal) as caught:
                self.grant(person, **more)
            assert caught.value.code == code
        row = Signatory.objects.get(person=self.max)
        for code, more in (("no_reason", {"reason": " "}), ("not_manager", {"by": self.bea})):
            with pytest.raises(Refusal) as caught:
                services.end_signatory(**{"signatory_id": row.pk, "reason": "x", "by": self.mara, "at": NOON, **more})
            assert caught.value.code == code
        services.end_signatory(signatory_id=row.pk, reason="x", by=self.mara, at=NOON)
        with pytest.raises(Refusal, match="no more already"):
            services.end_signatory(signatory_id=row.pk, reason="x", by=self.mara, at=NOON)

    def test_the_same_key_is_one_grant(self):
        key = uuid.uuid4()
        assert self.grant(key=key) == self.grant(key=key)


class PageTests(SignatoryTestCase):
    def page(self) -> str:
        return self.client.get(reverse("reporting:signatories")).content.decode()

    def test_grants_and_ends(self):
        url = reverse("reporting:grant", args=[self.method.pk])
        key = str(uuid.uuid4())
        for _ in range(2):
            answer = self.client.post(url, {"person": self.max.pk, "deputy": "on", "key": key})
            assert answer.status_code == 302
        row = Signatory.objects.get(person=self.max)
        assert row.deputy and "Max Second" in self.page()
        answer = self.client.post(reverse("reporting:end", args=[row.pk]), {"reason": "left"})
        assert answer.status_code == 302
        row.refresh_from_db()
        assert (row.end_reason, row.ended_by) == ("left", self.mara)

    def test_bad_input(self):
        url = reverse("reporting:grant", args=[self.method.pk])
        for person in ("", "x", "1e999", "-1", self.bea.pk, "\x00", self.mara.pk):
            answer = self.client.post(url, {"person": person})
            assert answer.status_code == 422 and 'class="error"' in answer.content.decode(), person
        row = Signatory.objects.get(method=self.method, person=self.mara)
        for reason in ("", " ", "\x00", "x" * 10_000):
            answer = self.client.post(reverse("reporting:end", args=[row.pk]), {"reason": reason})
            assert answer.status_code == 422 and 'class="error"' in answer.content.decode(), reason[:9]
        assert self.client.post(reverse("reporting:end", args=[987654321]), {"reason": "x"}).status_code == 404

    def test_review_says_so_before(self):
        job = a_finished_job(self)
        url = reverse("reporting:review", args=[job.number])
        assert "You are no signatory" not in self.client.get(url).content.decode()
        self.sign_in(self.max)
        assert "You are no signatory" in self.client.get(url).content.decode()

    def test_does_not_grow(self):
        with self.assertNumQueries(7):
            self.page()
        Signatory.objects.bulk_create(
            Signatory(method=self.method, person=a_person(f"m{n}", f"M {n}", manager=True), since=NOON)
            for n in range(22)
        )
        with self.assertNumQueries(7):
            self.page()
