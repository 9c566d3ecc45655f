"""Small steps that the measuring tests share."""

from datetime import datetime, timedelta

from django.db import transaction

from apps.equipment.models import Equipment
from apps.intake.models import Request, Specimen
from apps.intake.services import advance
from apps.laundering.models import CycleLog, Drying, Load, LoadPiece
from apps.measuring.models import BenchmarkPair
from apps.reporting.models import Report, ReportRequest
from tests.cast import NOON

HOUR = timedelta(hours=1)


def pair(request: Request, name: str) -> BenchmarkPair:
    """`A1 length 2` of a request."""
    code, direction, number = name.split()
    return BenchmarkPair.objects.get(
        specimen__request=request, specimen__code__endswith=f"-{code}", direction=direction, number=number
    )


@transaction.atomic
def into_load(request: Request, *, by, at: datetime = NOON) -> Load:
    """All pieces that may be washed lie in a load."""
    load = Load.objects.create(procedure=request.procedure, made_up_at=at, made_up_by=by)
    for specimen in request.specimens.filter(stage=Specimen.Stage.READY):
        LoadPiece.objects.create(load=load, specimen=specimen, ordinal=specimen.next_cycle)
        advance(specimen=specimen, to=Specimen.Stage.IN_LOAD, at=at)
    return load


@transaction.atomic
def out_of_load(load: Load, *, by, at: datetime = NOON) -> None:
    """Washed, dried and ticked off; the readings are due where the request asks for them."""
    row = Load.objects.filter(pk=load.pk)
    weighed = {"specimen_mass_g": 300, "ballast_mass_g": 1500, "detergent_g": 66, "water_temp_c": 41, "wash_by": by}
    row.update(state="washing", washer=Equipment.objects.get(name="W1"), wash_started_at=at, **weighed)
    row.update(state="washed", wash_ended_at=at)
    pieces = list(load.pieces.select_related("specimen__request").filter(open=True))
    drying = Drying.objects.create(procedure=pieces[0].specimen.request.drying, started_at=at, by=by)
    load.pieces.update(drying=drying)
    Drying.objects.filter(pk=drying.pk).update(state="dried", ended_at=at, lint_filter_cleaned=True)
    for piece in pieces:
        who = {"done_at": at, "done_by": by, "recorded_at": at}
        CycleLog.objects.create(specimen=piece.specimen, ordinal=piece.ordinal, piece=piece, **who)
        LoadPiece.objects.filter(pk=piece.pk).update(open=False, outcome="ticked")
        due = piece.ordinal in piece.specimen.request.measured_cycles
        to = Specimen.Stage.OWED if due else Specimen.Stage.READY
        advance(specimen=piece.specimen, to=to, at=at, cycle_done=True, wetted=True)


def washed(request: Request, *, by, cycles: int = 1, at: datetime = NOON) -> Request:
    """That many cycles more, in the simplest way."""
    for _ in range(cycles):
        out_of_load(into_load(request, by=by, at=at), by=by, at=at)
    return request


@transaction.atomic
def issue(request: Request, *, by) -> None:
    """A report covers the request, which is locked from here on."""
    job = request.sample.job
    report = Report.objects.create(
        job=job,
        serial=request.pk,
        number=f"{job.number}-R{request.pk}",
        facts="{}",
        facts_sha256="0" * 64,
        facts_version=1,
        chain_seq=1,
        chain_head="0" * 64,
        verification_code="X",
        approved_by=by,
        approved_at=NOON,
        meaning="approved",
    )
    ReportRequest.objects.create(report=report, request=request)
    Request.objects.filter(pk=request.pk).update(lock=Request.Lock.LOCKED)
