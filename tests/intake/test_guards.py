"""Writing past the services: what an issued report rests on stays as it is, by whatever way it comes.

Job, sample, request, contract review, specimen, deviation and send-back; the other rooms look at their own tables.
"""

import sqlite3
from dataclasses import dataclass

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.test import TransactionTestCase

from apps.core import clock
from apps.core.pictures import Picture
from apps.intake import services
from apps.intake.models import (
    ChosenPhoto,
    ContractReview,
    CutPlan,
    Deviation,
    Job,
    Photo,
    Request,
    Sample,
    SamplePlace,
    SendBack,
    Specimen,
    Spot,
)
from tests.cast import NOON, LabTestCase, a_received_job, a_request_for, assemble
from tests.intake.issued import a_report, issued, opened

TABLES = (
    Job,
    Sample,
    SamplePlace,
    Request,
    ContractReview,
    Specimen,
    CutPlan,
    Spot,
    Photo,
    ChosenPhoto,
    Deviation,
    SendBack,
)


A_PICTURE = Picture(b"invented", b"small", 640, 480)


@dataclass
class Whole:
    """A request with a row of everything that hangs on it."""

    job: Job
    sample: Sample
    request: Request
    specimen: Specimen
    deviation: Deviation
    send_back: SendBack

    def of(self, model: type[models.Model]) -> int:
        """The key of its row in this table."""
        rows = {Job: self.job, Sample: self.sample, Request: self.request, Specimen: self.specimen}
        rows |= {Deviation: self.deviation, SendBack: self.send_back}
        rows |= {ContractReview: self.request.contract_review, SamplePlace: self.sample.places.first()}
        rows |= {Photo: self.sample.photos.get(), ChosenPhoto: self.request.chosen_photos.get()}
        rows |= {CutPlan: self.request.cut_plan, Spot: self.specimen.spot}
        return rows[model].pk


def a_whole(cast) -> Whole:
    job = a_received_job(cast)
    sample = job.samples.get()
    request = sample.requests.get()
    Sample.objects.filter(pk=sample.pk).update(width_mm=1500, length_mm=2000)
    services.move_sample(sample_id=sample.pk, place="shelf 1", by=cast.fran, at=NOON)
    specimen = services.cut_specimens(request_id=request.pk, count=3, by=cast.bea, at=NOON)[0]
    photo = services.keep_photo(sample_id=sample.pk, picture=A_PICTURE, by=cast.fran, at=NOON)
    services.choose_photos(request_id=request.pk, photo_ids=[photo.pk], by=cast.mara, at=NOON)
    about = {"job_id": job.pk, "specimen_id": specimen.pk, "kind": "other"}
    deviation = services.deviate(**about, text="invented", by=cast.bea, at=NOON, at_risk=True)
    sent = services.send_back(request_id=request.pk, to="bench", reason="invented", by=cast.mara, at=NOON)
    return Whole(job, sample, request, specimen, deviation, sent)


def run(sql: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return cursor.rowcount


def copied(model: type[models.Model], pk: int, *, head: str = "INSERT INTO", tail: str = "", **changes) -> str:
    """SQL that inserts a copy of a row with some columns otherwise; without an `id` among them it gets a new one."""
    table = model._meta.db_table
    columns = [field.column for field in model._meta.local_fields if field.column != "id" or "id" in changes]
    taken = [str(changes[name]) if name in changes else f'"{name}"' for name in columns]
    names = ", ".join(f'"{name}"' for name in columns)
    return f"{head} {table} ({names}) SELECT {', '.join(taken)} FROM {table} WHERE id = {pk} {tail}"


def changed_value(field: models.Field) -> str:
    """SQL for another value of this column, one that no constraint minds."""
    if field.choices:
        first, second = [value for value, _ in field.flatchoices][:2]
        return f"CASE WHEN \"{field.column}\" = '{first}' THEN '{second}' ELSE '{first}' END"
    if isinstance(field, models.BooleanField):
        return f'NOT "{field.column}"'
    if isinstance(field, models.DateTimeField | models.DateField):
        return "'2001-01-01 00:00:00+00:00'" if connection.vendor == "postgresql" else "'2001-01-01 00:00:00'"
    kept = field.target_field if isinstance(field, models.ForeignKey) else field
    if isinstance(kept, models.CharField | models.TextField):
        return "'x'"
    return f'COALESCE("{field.column}", 0) + 1'


class GuardCase(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.locked, cls.free = a_whole(cls), a_whole(cls)

    def refused(self, sql: str) -> None:
        with self.subTest(sql=sql), self.assertRaises(IntegrityError), transaction.atomic():
            self.assertGreater(run(sql), 0, "it met no row at all")

    def taken(self, sql: str) -> None:
        with self.subTest(sql=sql), transaction.atomic():
            self.assertGreater(run(sql), 0, "it met no row at all")
            transaction.set_rollback(True)

    def update(self, whole: Whole, model: type[models.Model], setting: str) -> str:
        return f"UPDATE {model._meta.db_table} SET {setting} WHERE id = {whole.of(model)}"


class IssuedTests(GuardCase):
    """The report is issued."""

    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        issued(cls, cls.locked.request)

    FREE_COLUMNS = {"intake_job": {"due_on", "priority", "notes"}}

    def test_no_column_changes(self):
        for model in TABLES:
            free = self.FREE_COLUMNS.get(model._meta.db_table, set())
            for field in model._meta.local_fields:
                if field.column not in free:
                    self.refused(self.update(self.locked, model, f'"{field.column}" = {changed_value(field)}'))

    def test_what_no_report_prints_stays_free(self):
        for setting in ("due_on = '2026-05-05'", "priority = 'urgent'", "notes = 'x'"):
            self.taken(self.update(self.locked, Job, setting))

    def test_nothing_is_deleted(self):
        for model in TABLES:
            self.refused(f"DELETE FROM {model._meta.db_table} WHERE id = {self.locked.of(model)}")
            self.refused(f"DELETE FROM {model._meta.db_table} WHERE id = {self.free.of(model)}")

    def test_nothing_comes_in(self):
        self.refused(copied(Specimen, self.locked.specimen.pk, number=9, code="'x'"))
        self.refused(copied(Specimen, self.free.specimen.pk, number=9, code="'x'", request_id=self.locked.request.pk))
        self.refused(copied(Deviation, self.locked.deviation.pk))
        by_request = {"specimen_id": "NULL", "request_id": self.locked.request.pk}
        self.refused(copied(Deviation, self.free.deviation.pk, **by_request))
        answered = {"answer": "'x'", "answered_by_id": self.fran.pk, "answered_at": "at"}
        self.refused(copied(SendBack, self.locked.send_back.pk, **answered))
        self.refused(copied(CutPlan, self.free.of(CutPlan), request_id=self.locked.request.pk))
        self.refused(copied(Spot, self.free.of(Spot), specimen_id=self.locked.specimen.pk))
        review = copied(ContractReview, self.locked.of(ContractReview))
        self.refused(review)

    def test_nothing_is_upserted_or_replaced(self):
        for model in TABLES:
            pk = self.locked.of(model)
            column = model._meta.local_fields[1].column
            self.refused(
                copied(model, pk, id="id", tail=f'AND 1 = 1 ON CONFLICT (id) DO UPDATE SET "{column}" = EXCLUDED.id')
                if connection.vendor == "sqlite"
                else copied(model, pk, id="id", tail="ON CONFLICT (id) DO UPDATE SET id = EXCLUDED.id + 1000")
            )
            if connection.vendor == "sqlite":
                self.refused(copied(model, pk, id="id", head="INSERT OR REPLACE INTO"))
                self.refused(copied(model, pk, id="id", head="REPLACE INTO"))
                table, other = model._meta.db_table, self.free.of(model)
                self.refused(f"UPDATE OR REPLACE {table} SET id = {pk} WHERE id = {other}")

    def test_no_unique_column_is_taken_over(self):
        """SQLite: an update that would throw the other row out."""
        if connection.vendor != "sqlite":
            self.skipTest("SQLite's own")
        for model, column, value in [
            (Job, "number", f"'{self.locked.job.number}'"),
            (Sample, "code", f"'{self.locked.sample.code}'"),
            (Specimen, "code", f"'{self.locked.specimen.code}'"),
            (ContractReview, "request_id", self.locked.request.pk),
        ]:
            self.refused(
                f"UPDATE OR REPLACE {model._meta.db_table} SET {column} = {value} WHERE id = {self.free.of(model)}"
            )

    def test_nothing_is_moved_in_or_out(self):
        locked, free = self.locked, self.free
        for mine, other in ((locked, free), (free, locked)):
            self.refused(self.update(mine, Sample, f"job_id = {other.job.pk}, letter = 'Z'"))
            self.refused(self.update(mine, Request, f"sample_id = {other.sample.pk}, ordinal = 9"))
            self.refused(self.update(mine, Specimen, f"request_id = {other.request.pk}"))
            self.refused(self.update(mine, Deviation, f"specimen_id = {other.specimen.pk}"))
            self.refused(self.update(mine, Deviation, f"specimen_id = NULL, request_id = {other.request.pk}"))
            self.refused(self.update(mine, Deviation, f"job_id = {other.job.pk}, specimen_id = NULL"))
            self.refused(self.update(mine, SendBack, f"request_id = {other.request.pk}"))
            self.refused(self.update(mine, ContractReview, f"request_id = {other.request.pk}"))
            self.refused(self.update(mine, SamplePlace, f"sample_id = {other.sample.pk}"))

    def test_no_key_changes(self):
        """Another key would leave the rows below without their lock, where foreign keys are not looked after."""
        for model in TABLES:
            for whole in (self.locked, self.free):
                self.refused(self.update(whole, model, "id = id + 1000"))

    @pytest.mark.postgres_only
    def test_no_table_is_emptied(self):
        run("SET CONSTRAINTS ALL IMMEDIATE")
        for model in TABLES:
            self.refused_truncate(f"TRUNCATE {model._meta.db_table} CASCADE")
        self.refused_truncate("TRUNCATE accounts_customer CASCADE")
        self.refused_truncate("TRUNCATE methods_testmethod CASCADE")

    def refused_truncate(self, sql: str) -> None:
        with self.subTest(sql=sql), self.assertRaises(IntegrityError), transaction.atomic():
            run(sql)

    def test_the_orm_comes_no_further(self):
        with self.assertRaises(IntegrityError), transaction.atomic():
            Specimen.objects.filter(pk=self.locked.specimen.pk).update(cycles_valid=1, times_wetted=1)
        with self.assertRaises(IntegrityError), transaction.atomic():
            Sample.objects.bulk_update([Sample(pk=self.locked.sample.pk, fibre="x")], ["fibre"])
        with self.assertRaises(IntegrityError), transaction.atomic():
            self.locked.sample.save()
            Sample(pk=self.locked.sample.pk, job=self.locked.job, letter="A", code="x", construction="knit").save()
        with self.assertRaises((IntegrityError, models.ProtectedError)), transaction.atomic():
            self.locked.specimen.delete()

    def test_what_belongs_to_others_stays_writable(self):
        for setting, model in [
            ("contact = 'x'", Job),
            ("fibre = 'x'", Sample),
            ("cycles = 5", Request),
            ("length_lower = -1", Request),
            ("remark = 'x'", ContractReview),
            ("stage = 'marked'", Specimen),
        ]:
            self.taken(self.update(self.free, model, setting))
        self.taken(copied(Specimen, self.free.specimen.pk, number=9, code="'x'"))
        self.taken(copied(Deviation, self.free.deviation.pk))

    def test_a_second_way_of_the_same_sample_stays_open(self):
        services.add_request(sample_id=self.locked.sample.pk, request=a_request_for(), by=self.fran, at=NOON)
        second = Request.objects.get(sample=self.locked.sample, ordinal=2)
        specimens = services.cut_specimens(request_id=second.pk, count=3, by=self.bea, at=NOON)
        self.taken(f"UPDATE intake_specimen SET stage = 'marked' WHERE id = {specimens[0].pk}")
        self.taken(f"UPDATE intake_request SET cycles = 7 WHERE id = {second.pk}")
        self.refused(f"UPDATE intake_sample SET fibre = 'x' WHERE id = {self.locked.sample.pk}")
        self.refused(f"UPDATE intake_specimen SET request_id = {self.locked.request.pk} WHERE id = {specimens[0].pk}")

    def test_a_deviation_of_the_job_as_a_whole_may_still_be_written(self):
        services.deviate(job_id=self.locked.job.pk, kind="other", text="collected late", by=self.fran, at=NOON)


class LockTests(GuardCase):
    """The lock moves only with a report, an amendment, a new revision."""

    def lock(self, value: str, opened_for: str = "", whole: Whole | None = None) -> str:
        return self.update(whole or self.locked, Request, f"lock = '{value}', opened_for = '{opened_for}'")

    def test_no_lock_without_a_report(self):
        self.refused(self.lock("locked"))
        self.refused(self.lock("amending", "limits"))
        a_report(self, self.free.request)
        self.refused(self.lock("locked"))
        self.taken(self.lock("locked", whole=self.free))

    def test_no_request_is_born_locked(self):
        self.refused(copied(Request, self.locked.request.pk, ordinal=9, lock="'locked'"))
        self.refused(copied(Request, self.locked.request.pk, ordinal=9, lock="'amending'", opened_for="'limits'"))
        self.taken(copied(Request, self.locked.request.pk, ordinal=9))

    def test_an_issued_request_is_never_simply_opened(self):
        issued(self, self.locked.request)
        self.refused(self.lock("open"))
        for purpose in Request.OpenedFor.values:
            self.refused(self.lock("amending", purpose))

    def test_an_amendment_opens_for_its_own_purpose_only(self):
        report = issued(self, self.locked.request)
        other = issued(self, self.free.request)
        opened(self, other, "readings")
        self.refused(self.lock("amending", "readings"))
        from apps.reporting.models import Amendment

        Amendment.objects.create(report=report, reason="invented", opened_for="limits", by=self.mara, at=NOON)
        self.refused(self.lock("amending", "readings"))
        self.taken(self.lock("amending", "limits"))

    def test_what_is_opened_is_closed_by_a_new_revision_only(self):
        report = issued(self, self.locked.request)
        amendment = opened(self, report, "limits")
        self.refused(self.lock("locked"))
        self.refused(self.lock("open"))
        self.refused(self.lock("amending", "readings"))
        a_report(self, self.locked.request, serial=report.serial, revision=1, replaces=report, amendment=amendment)
        self.taken(self.lock("locked"))

    def test_a_lock_says_what_it_is_opened_for(self):
        issued(self, self.locked.request)
        self.refused(self.lock("locked", "limits"))
        self.refused(self.lock("amending", ""))


class AmendingTests(GuardCase):
    """An open amendment opens what it says, and nothing beside it."""

    MAY = {
        "job_details": [(Job, "contact = 'x'"), (Job, "customer_id = customer_id + 1"), (Sample, "fibre = 'x'")],
        "limits": [(Request, "length_lower = -1"), (Request, "decision_rule = 'guarded'")],
        "readings": [(Specimen, "stage = 'marked'")],
        "cycle_record": [(Specimen, "times_wetted = 1")],
        "wording": [],
    }
    ALWAYS = [
        (Deviation, "judged_by_id = by_id, judged_at = at, judgement = 'x'"),
        (SendBack, "answered_by_id = by_id, answered_at = at, answer = 'x'"),
    ]
    NEVER = [
        (Request, "cycles = 5"),
        (Request, "measured_after = '2'"),
        (Request, "procedure_id = procedure_id + 1"),
        (Request, "fewer_reason = 'x'"),
        (ContractReview, "remark = 'x'"),
        (Specimen, "code = 'x'"),
        (Deviation, "text = 'x'"),
        (SendBack, "reason = 'x'"),
        (SamplePlace, "place = 'x'"),
    ]

    def test_each_opening(self):
        all_of_them = {pair for pairs in self.MAY.values() for pair in pairs}
        for purpose, may in self.MAY.items():
            with transaction.atomic():
                opened(self, issued(self, self.locked.request), purpose)
                of_specimen = {pair for pair in all_of_them if pair[0] is Specimen}
                may = set(may) | (of_specimen if purpose in ("readings", "cycle_record") else set())
                for model, setting in [*may, *self.ALWAYS]:
                    self.taken(self.update(self.locked, model, setting))
                for model, setting in [*(all_of_them - may), *self.NEVER]:
                    self.refused(self.update(self.locked, model, setting))
                self.taken(copied(Deviation, self.locked.deviation.pk))
                for model in TABLES:
                    self.refused(f"DELETE FROM {model._meta.db_table} WHERE id = {self.locked.of(model)}")
                transaction.set_rollback(True)

    def test_a_job_with_another_report_keeps_its_details(self):
        """Two reports of one job: one amended for job details does not free what the other prints."""
        services.add_sample(
            job_id=self.locked.job.pk,
            sample=services.SampleDetails("second, invented", "knit", requests=(a_request_for(),)),
            by=self.fran,
            at=NOON,
        )
        second = Request.objects.get(sample__job=self.locked.job, sample__letter="B")
        opened(self, issued(self, self.locked.request), "job_details")
        self.taken(self.update(self.locked, Job, "contact = 'x'"))
        issued(self, second)
        self.refused(self.update(self.locked, Job, "contact = 'x'"))
        self.taken(self.update(self.locked, Sample, "fibre = 'x'"))


class OnceOnlyTests(GuardCase):
    """Open requests too: what was written down once is not written over."""

    def test_what_is_kept_from_the_first_day(self):
        for model, setting in [
            (Job, "number = '26-99999X'"),
            (Sample, "letter = 'Z'"),
            (Sample, "code = 'x'"),
            (Request, "ordinal = 9"),
            (Specimen, "number = 9"),
            (Specimen, "code = 'x'"),
            (Deviation, "text = 'x'"),
            (Deviation, "at_risk = NOT at_risk"),
            (SendBack, "reason = 'x'"),
            (SamplePlace, "place = 'x'"),
            (CutPlan, "pattern = 'row'"),
            (Photo, "caption = 'x'"),
            (ChosenPhoto, "photo_id = photo_id + 1"),
            (Spot, "x_mm = x_mm + 1"),
        ]:
            self.refused(self.update(self.free, model, setting))

    def test_judged_and_answered_once(self):
        judged = "judged_by_id = by_id, judged_at = at, judgement = '{}'"
        answered = "answered_by_id = by_id, answered_at = at, answer = '{}'"
        for model, setting in ((Deviation, judged), (SendBack, answered)):
            run(self.update(self.free, model, setting.format("once")))
            self.refused(self.update(self.free, model, setting.format("again")))

    def test_an_open_send_back_is_not_thrown_out_by_another(self):
        if connection.vendor == "sqlite":
            self.refused(copied(SendBack, self.free.send_back.pk, head="INSERT OR REPLACE INTO"))


@pytest.mark.once
class WithoutThePragmaTests(TransactionTestCase):
    """Another program opens the SQLite file: no foreign keys, no recursive triggers, and the guards hold."""

    def test_a_bare_connection_comes_no_further(self):
        if connection.vendor != "sqlite":
            self.skipTest("SQLite's own")
        cast = assemble()
        with clock.set_to(NOON):
            locked, free = a_whole(cast), a_whole(cast)
            issued(cast, locked.request)
        bare = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
        self.addCleanup(bare.close)
        self.assertEqual(bare.execute("PRAGMA recursive_triggers").fetchone(), (0,))
        self.assertEqual(bare.execute("PRAGMA foreign_keys").fetchone(), (0,))
        bare.execute("PRAGMA ignore_check_constraints = ON")
        counts = self.counts(bare)
        statements = [copied(Specimen, locked.specimen.pk, number=9, code="'x'")]
        for model in TABLES:
            table, pk, other = model._meta.db_table, locked.of(model), free.of(model)
            statements += [
                f"DELETE FROM {table} WHERE id = {pk}",
                f"UPDATE {table} SET id = 4711 WHERE id = {pk}",
                f"UPDATE OR REPLACE {table} SET id = {pk} WHERE id = {other}",
                copied(model, pk, id="id", head="REPLACE INTO"),
                copied(model, pk, id="id", head="INSERT OR REPLACE INTO"),
            ]
        statements += [
            copied(Job, locked.job.pk, head="REPLACE INTO"),
            copied(Sample, locked.sample.pk, head="REPLACE INTO"),
            copied(Request, locked.request.pk, head="REPLACE INTO"),
            copied(Specimen, locked.specimen.pk, head="REPLACE INTO"),
            copied(SendBack, free.send_back.pk, head="REPLACE INTO"),
            f"UPDATE OR REPLACE intake_job SET number = '{locked.job.number}' WHERE id = {free.job.pk}",
            f"UPDATE OR REPLACE intake_sample SET code = '{locked.sample.code}' WHERE id = {free.sample.pk}",
            f"UPDATE OR REPLACE intake_specimen SET code = '{locked.specimen.code}' WHERE id = {free.specimen.pk}",
            f"UPDATE intake_request SET lock = 'open' WHERE id = {locked.request.pk}",
            f"UPDATE intake_request SET lock = 'ajar' WHERE id = {locked.request.pk}",
            f"UPDATE intake_request SET lock = 'ajar' WHERE id = {free.request.pk}",
        ]
        for sql in statements:
            with self.subTest(sql=sql), self.assertRaises(sqlite3.IntegrityError):
                bare.execute(sql)
        self.assertEqual(self.counts(bare), counts)

    def counts(self, bare: sqlite3.Connection) -> list[int]:
        return [bare.execute(f"SELECT count(*) FROM {model._meta.db_table}").fetchone()[0] for model in TABLES]
