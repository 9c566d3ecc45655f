"""An issued report, and what it rests on, written to past the services: the database itself refuses."""

import pytest
from django.db import IntegrityError, connection, models, transaction

from apps.intake import services as intake
from apps.intake.models import ContractReview, Deviation, Job, Request, Sample, SendBack, Specimen
from apps.laundering.models import CycleLog, Drying, Load, LoadPiece
from apps.measuring.models import BenchmarkPair, Reading
from apps.reporting import services
from apps.reporting.models import (
    Amendment,
    AmendmentClosing,
    Report,
    ReportFile,
    ReportRequest,
    Signatory,
    Withdrawal,
)
from apps.trail.guarding import all_guards
from tests.cast import NOON, LabTestCase
from tests.reporting.support import LIMITS, a_finished_job, an_issued_report, requests_of

# What a report rests on: a column of each that is printed or counted, and another value for it.
RESTS_ON = {
    Job: ("contact", "'x'"),
    Sample: ("description", "'x'"),
    Request: ("length_lower", "-9"),
    ContractReview: ("remark", "'x'"),
    Specimen: ("times_wetted", "9"),
    Deviation: ("judgement", "'x'"),
    BenchmarkPair: ("nominal_mm", "9"),
    Reading: ("mm", "9"),
    Load: ("water_temp_c", "9"),
    Drying: ("exhaust_c", "9"),
    LoadPiece: ("ordinal", "9"),
    CycleLog: ("ordinal", "9"),
}
ISSUED = {
    Report: ("facts", "'{}'"),
    ReportRequest: ("report_id", "9"),
    ReportFile: ("kind", "'pdf'"),
    Amendment: ("reason", "'x'"),
    AmendmentClosing: ("reason", "'x'"),
    Withdrawal: ("reason", "'x'"),
}


SENTENCES = {guard.sentence for guard in all_guards()} | {"this table is not emptied"}


def copy_of(model: type[models.Model], **changes: str) -> str:
    """INTO t (columns) SELECT columns FROM t, with some columns told otherwise."""
    columns = [field.column for field in model._meta.local_fields]
    values = [changes.get(column, column) for column in columns]
    quoted = ", ".join(f'"{column}"' for column in columns)
    told = ", ".join(value if value in changes.values() else f'"{value}"' for value in values)
    return f"INTO {model._meta.db_table} ({quoted}) SELECT {told} FROM {model._meta.db_table}"


class GuardedTestCase(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.report = an_issued_report(cls, **LIMITS)
        cls.job = cls.report.job
        (cls.request,) = requests_of(cls.job)

    def refuse(self, sql: str) -> None:
        """Refused, and by a guard: not by a key or a constraint that happened to be in the way."""
        with self.subTest(sql), connection.cursor() as cursor:
            with self.assertRaises(IntegrityError) as caught, transaction.atomic():
                cursor.execute(sql)
            assert any(sentence in str(caught.exception) for sentence in SENTENCES), caught.exception

    def allow(self, sql: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)


class IssuedReportTests(GuardedTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        amended = an_issued_report(cls)
        how = {"reason": "x", "by": cls.mara, "at": NOON}
        services.open_amendment(report_id=amended.pk, opened_for="wording", **how)
        services.approve_revision(report_id=amended.pk, password_ok=True, by=cls.mara, at=NOON)
        services.open_amendment(report_id=cls.report.pk, opened_for="wording", **how)
        services.close_amendment(report_id=cls.report.pk, **how)
        services.withdraw(report_id=cls.report.pk, **how)

    def test_an_amendment_ends_once(self):
        """Neither is a second one opened beside it, nor does it end in both ways."""
        replaced = Amendment.objects.exclude(closed_by=None).get()
        came_to_nothing = AmendmentClosing.objects.get().amendment
        self.refuse(f"INSERT {copy_of(Amendment, id='99')} WHERE id = {replaced.pk}")
        self.refuse(f"INSERT {copy_of(AmendmentClosing, id='99', amendment_id=str(replaced.pk))}")
        again = {"id": "99", "number": "'x'", "revision": "7", "amendment_id": str(came_to_nothing.pk)}
        again["replaces_id"] = str(self.report.pk)
        self.refuse(f"INSERT {copy_of(Report, **again)} WHERE amendment_id = {replaced.pk}")

    def test_is_only_added_to(self):
        for model, (column, value) in ISSUED.items():
            self.assertTrue(model.objects.exists(), model)
            self.refuse(f"UPDATE {model._meta.db_table} SET {column} = {value}")
            self.refuse(f"DELETE FROM {model._meta.db_table}")
            self.refuse(f"INSERT {copy_of(model)} WHERE 1 = 1 ON CONFLICT (id) DO UPDATE SET {column} = {value}")
            if connection.vendor == "sqlite":
                self.refuse(f"INSERT OR REPLACE {copy_of(model)}")

    @pytest.mark.postgres_only
    def test_is_not_emptied(self):
        self.allow("SET CONSTRAINTS ALL IMMEDIATE")  # else TRUNCATE first stumbles over the checks still due
        for model in (*ISSUED, *RESTS_ON):
            self.refuse(f"TRUNCATE {model._meta.db_table} CASCADE")

    def test_its_models_refuse_too(self):
        for act in (
            self.report.delete,
            Report.objects.all().delete,
            self.report.save,
            ReportRequest.objects.all().delete,
        ):
            with self.subTest(act), self.assertRaises(IntegrityError), transaction.atomic():
                act()


class RestsOnTests(GuardedTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.other = a_finished_job(cls, **LIMITS)
        (cls.open,) = requests_of(cls.other)

    def test_no_change_in_place(self):
        for model, (column, value) in RESTS_ON.items():
            if model is Deviation:
                continue
            self.refuse(f"UPDATE {model._meta.db_table} SET {column} = {value} WHERE {self.of(model)}")
            self.refuse(f"DELETE FROM {model._meta.db_table} WHERE {self.of(model)}")
            if connection.vendor == "sqlite":
                self.refuse(f"INSERT OR REPLACE {copy_of(model)} WHERE {self.of(model)}")

    def of(self, model: type[models.Model]) -> str:
        """Only the rows under the issued report."""
        request, job = self.request.pk, self.job.pk
        piece = f"SELECT id FROM intake_specimen WHERE request_id = {request}"
        return {
            Job: f"id = {job}",
            Sample: f"job_id = {job}",
            Request: f"id = {request}",
            ContractReview: f"request_id = {request}",
            Specimen: f"request_id = {request}",
            BenchmarkPair: f"specimen_id IN ({piece})",
            Reading: f"pair_id IN (SELECT id FROM measuring_benchmarkpair WHERE specimen_id IN ({piece}))",
            Load: f"id IN (SELECT load_id FROM laundering_loadpiece WHERE specimen_id IN ({piece}))",
            Drying: f"id IN (SELECT drying_id FROM laundering_loadpiece WHERE specimen_id IN ({piece}))",
            LoadPiece: f"specimen_id IN ({piece})",
            CycleLog: f"specimen_id IN ({piece})",
        }[model]

    def test_nothing_is_added(self):
        for model, changes, where in (
            (Specimen, {"number": "9", "code": "'x'"}, "number = 1"),
            (BenchmarkPair, {"number": "9"}, "number = 1"),
            (Reading, {"stage": "7"}, "stage = 1"),
            (CycleLog, {"ordinal": "2"}, "1 = 1"),
            (LoadPiece, {"ordinal": "2"}, "1 = 1"),
        ):
            self.refuse(f"INSERT {copy_of(model, id='99999', **changes)} WHERE {self.of(model)} AND {where}")
        rows = (
            Deviation(job=self.job, request=self.request, kind="other", text="x", by=self.bea, at=NOON),
            SendBack(request=self.request, to="bench", reason="x", by=self.mara, at=NOON),
        )
        for row in rows:
            with self.subTest(row), self.assertRaises(IntegrityError), transaction.atomic():
                row.save()

    def test_nothing_is_moved_out_or_in(self):
        ours, theirs = self.request.specimens.first().pk, self.open.specimens.first().pk
        our_pair = BenchmarkPair.objects.filter(specimen=ours).first().pk
        their_pair = BenchmarkPair.objects.filter(specimen=theirs).first().pk
        for table, change, row in (
            ("intake_specimen", f"request_id = {self.open.pk}", f"id = {ours}"),
            ("intake_specimen", f"request_id = {self.request.pk}", f"id = {theirs}"),
            ("measuring_benchmarkpair", f"specimen_id = {theirs}, number = 9", f"id = {our_pair}"),
            ("measuring_benchmarkpair", f"specimen_id = {ours}, number = 9", f"id = {their_pair}"),
            ("measuring_reading", f"pair_id = {their_pair}, stage = 8", f"pair_id = {our_pair} AND stage = 1"),
            ("measuring_reading", f"pair_id = {our_pair}, stage = 8", f"pair_id = {their_pair} AND stage = 1"),
            ("laundering_cyclelog", f"specimen_id = {ours}, ordinal = 8", f"specimen_id = {theirs}"),
            ("intake_sample", f"job_id = {self.other.pk}", f"job_id = {self.job.pk}"),
            ("intake_request", f"sample_id = {self.open.sample_id}, ordinal = 9", f"id = {self.request.pk}"),
        ):
            self.refuse(f"UPDATE {table} SET {change} WHERE {row}")

    def test_what_no_report_prints_stays_free(self):
        self.allow(f"UPDATE intake_job SET notes = 'ring them', due_on = NULL WHERE id = {self.job.pk}")
        intake.move_sample(sample_id=self.request.sample_id, place="shelf 9", by=self.fran, at=NOON)

    def test_an_open_request_is_not_touched_by_it(self):
        self.allow(f"UPDATE intake_request SET length_lower = -4 WHERE id = {self.open.pk}")


class LockTests(GuardedTestCase):
    """A request is locked by a report, opened by an amendment, closed by a revision; by nothing else."""

    def set_lock(self, request: Request, lock: str, opened_for: str = "") -> str:
        return f"UPDATE intake_request SET lock = '{lock}', opened_for = '{opened_for}' WHERE id = {request.pk}"

    def test_no_lock_without_a_report(self):
        (request,) = requests_of(a_finished_job(self))
        self.refuse(self.set_lock(request, "locked"))
        self.refuse(self.set_lock(request, "amending", "readings"))

    def test_no_opening_without_an_amendment(self):
        self.refuse(self.set_lock(self.request, "open"))
        self.refuse(self.set_lock(self.request, "amending", "readings"))

    def test_an_amendment_opens_what_it_says_and_only_a_revision_closes(self):
        how = {"reason": "x", "by": self.mara, "at": NOON}
        services.open_amendment(report_id=self.report.pk, opened_for="limits", **how)
        self.refuse(self.set_lock(self.request, "open"))
        self.refuse(self.set_lock(self.request, "locked"))
        self.refuse(self.set_lock(self.request, "amending", "readings"))
        self.refuse(f"UPDATE measuring_reading SET voided_at = at, voided_by_id = {self.bea.pk}, void_reason = 'x'")
        self.allow(f"UPDATE intake_request SET length_lower = -4 WHERE id = {self.request.pk}")

    def test_one_amendment_a_report(self):
        how = {"reason": "x", "by": self.mara, "at": NOON}
        services.open_amendment(report_id=self.report.pk, opened_for="limits", **how)
        with self.assertRaises(IntegrityError), transaction.atomic():
            Amendment.objects.create(report=self.report, opened_for="readings", **how)

    def test_no_second_report_over_a_locked_request_nor_over_another_job(self):
        other = an_issued_report(self)
        (request,) = requests_of(a_finished_job(self))
        for covered in (self.request, request):
            with self.subTest(covered.pk), self.assertRaises(IntegrityError), transaction.atomic():
                ReportRequest.objects.create(report=other, request=covered)


class SignatoryTests(GuardedTestCase):
    def test_a_grant_is_ended_once_and_stays(self):
        row = Signatory.objects.order_by("pk").first()
        where = f"WHERE id = {row.pk}"
        self.refuse(f"DELETE FROM reporting_signatory {where}")
        self.refuse(f"UPDATE reporting_signatory SET deputy = NOT deputy {where}")
        self.refuse(f"UPDATE reporting_signatory SET person_id = {self.bea.pk} {where}")
        services.end_signatory(signatory_id=row.pk, reason="left the lab", by=self.mara, at=NOON)
        self.refuse(f"UPDATE reporting_signatory SET end_reason = 'x' {where}")
        self.refuse(f"UPDATE reporting_signatory SET ended_at = NULL, ended_by_id = NULL, end_reason = '' {where}")
