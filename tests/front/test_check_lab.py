"""The whole book looked through: in order it finds nothing, and each planted fault by its row."""

from collections.abc import Callable
from io import StringIO

from django.core.management import CommandError, call_command
from django.db import connection, transaction

from apps.core.jsontext import sha256
from apps.front.whole import CHECKS
from apps.intake.models import Request, Sample, Specimen
from apps.laundering.models import CycleLog, Load
from apps.measuring.models import BenchmarkPair, Reading
from apps.reporting import services as reporting
from apps.reporting.models import Amendment, Report, ReportFile, ReportRequest, Withdrawal
from apps.trail import guarding
from apps.trail.chain import chained_hash, hashed_fields
from apps.trail.models import GENESIS, Blob, TrailEntry, TrailStream
from tests.cast import NOON, LabTestCase, a_marked_request, with_originals
from tests.reporting.support import a_finished_job, an_issued_report


def rewrite_history(stream: str) -> None:
    """All hashes of a stream made anew, as somebody would who knows how they are made."""
    prev = GENESIS
    for entry in TrailEntry.objects.filter(stream=stream).order_by("seq"):
        found = chained_hash(prev, hashed_fields(entry))
        TrailEntry.objects.filter(pk=entry.pk).update(prev_hash=prev, hash=found)
        prev = found
    TrailStream.objects.filter(name=stream).update(head=prev)


class CheckLabTests(LabTestCase):
    @classmethod
    def setUpTestData(cls) -> None:
        super().setUpTestData()
        cls.report = an_issued_report(cls)
        cls.withdrawn = an_issued_report(cls)
        cls.amended = an_issued_report(cls)
        who = {"by": cls.mara, "at": NOON}
        reporting.withdraw(report_id=cls.withdrawn.pk, reason="The wrong cloth.", **who)
        reporting.open_amendment(report_id=cls.amended.pk, reason="A reading.", opened_for="readings", **who)
        cls.going = a_finished_job(cls)
        cls.marked = a_marked_request(cls)
        with_originals(cls, cls.marked)
        cls.request = Request.objects.get(covered_by__report=cls.report)
        cls.piece = Specimen.objects.filter(request=cls.request).order_by("pk").first()
        cls.open_piece = Specimen.objects.filter(request__sample__job=cls.going).order_by("pk").first()
        cls.stream = cls.report.job.stream

    def faults(self) -> list:
        return [fault for check in CHECKS.values() for fault in check()]

    def test_a_book_in_order(self):
        self.assertEqual(self.faults(), [])
        said = StringIO()
        call_command("check_lab", stdout=said)
        self.assertIn("The book holds together.", said.getvalue())

    def finds(self, kind: str, where: str, tamper: Callable[[], object]) -> None:
        """With the guards off somebody tampers; the check names the row. Everything is as before afterwards."""
        with self.subTest(kind=kind, where=where), transaction.atomic():
            guarding.drop()
            tamper()
            guarding.install()
            found = {(fault.kind, fault.where) for fault in self.faults()}
            self.assertTrue(any(k == kind and where in w for k, w in found), found)
            transaction.set_rollback(True)

    def test_readings(self):
        first = Reading.objects.filter(pair__specimen=self.piece, stage=1).order_by("pk").first()
        mine, report = Reading.objects.filter(pk=first.pk), f"report {self.report.number}"
        row = f"reading {self.piece.code} {first.pair.direction} {first.pair.number}, stage 1"
        self.finds("ground_moved", report, lambda: mine.update(mm="249.000000"))
        self.finds("ground_moved", report, lambda: mine.update(text="249"))
        self.finds("reading_other", row, lambda: mine.update(text="249"))
        self.finds("reading_other", row, lambda: mine.update(mm="249.000000"))
        self.finds("reading_gone", row, lambda: mine.delete())
        self.finds("ground_moved", report, lambda: mine.update(read_by=self.mara))
        going = Reading.objects.filter(pair__specimen=self.open_piece, stage=1).order_by("pk")
        open_row = f"reading {self.open_piece.code}"
        self.finds("reading_other", open_row, lambda: going.filter(pk=going[0].pk).update(unit="cm"))

        def one_more():
            Reading.objects.filter(pk=going[0].pk).update(stage=7)

        self.finds("reading_untold", open_row, one_more)

    def test_pairs_and_specimens(self):
        pair = BenchmarkPair.objects.filter(specimen=self.piece).order_by("pk").first()
        elsewhere = Specimen.objects.filter(request=self.marked).order_by("pk").last()
        number = {"number": 9}
        self.finds(
            "ground_moved",
            self.report.number,
            lambda: BenchmarkPair.objects.filter(pk=pair.pk).update(specimen=elsewhere, **number),
        )
        mine = Specimen.objects.filter(pk=self.open_piece.pk)
        self.finds("stage", self.open_piece.code, lambda: mine.update(stage="ready"))
        self.finds("cycles_count", self.open_piece.code, lambda: mine.update(cycles_valid=0))
        self.finds("wetted_count", self.open_piece.code, lambda: mine.update(times_wetted=5))

    def test_cycles_and_loads(self):
        cycle = CycleLog.objects.filter(specimen=self.open_piece)
        self.finds("cycles_count", self.open_piece.code, lambda: cycle.delete())
        self.finds("cycles_gap", self.open_piece.code, lambda: cycle.update(ordinal=2))
        load = Load.objects.filter(pieces__specimen=self.piece)
        self.finds(
            "ground_moved", self.report.number, lambda: Load.objects.filter(pk__in=load).update(water_temp_c="40.0")
        )

    def test_what_was_ordered(self):
        request, sample = Request.objects.filter(pk=self.request.pk), Sample.objects.filter(pk=self.request.sample_id)
        self.finds("ground_moved", self.report.number, lambda: request.update(length_lower="-9"))
        self.finds("ground_moved", self.report.number, lambda: sample.update(width_mm="1.0"))
        self.finds("lock", str(self.request), lambda: request.update(lock="open"))
        self.finds("lock", str(self.marked), lambda: Request.objects.filter(pk=self.marked.pk).update(lock="locked"))

    def test_the_trail(self):
        entries = TrailEntry.objects.filter(stream=self.stream)
        third, last = entries.filter(seq=3), entries.order_by("-seq").first()
        self.finds("trail_changed", f"{self.stream} 3", lambda: third.update(actor_name="Somebody Else"))
        self.finds("trail_gap", f"{self.stream} 4", lambda: third.delete())
        self.finds("trail_head", self.stream, lambda: TrailEntry.objects.filter(pk=last.pk).delete())
        self.finds(
            "trail_head", self.stream, lambda: TrailStream.objects.filter(name=self.stream).update(head="0" * 64)
        )

        def history():
            third.update(facts={"other": "story"})
            rewrite_history(self.stream)

        self.finds("anchor", self.report.number, history)

    def test_reports(self):
        report = Report.objects.filter(pk=self.report.pk)
        other = self.report.facts.replace("Quellbach", "Bachquell")
        self.finds("facts_changed", self.report.number, lambda: report.update(facts=other))

        def with_its_hash():
            report.update(facts=other, facts_sha256=sha256(other))

        self.finds("facts_other", self.report.number, with_its_hash)
        self.finds("anchor", self.report.number, lambda: report.update(chain_seq=1))
        theirs = ReportFile.objects.get(report=self.withdrawn)
        mine = ReportFile.objects.filter(report=self.report)
        self.finds("file_other", self.report.number, lambda: mine.update(blob=theirs.blob))
        self.finds("file_other", self.report.number, lambda: mine.delete())
        blob = Blob.objects.filter(pk=mine.get().blob_id)
        self.finds("blob_changed", blob.get().sha256[:16], lambda: blob.update(content=b"%PDF-1.7 another"))
        self.finds("withdrawal_gone", self.withdrawn.number, lambda: Withdrawal.objects.all()._raw_delete("default"))
        self.finds("amendment_gone", self.amended.number, lambda: Amendment.objects.all()._raw_delete("default"))
        self.finds("covers", self.report.number, lambda: ReportRequest.objects.filter(report=self.report).delete())

        def without_a_trace():
            ReportRequest.objects.filter(report=self.report)._raw_delete("default")
            mine._raw_delete("default")
            report._raw_delete("default")

        self.finds("report_gone", self.report.number, without_a_trace)

        def untold():
            TrailEntry.objects.filter(stream=self.stream, kind__startswith="report.").delete()

        self.finds("report_untold", self.report.number, untold)

    def test_the_database_itself(self):
        sample = self.request.sample
        self.finds(
            "orphan",
            f"intake_request {self.request.pk}",
            lambda: Sample.objects.filter(pk=sample.pk)._raw_delete("default"),
        )
        with transaction.atomic(), connection.cursor() as cursor:
            name = "guard_trail_trailentry_insert_only_update"
            cursor.execute(f"DROP TRIGGER {name}" + (" ON trail_trailentry" if connection.vendor != "sqlite" else ""))
            self.assertEqual([(f.kind, f.where) for f in self.faults()], [("guard_missing", f"guard {name}")])
            if connection.vendor == "sqlite":
                cursor.execute(f"CREATE TRIGGER {name} BEFORE UPDATE ON trail_trailentry BEGIN SELECT 1; END")
            else:
                cursor.execute(
                    f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NEW; END';"
                    f"CREATE TRIGGER {name} BEFORE UPDATE ON trail_trailentry FOR EACH ROW EXECUTE FUNCTION {name}()"
                )
            self.assertEqual([(f.kind, f.where) for f in self.faults()], [("guard_altered", f"guard {name}")])
            transaction.set_rollback(True)
        with transaction.atomic(), connection.cursor() as cursor:
            unique = "cycle_once_per_specimen"
            cursor.execute(f"DROP INDEX {unique}")
            self.assertEqual([f.where for f in self.faults()], [f"constraint {unique}"])
            transaction.set_rollback(True)

    def test_the_command_ends_with_a_sentence(self):
        with transaction.atomic():
            guarding.drop()
            Specimen.objects.filter(pk=self.open_piece.pk).update(times_wetted=5)
            guarding.install()
            said = StringIO()
            with self.assertRaisesMessage(CommandError, "1 thing wrong."):
                call_command("check_lab", stdout=said)
            self.assertIn(f"specimen {self.open_piece.code}: it counts 5 times wetted, the loads 1", said.getvalue())
            transaction.set_rollback(True)
