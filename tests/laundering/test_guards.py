"""Writing past the services: what an issued report rests on stays as it is, by whatever way it comes."""

import pytest
from django.db import IntegrityError, connection, models, transaction

from apps.intake.models import Request
from apps.laundering import services
from apps.laundering.models import (
    CycleLog,
    Drying,
    DryingCorrection,
    Load,
    LoadCorrection,
    LoadPiece,
    VoidJudgement,
)
from apps.laundering.services import DryingRecord, WashRecord
from tests.cast import NOON, LabTestCase
from tests.laundering.support import WASH, amend, dried, issue, make_up, ready, start, washed, whole_cycle

VOID_DRYINGS = LoadPiece.void_dryings.through
MODELS = (Load, Drying, LoadPiece, CycleLog, LoadCorrection, DryingCorrection, VoidJudgement, VOID_DRYINGS)
EMPTY = (VOID_DRYINGS, VoidJudgement)


def run(sql: str, *values) -> int:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.rowcount


def copied(model: type[models.Model], pk: int, *, head: str = "INSERT INTO", tail: str = "", **changes) -> int:
    """Insert a copy of a row with some columns otherwise; without an `id` among them it gets a new one."""
    table = model._meta.db_table
    columns = [field.column for field in model._meta.local_fields if field.column != "id" or "id" in changes]
    taken = [str(changes[name]) if name in changes else f'"{name}"' for name in columns]
    names = ", ".join(f'"{name}"' for name in columns)
    return run(f"{head} {table} ({names}) SELECT {', '.join(taken)} FROM {table} WHERE id = {pk} {tail}")


class IssuedRequestTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.request, cls.free = ready(cls, measured_after=(3,)), ready(cls, measured_after=(3,))
        cls.load = whole_cycle(cls, cls.request)
        record = WashRecord(washer_id=cls.washers[1].pk, wash_started_at=NOON, wash_ended_at=NOON, **WASH)
        cls.correction = services.correct_load(
            load_id=cls.load.pk, shown_revision=0, record=record, reason="slip", by=cls.lou, at=NOON
        )
        cls.drying = Drying.objects.get()
        cls.dried = services.correct_drying(
            drying_id=cls.drying.pk,
            shown_revision=0,
            record=DryingRecord(lint_filter_cleaned=True),
            dryer_id=cls.dryers[1].pk,
            started_at=NOON,
            ended_at=NOON,
            reason="slip",
            by=cls.lou,
            at=NOON,
        )
        cls.piece = cls.load.pieces.order_by("pk").first()
        cls.cycle = CycleLog.objects.get(piece=cls.piece)
        whole_cycle(cls, cls.free)
        cls.open_load = make_up(cls, cls.free)
        cls.open_piece = cls.open_load.pieces.order_by("pk").first()
        cls.free_cycle = CycleLog.objects.get(specimen=cls.open_piece.specimen)
        cls.free_load = cls.free_cycle.piece.load
        cls.report = issue(cls.request, by=cls.mara)

    def each_refused(self, acts: dict) -> None:
        for name, act in acts.items():
            with self.subTest(name), self.assertRaises(IntegrityError), transaction.atomic():
                act()

    def test_nothing_of_it_changes(self):
        load, piece, cycle = f"id = {self.load.pk}", f"id = {self.piece.pk}", f"id = {self.cycle.pk}"
        statements = [
            f"UPDATE laundering_load SET water_temp_c = 20 WHERE {load}",
            f"UPDATE laundering_load SET state = 'void', void_reason = 'x' WHERE {load}",
            f"UPDATE laundering_load SET state = 'washing' WHERE {load}",
            f"UPDATE laundering_drying SET exhaust_c = 20 WHERE id = {self.drying.pk}",
            f"UPDATE laundering_drying SET state = 'void', void_reason = 'x' WHERE id = {self.drying.pk}",
            f"UPDATE laundering_loadpiece SET ordinal = 2 WHERE {piece}",
            f"UPDATE laundering_loadpiece SET outcome = 'void', reason = 'x' WHERE {piece}",
            f"UPDATE laundering_loadpiece SET drying_id = NULL WHERE {piece}",
            f"UPDATE laundering_cyclelog SET done_by_id = {self.mara.pk} WHERE {cycle}",
            f"UPDATE laundering_cyclelog SET voided_at = done_at, voided_by_id = {self.mara.pk},"
            f" void_reason = 'x' WHERE {cycle}",
            f"UPDATE laundering_loadcorrection SET water_temp_c = 20 WHERE id = {self.correction.pk}",
            f"UPDATE laundering_dryingcorrection SET exhaust_c = 20 WHERE id = {self.dried.pk}",
        ]
        statements += [f"DELETE FROM {model._meta.db_table}" for model in MODELS if model not in EMPTY]
        self.each_refused({sql: lambda sql=sql: run(sql) for sql in statements})

    def test_nothing_is_added_to_it(self):
        issued = self.piece.specimen_id
        adds = {
            "piece": lambda: copied(LoadPiece, self.open_piece.pk, specimen_id=issued),
            "piece into the closed load": lambda: copied(LoadPiece, self.open_piece.pk, load_id=self.load.pk),
            "cycle": lambda: copied(CycleLog, self.cycle.pk, ordinal=2),
            "correction": lambda: copied(LoadCorrection, self.correction.pk, revision=2),
            "correction of a drying": lambda: copied(DryingCorrection, self.dried.pk, revision=2),
            "void drying": lambda: run(
                "INSERT INTO laundering_loadpiece_void_dryings (loadpiece_id, drying_id) VALUES (%s, %s)",
                self.piece.pk,
                self.drying.pk,
            ),
        }
        self.each_refused(adds)

    def test_nothing_moves_in_or_out(self):
        piece, other = self.piece, self.open_piece
        statements = [
            f"UPDATE laundering_loadpiece SET specimen_id = {other.specimen_id} WHERE id = {piece.pk}",
            f"UPDATE laundering_loadpiece SET specimen_id = {piece.specimen_id} WHERE id = {other.pk}",
            f"UPDATE laundering_loadpiece SET load_id = {self.free_load.pk} WHERE id = {piece.pk}",
            f"UPDATE laundering_loadpiece SET load_id = {self.load.pk} WHERE id = {other.pk}",
            f"UPDATE laundering_loadpiece SET drying_id = {self.drying.pk} WHERE id = {other.pk}",
            f"UPDATE laundering_cyclelog SET specimen_id = {other.specimen_id} WHERE id = {self.cycle.pk}",
            f"UPDATE laundering_cyclelog SET specimen_id = {piece.specimen_id} WHERE id = {self.free_cycle.pk}",
            f"UPDATE laundering_cyclelog SET piece_id = {other.pk} WHERE id = {self.cycle.pk}",
            f"UPDATE laundering_loadcorrection SET load_id = {self.free_load.pk} WHERE id = {self.correction.pk}",
        ]
        for model in (Load, Drying, LoadPiece, CycleLog, LoadCorrection, DryingCorrection):
            statements.append(f"UPDATE {model._meta.db_table} SET id = id + 1000")
        self.each_refused({sql: lambda sql=sql: run(sql) for sql in statements})

    def test_an_upsert_or_replace_puts_nothing_over_it(self):
        rows = [
            (Load, self.load.pk, "water_temp_c"),
            (Drying, self.drying.pk, "exhaust_c"),
            (LoadPiece, self.piece.pk, "ordinal"),
            (CycleLog, self.cycle.pk, "ordinal"),
            (LoadCorrection, self.correction.pk, "water_temp_c"),
            (DryingCorrection, self.dried.pk, "exhaust_c"),
        ]
        acts = {}
        for model, pk, column in rows:
            tail = f"ON CONFLICT (id) DO UPDATE SET {column} = 9"
            acts[f"upsert {model.__name__}"] = lambda m=model, k=pk, t=tail: copied(m, k, id=k, tail=t)
            if connection.vendor == "sqlite":
                for head in ("INSERT OR REPLACE INTO", "REPLACE INTO"):
                    changes = {"id": pk, column: 9}
                    acts[f"{head} {model.__name__}"] = lambda m=model, k=pk, h=head, c=changes: copied(
                        m, k, head=h, **c
                    )
        if connection.vendor == "sqlite":
            # A new key, yet the same cycle of the same specimen, and the same piece of the same load.
            acts["same cycle"] = lambda: copied(CycleLog, self.cycle.pk, head="REPLACE INTO", id=99_999)
            acts["same piece"] = lambda: copied(LoadPiece, self.piece.pk, head="REPLACE INTO", id=99_999)
        self.each_refused(acts)

    @pytest.mark.postgres_only
    def test_no_table_is_emptied(self):
        run("SET CONSTRAINTS ALL IMMEDIATE")
        acts = {}
        for model in MODELS:
            table = model._meta.db_table
            acts[table] = lambda table=table: run(f"TRUNCATE {table} CASCADE")
        self.each_refused(acts)

    def test_an_amendment_opens_what_it_is_for(self):
        amend(self.request, self.report, opened_for=Request.OpenedFor.READINGS, by=self.mara)
        self.each_refused(
            {
                "correction": lambda: copied(LoadCorrection, self.correction.pk, revision=2),
                "correction of a drying": lambda: copied(DryingCorrection, self.dried.pk, revision=2),
            }
        )

    def test_an_amendment_of_the_cycle_record_lets_a_correction_in(self):
        amend(self.request, self.report, opened_for=Request.OpenedFor.CYCLE_RECORD, by=self.mara)
        self.assertEqual(copied(LoadCorrection, self.correction.pk, revision=2), 1)
        self.assertEqual(copied(DryingCorrection, self.dried.pk, revision=2), 1)
        self.each_refused(
            {"load": lambda: run(f"UPDATE laundering_load SET water_temp_c = 20 WHERE id = {self.load.pk}")}
        )


class VoidJudgementTests(LabTestCase):
    """What the manager said of a void run stays, is said of void pieces only, and not behind an issued report."""

    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.request, cls.free = ready(cls), ready(cls)
        cls.pieces = {}
        for request in (cls.request, cls.free):
            load = start(cls, make_up(cls, request))
            services.void_load(load_id=load.pk, reason="power cut", by=cls.lou, at=NOON)
            cls.pieces[request] = list(load.pieces.order_by("pk"))
        cls.judged = cls.judge(cls.pieces[cls.request][0])
        cls.dry = make_up(cls, cls.free).pieces.order_by("pk").first()
        issue(cls.request, by=cls.mara)

    @classmethod
    def judge(cls, piece: LoadPiece) -> VoidJudgement:
        what = {"decision": "go_on", "text": "no influence", "by": cls.mara, "at": NOON}
        return services.judge_void(piece_ids=[piece.pk], **what)[0]

    def test_it_stays(self):
        statements = [
            f"UPDATE laundering_voidjudgement SET text = 'x' WHERE id = {self.judged.pk}",
            f"UPDATE laundering_voidjudgement SET piece_id = {self.pieces[self.free][0].pk}",
            "UPDATE laundering_voidjudgement SET id = id + 1000",
            "DELETE FROM laundering_voidjudgement",
        ]
        for sql in statements:
            with self.subTest(sql), self.assertRaises(IntegrityError), transaction.atomic():
                run(sql)
        if connection.vendor == "sqlite":
            with self.assertRaises(IntegrityError), transaction.atomic():
                copied(VoidJudgement, self.judged.pk, head="REPLACE INTO", id=self.judged.pk, text="'x'")

    def test_it_is_said_of_a_void_piece_of_an_open_request_once(self):
        refused = (self.pieces[self.request][1].pk, self.dry.pk, self.pieces[self.request][0].pk)
        for piece in refused:
            with self.subTest(piece), self.assertRaises(IntegrityError), transaction.atomic():
                copied(VoidJudgement, self.judged.pk, piece_id=piece)
        self.assertEqual(copied(VoidJudgement, self.judged.pk, piece_id=self.pieces[self.free][0].pk), 1)


class RunningWorkTests(LabTestCase):
    """A report that is issued while a piece is still in the drum freezes that run as well."""

    def test_a_running_wash_of_an_issued_request_stands_still(self):
        request = ready(self)
        load = start(self, make_up(self, request))
        issue(request, by=self.mara)
        for sql in ("SET water_temp_c = 20", "SET state = 'washed', wash_ended_at = wash_started_at"):
            with self.assertRaises(IntegrityError), transaction.atomic():
                run(f"UPDATE laundering_load {sql} WHERE id = {load.pk}")

    def test_a_waiting_tick_of_an_issued_request_stands_still(self):
        request = ready(self)
        load = dried(self, request)
        piece = load.pieces.select_related("specimen").first()
        issue(request, by=self.mara)
        who = {"done_at": NOON, "done_by": self.lou, "recorded_at": NOON}
        with self.assertRaises(IntegrityError), transaction.atomic():
            CycleLog.objects.create(specimen=piece.specimen, ordinal=1, piece=piece, **who)
        with self.assertRaises(IntegrityError), transaction.atomic():
            run("UPDATE laundering_drying SET state = 'void', void_reason = 'x'")

    def test_an_open_request_goes_on(self):
        load = washed(self, ready(self))
        self.assertEqual(load.state, Load.State.WASHED)
