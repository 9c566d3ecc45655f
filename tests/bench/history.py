"""A lab's book of any size, written past the services (which take an hour for a year) but under the guards."""

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.db import connection, models, transaction
from django.db.models import F

from apps.calc.numbering import check_char
from apps.core import clock
from apps.equipment.models import Equipment
from apps.intake.models import ContractReview, Job, Request, Sample, Specimen
from apps.laundering.models import CycleLog, Drying, Load, LoadPiece
from apps.measuring.models import BenchmarkPair, Reading
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod
from apps.reporting.models import Report, ReportFile, ReportRequest
from apps.trail.services import store_blob
from tests.cast import Cast, assemble

Stage = Specimen.Stage
BATCH, DRUM, DRUMS_A_DAY = 2000, 12, 20
WASHES, DRYING, METHOD = ("aatcc-1-iii", "aatcc-1-iv"), "aatcc-b", "aatcc-tm135-2018-small"
HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Lot:
    """Jobs alike, each with one sample and one request: how many pieces, how far they have come."""

    jobs: int
    stage: Stage = Stage.CUT
    read: tuple[int, ...] = ()
    cycles: int = 0
    pieces: int = 3
    issued: bool = False
    asked: int = 3  # cycles
    measured: tuple[int, ...] = (1, 3)
    logged: bool = True  # its cycles have their loads and logs


def lots(waiting: int, past: int) -> list[Lot]:
    """`waiting`: specimens at each step of the work (to be cut: their requests). `past`: cycles of issued reports."""
    jobs = -(-waiting // 3)
    return [
        Lot(-(-past // 9), Stage.DONE, read=(0, 1, 3), cycles=3, issued=True),
        Lot(jobs, Stage.DONE, read=(0, 1, 3), cycles=3),
        Lot(jobs, Stage.OWED, read=(0,), cycles=1),
        Lot(jobs, Stage.READY, read=(0,)),
        Lot(jobs, Stage.MARKED),
        Lot(jobs, pieces=0),
    ]


class Book:
    """Writes lots one after the other; numbers run on."""

    def __init__(self) -> None:
        self.cast: Cast = assemble()
        self.now = clock.now()
        self.serial, self.drums = 0, 0
        self.method = TestMethod.objects.get(code=METHOD)
        self.washes = [LaunderingProcedure.objects.get(code=code) for code in WASHES]
        self.drying = DryingProcedure.objects.get(code=DRYING)
        self.washer = Equipment.objects.filter(kind="washer").first()

    @transaction.atomic
    def write(self, lot: Lot) -> list[Request]:
        requests = self._requests(lot)
        specimens = keep(Specimen, [self._specimen(request, n, lot) for request in requests for n in range(lot.pieces)])
        if lot.stage != Stage.CUT:
            pairs = keep(BenchmarkPair, [pair for specimen in specimens for pair in self._pairs(specimen)])
            keep(Reading, [self._reading(pair, stage) for stage in lot.read for pair in pairs])
        for ordinal in range(1, lot.cycles + 1) if lot.logged else ():
            self._wash(specimens, ordinal)
        if lot.issued:
            self._issue(requests)
        return requests

    def _job(self) -> Job:
        self.serial += 1
        year, serial = 26 + self.serial // 100_000, self.serial % 100_000
        received = self.now - timedelta(minutes=10 * self.serial % 500_000) - 10 * HOUR
        return Job(
            number=f"{year}-{serial:05d}" + check_char(f"{year}{serial:05d}"),
            customer=self.cast.quellbach if self.serial % 2 else self.cast.zweitfaden,
            purchase_order=f"invented {self.serial}",
            received_at=received,
            received_by=self.cast.fran,
            due_on=(received + timedelta(days=10)).date(),
        )

    def _requests(self, lot: Lot) -> list[Request]:
        jobs = keep(Job, [self._job() for _ in range(lot.jobs)])
        cloth = [("woven", "shirting poplin, invented"), ("knit", "single jersey, invented")]
        samples = [
            Sample(job=job, letter="A", code=f"{job.number}-A", construction=kind, description=words)
            for n, job in enumerate(jobs)
            for kind, words in [cloth[n % 2]]
        ]
        requests = [
            Request(
                sample=sample,
                ordinal=1,
                method=self.method,
                procedure=self.washes[n // 2 % 2],
                drying=self.drying,
                cycles=lot.asked,
                measured_after=",".join(map(str, lot.measured)),
            )
            for n, sample in enumerate(keep(Sample, samples))
        ]
        yes = {"can_do": True, "enough_cloth": True, "agreed": True, "by": self.cast.fran, "at": self.now}
        keep(ContractReview, [ContractReview(request=request, **yes) for request in keep(Request, requests)])
        return requests

    def _specimen(self, request: Request, n: int, lot: Lot) -> Specimen:
        counts = {"cycles_valid": lot.cycles, "times_wetted": lot.cycles}
        code = f"{request.sample.code}{n + 1}"
        since = self.now - HOUR
        return Specimen(request=request, number=n + 1, code=code, stage=lot.stage, stage_since=since, **counts)

    def _pairs(self, specimen: Specimen) -> list[BenchmarkPair]:
        return [
            BenchmarkPair(specimen=specimen, direction=direction, number=number, nominal_mm=self.method.benchmark_mm)
            for direction in BenchmarkPair.Direction.values
            for number in range(1, self.method.pairs_per_direction + 1)
        ]

    def _reading(self, pair: BenchmarkPair, stage: int) -> Reading:
        mm = Decimal(250) - stage % 7 - Decimal(pair.number) / 2
        when = {"at": self.now - HOUR, "recorded_at": self.now - HOUR}
        return Reading(pair=pair, stage=stage, text=str(mm), unit="mm", mm=mm, read_by=self.cast.bea, **when)

    def _wash(self, specimens: Sequence[Specimen], ordinal: int) -> None:
        """One cycle of these: made up, washed, dried and ticked off, a drum at a time."""
        drums = [specimens[n : n + DRUM] for n in range(0, len(specimens), DRUM)]
        loads = keep(Load, [self._load(drum[0].request.procedure) for drum in drums])
        of_drum = list(zip(loads, drums, strict=True))
        pieces = keep(
            LoadPiece, [LoadPiece(load=on, specimen=s, ordinal=ordinal) for on, drum in of_drum for s in drum]
        )
        Load.objects.filter(pk__in=[load.pk for load in loads]).update(state=Load.State.WASHED)
        dryings = keep(Drying, [self._drying(load) for load in loads])
        run_of = {load.pk: drying for load, drying in zip(loads, dryings, strict=True)}
        for piece in pieces:
            piece.drying = run_of[piece.load_id]
        LoadPiece.objects.bulk_update(pieces, ["drying"], batch_size=BATCH)
        runs = Drying.objects.filter(pk__in=[drying.pk for drying in dryings])
        runs.update(state=Drying.State.DRIED, ended_at=F("started_at"))
        logged = {"ordinal": ordinal, "done_at": self.now, "done_by": self.cast.lou, "recorded_at": self.now}
        keep(CycleLog, [CycleLog(specimen_id=piece.specimen_id, piece=piece, **logged) for piece in pieces])
        out = LoadPiece.objects.filter(load__in=loads)
        out.update(open=False, outcome=LoadPiece.Outcome.TICKED)

    def _load(self, procedure: LaunderingProcedure) -> Load:
        """As it will have been washed, on a day of its own far back: so many a day, the first ones today."""
        then = self.now - timedelta(days=self.drums // DRUMS_A_DAY)
        self.drums += 1
        who = {"made_up_by": self.cast.lou, "wash_by": self.cast.lou, "washer": self.washer}
        when = {"made_up_at": then, "wash_started_at": then, "wash_ended_at": then}
        weighed = {"specimen_mass_g": 300, "ballast_mass_g": 1500, "detergent_g": 66, "water_temp_c": 41}
        return Load(procedure=procedure, **who, **when, **weighed)

    def _drying(self, load: Load) -> Drying:
        return Drying(procedure=self.drying, started_at=load.wash_ended_at, by=self.cast.lou)

    def _issue(self, requests: list[Request]) -> None:
        """A report over each request, which is locked from then on. Its facts are empty: lists never open them."""
        blob = store_blob(content=b"%PDF, invented", content_type="application/pdf")
        nothing = {"facts": "{}", "facts_sha256": "0" * 64, "facts_version": 1, "chain_seq": 1, "chain_head": "0" * 64}
        by = {"verification_code": "X", "approved_by": self.cast.mara, "approved_at": self.now, "meaning": "approved"}
        reports = [
            Report(job=job, serial=1, number=f"{job.number}-01", **nothing, **by)
            for job in (request.sample.job for request in requests)
        ]
        covers = zip(keep(Report, reports), requests, strict=True)
        keep(ReportRequest, [ReportRequest(report=report, request=request) for report, request in covers])
        files = [ReportFile(report=report, kind="pdf", blob=blob, created_at=self.now) for report in reports]
        keep(ReportFile, files)
        Request.objects.filter(pk__in=[request.pk for request in requests]).update(lock=Request.Lock.LOCKED)


def keep(model: type[models.Model], rows: list) -> list:
    """Insert rows in batches; a long one tells how far it is."""
    told = time.monotonic()
    for start in range(0, len(rows), BATCH):
        model.objects.bulk_create(rows[start : start + BATCH])
        if time.monotonic() - told > 5:
            told = time.monotonic()
            print(f"  {model._meta.verbose_name_plural}: {start + BATCH} of {len(rows)}", file=sys.stderr, flush=True)
    return rows


def write(waiting: int, past: int) -> Book:
    """The whole book, and the planner knows it."""
    book = Book()
    for lot in lots(waiting, past):
        book.write(lot)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return book
