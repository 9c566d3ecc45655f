"""The PDF is made after the approval, once, whoever is killed meanwhile."""

import contextlib
from datetime import timedelta

import pytest
from cryptography.hazmat.primitives import serialization

from apps.accounts.models import Outgoing
from apps.core.jsontext import sha256
from apps.measuring import services as measuring
from apps.methods.queries import points_for
from apps.reporting import services
from apps.reporting.facts import Facts
from apps.reporting.models import FileDue, Report, ReportFile
from apps.reporting.pdf import build
from apps.reporting.seal.checking import examine
from apps.reporting.services import files
from apps.trail.models import Blob, TrailEntry
from tests.cast import NOON, LabTestCase, after_cycle, with_readings
from tests.measuring.test_garments import a_garment
from tests.reporting import sealing
from tests.reporting.support import an_issued_report, approve


class BuildPendingTests(LabTestCase):
    def setUp(self):
        self.report = an_issued_report(self, with_file=False)

    def test_makes_the_file_once(self):
        assert services.build_pending(limit=10, now=NOON) == 1
        assert services.build_pending(limit=10, now=NOON) == 0
        file = ReportFile.objects.get(report=self.report)
        content = bytes(file.blob.content)
        assert content == build(Facts.read(self.report.facts))
        assert (file.blob_id, file.blob.size) == (sha256(content), len(content))
        entry = TrailEntry.objects.get(stream=self.report.job.stream, kind="report.file_made")
        assert (entry.facts["sha256"], entry.actor_name) == (file.blob_id, "the house itself")

    def test_customer_sees_the_report_only_then(self):
        seen = Report.objects.visible_to(self.casey)
        assert not seen.exists()
        services.build_pending(limit=10, now=NOON)
        assert seen.get() == self.report
        assert not Report.objects.visible_to(self.dana).exists()

    def test_tells_the_customers_people_without_results(self):
        services.build_pending(limit=10, now=NOON)
        letter = Outgoing.objects.get(subject__startswith="Report")
        assert (letter.to, letter.subject) == ("casey@example.com", f"Report {self.report.number} is ready")
        assert "%" not in letter.body

    def test_killed_before_the_file_is_kept(self):
        with pytest.MonkeyPatch.context() as patch, pytest.raises(KeyboardInterrupt):
            patch.setattr(files, "build", lambda facts, images=None: (_ for _ in ()).throw(KeyboardInterrupt))
            services.build_pending(limit=10, now=NOON)
        assert not ReportFile.objects.exists()
        assert services.build_pending(limit=10, now=NOON) == 0  # somebody has it in hand
        assert services.build_pending(limit=10, now=NOON + files.LEASE) == 1

    def test_killed_while_the_file_is_kept(self):
        with pytest.MonkeyPatch.context() as patch, pytest.raises(KeyboardInterrupt):
            patch.setattr(files, "tell_customer", lambda *a, **k: (_ for _ in ()).throw(KeyboardInterrupt))
            services.build_pending(limit=10, now=NOON)
        assert not ReportFile.objects.exists() and not Blob.objects.exists()
        assert services.build_pending(limit=10, now=NOON + files.LEASE) == 1

    def test_a_slow_worker_comes_second(self):
        services.build_pending(limit=10, now=NOON)
        assert files.keep_file(report_id=self.report.pk, content=b"%PDF other", now=NOON) is False
        assert ReportFile.objects.count() == Outgoing.objects.filter(subject__startswith="Report").count() == 1

    def test_one_that_fails_holds_up_no_other(self):
        other = an_issued_report(self, with_file=False)
        real = files.build

        def fails(facts, images=None):
            if facts.number == self.report.number:
                raise ValueError("no such glyph")
            return real(facts, images)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(files, "build", fails)
            assert services.build_pending(limit=10, now=NOON) == 1
        due = FileDue.objects.get(report=self.report)
        assert (due.done_at, due.last_error, due.tries) == (None, "ValueError: no such glyph", 1)
        assert due.next_try_at > NOON
        assert ReportFile.objects.get().report == other
        assert services.build_pending(limit=10, now=NOON + timedelta(hours=2)) == 1

    def test_limit(self):
        an_issued_report(self, with_file=False)
        assert services.build_pending(limit=1, now=NOON) == 1
        assert services.build_pending(limit=0, now=NOON) == 0


class SealTests(LabTestCase):
    def test_sealed_when_the_lab_has_a_seal_and_the_report_says_so(self):
        with sealing.in_use() as seal:
            report = an_issued_report(self)
            facts = Facts.read(report.facts)
            assert facts.report["seal"]["fingerprint"] == seal.fingerprint
            assert any("electronic seal of the laboratory" in text for text in facts.statements)
            content = bytes(report.files.get().blob.content)
            trusted = seal.certificate.public_bytes(serialization.Encoding.PEM)
            assert not [check for check in examine(content, trusted).checks if not check.holds]
            assert report.files.get().blob_id == sha256(content)

    def test_a_garments_file_passes_too(self):
        request = a_garment(self)
        names = ["body length, front", "chest width"]
        points = tuple(points_for("top").filter(name__in=names).values_list("pk", flat=True))
        marks = measuring.GarmentMarks(points)
        measuring.cut_and_mark(request_id=request.pk, count=3, garment=marks, by=self.bea, at=NOON)
        with_readings(self, request, 0, ["700", "702", "500"] * 3)
        after_cycle(self, request)
        with_readings(self, request, 1, ["686", "686", "485"] * 3)
        with sealing.in_use() as seal:
            report = approve(self, request)
            services.build_pending(limit=1, now=NOON)
        content = bytes(report.files.get().blob.content)
        found = examine(content, seal.certificate.public_bytes(serialization.Encoding.PEM))
        assert not [check for check in found.checks if not check.holds] and found.valid

    def test_not_sealed_and_says_so_without(self):
        report = an_issued_report(self)
        facts = Facts.read(report.facts)
        assert facts.report["seal"] is None
        assert any(text.startswith("The file carries no electronic seal.") for text in facts.statements)

    def test_a_promised_seal_that_is_gone_is_waited_for(self):
        with sealing.in_use():
            report = an_issued_report(self, with_file=False)
        for name in ("another", None):
            with sealing.in_use(name) if name else contextlib.nullcontext():
                due = FileDue.objects.get(report=report)
                assert services.build_pending(limit=5, now=due.next_try_at) == 0
        due.refresh_from_db()
        assert "not the one in use here" in due.last_error and due.done_at is None
        assert not report.files.exists()
