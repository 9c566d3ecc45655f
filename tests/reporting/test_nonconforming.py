"""Nonconforming work and complaints: recorded, followed up, customers told."""

import uuid
from datetime import date, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apps.accounts.models import Outgoing
from apps.core.errors import Refusal
from apps.reporting import services
from apps.reporting.models import Nonconformity, NonconformityNote
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase, a_received_job


class NonconformingTests(LabTestCase):
    def setUp(self):
        self.job, self.other = a_received_job(self), a_received_job(self, customer=self.zweitfaden)
        self.sign_in(self.bea)
        self.fields = {
            "kind": "work",
            "title": "bath too hot",
            "what": "the thermostat of W1 stuck",
            "found_on": "2026-03-02",
            "jobs": f"{self.job.number.lower()}, {self.other.number}",
        }

    def record(self, **more):
        return self.client.post(reverse("reporting:nonconformity_new"), {**self.fields, **more})

    def note(self, row, **fields):
        return self.client.post(reverse("reporting:nonconformity", args=[row.pk]), fields)

    def test_recorded_followed_up_and_customers_told(self):
        key = str(uuid.uuid4())
        assert {self.record(key=key).status_code for _ in range(2)} == {302}
        row = Nonconformity.objects.get()
        assert {touch.job for touch in row.touches.all()} == {self.job, self.other}
        self.sign_in(self.mara)
        Outgoing.objects.all().delete()
        assert self.note(row, kind="judged", text="two loads are void").status_code == 302
        assert not Outgoing.objects.exists()
        assert self.note(row, kind="told", text="We wash your cloth again.").status_code == 302
        letters = {letter.to: letter.body for letter in Outgoing.objects.all()}
        assert set(letters) == {"casey@example.com", "dana@example.com"}
        assert self.job.number in letters["casey@example.com"]
        assert self.other.number not in letters["casey@example.com"]
        assert self.note(row, kind="closed", text="done").status_code == 302
        assert "is closed" in self.note(row, kind="judged", text="more").content.decode()
        page = self.client.get(reverse("reporting:nonconforming")).content.decode()
        assert "closed" in page and self.job.number in page
        kinds = TrailEntry.objects.filter(stream=self.job.stream, kind__startswith="nonconformity")
        assert kinds.count() == 4

    def test_bad_input(self):
        for name in ("title", "what", "found_on"):
            for text in ("", "\x00", "x" * 10_000):
                assert self.record(**{name: text}).status_code == 422, (name, text[:5])
        assert "There is no job" in self.record(jobs="26-99999X").content.decode()
        tomorrow = (NOON + timedelta(days=1)).date().isoformat()
        assert "future" in self.record(found_on=tomorrow).content.decode()
        assert self.record(kind="moon").status_code == 422
        assert not Nonconformity.objects.exists()
        self.record(jobs="")
        row = Nonconformity.objects.get()
        self.sign_in(self.mara)
        for fields in ({}, {"kind": "judged", "text": ""}, {"kind": "x", "text": "x"}, {"kind": "told", "text": "x"}):
            assert self.note(row, **fields).status_code == 422, fields
        assert not NonconformityNote.objects.exists()

    def test_who_may(self):
        self.record()
        row = Nonconformity.objects.get()
        addresses = [reverse("reporting:nonconforming"), reverse("reporting:nonconformity", args=[row.pk])]
        for user, codes in ((self.bea, [200, 403]), (self.mara, [200, 200]), (self.casey, [403, 403])):
            self.sign_in(user)
            assert [self.client.get(address).status_code for address in addresses] == codes
        assert self.client.get(reverse("reporting:nonconformity", args=[987654])).status_code == 403

    def test_is_kept(self):
        self.record()
        row = Nonconformity.objects.get()
        how = {"nonconformity_id": row.pk, "by": self.mara, "at": NOON}
        services.note_nonconformity(kind="halted", text="W1 stands", **how)
        for table in ("nonconformity", "nonconformityjob", "nonconformitynote"):
            for sql in (f"DELETE FROM reporting_{table}", f"UPDATE reporting_{table} SET id = 99"):
                with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
                    cursor.execute(sql)
        with pytest.raises(Refusal):
            services.note_nonconformity(kind="halted", text=" ", **how)

    def test_list_does_not_grow(self):
        self.record()
        counts = []
        for _ in range(2):
            with CaptureQueriesContext(connection) as asked:
                self.client.get(reverse("reporting:nonconforming"))
            counts.append(len(asked))
            for n in range(22):
                how = {"kind": "complaint", "title": str(n), "what": "x", "found_on": date(2026, 3, 1)}
                services.record_nonconformity(jobs=[self.job.number], by=self.bea, at=NOON, **how)
        assert counts[0] == counts[1], counts
