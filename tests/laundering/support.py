"""Small steps that the laundry's tests share: everything through the services, as the lab does it."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django.db import transaction

from apps.accounts.models import User
from apps.accounts.queries import the_lab
from apps.intake import services as intake
from apps.intake.models import Request, Specimen
from apps.intake.services import JobDetails, SampleDetails
from apps.laundering import services
from apps.laundering.models import Drying, Load, LoadPiece
from apps.laundering.queries import Group, groups, of_group, waiting
from apps.measuring import services as measuring
from apps.methods.models import DryingProcedure, LaunderingProcedure
from apps.reporting.models import Amendment, Report, ReportRequest
from apps.trail.queries import timeline
from tests.cast import NOON, a_request_for, with_originals

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
WASH = {
    "specimen_mass_g": "240",
    "ballast_mass_g": "1560",
    "ballast_pieces": "12",
    "ballast": "type 3",
    "detergent": "1993 AATCC Standard Reference Detergent",
    "detergent_lot": "L-1",
    "detergent_g": "66",
    "water_temp_c": "41",
    "temp_source": "dip",
    "programme": "Normal",
    "water_level": "72 L",
}


def requests(cast, *, samples: int = 1, construction: str = "woven", bleeds: bool = False, **order) -> list[Request]:
    """One job, one request a sample; three cycles, measured after the first and the last."""
    order = {"cycles": 3, "measured_after": (1, 3), **order}
    if code := order.pop("wash", ""):
        order["procedure"] = LaunderingProcedure.objects.get(code=code)
    if code := order.pop("dry", ""):
        order["drying"] = DryingProcedure.objects.get(code=code)
    sample = SampleDetails(
        "a cloth, invented", construction, bleeds_or_sheds=bleeds, requests=(a_request_for(**order),)
    )
    job = JobDetails(cast.quellbach, received_at=NOON - HOUR)
    row = intake.receive_job(job=job, samples=[sample] * samples, by=cast.fran, at=NOON - HOUR)
    return list(Request.objects.filter(sample__job=row).order_by("pk"))


def ready(cast, *, count: int = 3, originals: str = "250", **how) -> Request:
    """A request whose specimens are marked and measured: they may be washed."""
    (request,) = requests(cast, **how)
    fewer = "cloth is short" if count < 3 else ""
    measuring.cut_and_mark(request_id=request.pk, count=count, fewer_reason=fewer, by=cast.bea, at=NOON - HOUR)
    return with_originals(cast, request, originals, at=NOON - HOUR)


def pieces_of(*requests: Request) -> list[Specimen]:
    return list(Specimen.objects.filter(request__in=requests).order_by("pk"))


def laundry_queue(user: User, today: date) -> list[Group]:
    """All groups that wait for a wash, each with all its pieces."""
    pieces = waiting(user)
    found = groups(user, the_lab(), today)
    for group in found:
        group.pieces = list(of_group(pieces, group.key))
    return found


def make_up(cast, *requests: Request, **how) -> Load:
    ids = [specimen.pk for specimen in pieces_of(*requests)]
    return services.make_up_load(**{"specimen_ids": ids, "by": cast.lou, "at": NOON, **how})


def start(cast, load: Load, **how) -> Load:
    return services.start_wash(
        **{"load_id": load.pk, "washer_id": cast.washers[0].pk, **WASH, "by": cast.lou, "at": NOON, **how}
    )


def end(cast, load: Load, **how) -> Load:
    return services.end_wash(**{"load_id": load.pk, "by": cast.lou, "at": NOON, **how})


def dry(cast, *loads: Load, **how) -> Drying:
    ids = list(LoadPiece.objects.filter(load__in=loads, open=True).values_list("pk", flat=True))
    dryer = cast.dryers[0].pk
    return services.start_drying(**{"piece_ids": ids, "dryer_id": dryer, "by": cast.lou, "at": NOON, **how})


def end_dry(cast, drying: Drying, **how) -> Drying:
    return services.end_drying(
        **{"drying_id": drying.pk, "lint_filter_cleaned": True, "by": cast.lou, "at": NOON, **how}
    )


def washed(cast, *requests: Request, **how) -> Load:
    """Made up, washed, nothing dried yet."""
    return end(cast, start(cast, make_up(cast, *requests), **how))


def dried(cast, *requests: Request) -> Load:
    """Washed and dried: all that is missing is the tick."""
    load = washed(cast, *requests)
    end_dry(cast, dry(cast, load))
    return load


def tick_all(cast, load: Load) -> None:
    shown = dict(load.pieces.filter(open=True).values_list("specimen_id", "ordinal"))
    services.tick_cycles(shown=shown, by=cast.lou, at=NOON)


def whole_cycle(cast, *requests: Request) -> Load:
    load = dried(cast, *requests)
    tick_all(cast, load)
    return load


@transaction.atomic
def issue(request: Request, *, by: User) -> Report:
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
    return report


@transaction.atomic
def amend(request: Request, report: Report, *, opened_for: str, by: User) -> None:
    Amendment.objects.create(report=report, reason="a slip", opened_for=opened_for, by=by, at=NOON)
    Request.objects.filter(pk=request.pk).update(lock=Request.Lock.AMENDING, opened_for=opened_for)


def told(request: Request, kind: str) -> list[dict[str, Any]]:
    """What the job's trail holds of one kind of act, oldest first."""
    entries = timeline(request.sample.job.stream).filter(kind=kind).order_by("seq")
    return [entry.facts for entry in entries]


def deviations(request: Request) -> Sequence[str]:
    return [row.text for row in request.deviations.order_by("pk")]
