"""Whether a request is ready for the manager, and if not, what it waits for."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import Exists, OuterRef, Q

from apps.intake.models import Deviation, Request, SendBack, Specimen
from apps.laundering.models import LoadPiece
from apps.laundering.queries import held, void_to_judge
from apps.measuring.models import Reading
from apps.reporting.models import Cancellation, Retest

FINISHED = (Specimen.Stage.DONE, Specimen.Stage.SET_ASIDE)
UNFINISHED = [stage for stage in Specimen.Stage if stage not in FINISHED]


def obstacles(
    requests: Iterable[Request], results: Mapping[int, Any] | None = None, *, interim: bool = False
) -> dict[int, list[str]]:
    """What stands between each request and its report, in short sentences; an empty list is ready.

    Seven queries, however many requests, two more while a machine is held. With `results`, readings that lack are
    named too. An `interim` report may go out while the work goes on, once there is a result.
    """
    requests = list(requests)
    specimens, sent_back = defaultdict(list), defaultdict(list)
    for specimen in Specimen.objects.filter(request__in=requests).order_by("number"):
        specimens[specimen.request_id].append(specimen)
    for row in SendBack.objects.filter(request__in=requests, answered_at=None):
        sent_back[row.request_id].append(row)
    at_risk, void = _not_judged(requests), defaultdict(list)
    for piece in void_to_judge(requests):
        void[piece.specimen.request_id].append(piece)
    cancelled = dict(Cancellation.objects.filter(request__in=requests).values_list("request", "reason"))
    alone, on_hold = _retests_alone(requests), held(requests)
    found = {}
    for request in requests:
        if request.pk in cancelled:
            found[request.pk] = [f"Cancelled: {cancelled[request.pk]}"]
            continue
        told = [] if interim else _of_specimens(request, specimens[request.pk])
        told += [f"Sent back to the {row.get_to_display()}: {row.reason}" for row in sent_back[request.pk]]
        if request.pk in alone:
            told.append(f"It tests {alone[request.pk]} anew. The first result is told too: in this report, or before.")
        if request.pk in at_risk:
            told.append("A deviation done at risk is not judged yet.")
        told += _of_void(void[request.pk])
        told += [
            f"{one.hold.equipment} is held since its check fabric gave an alarm ({one.loads_told}): {one.hold.reason}"
            for one in on_hold.get(request.pk, ())
        ]
        if request.has_limits and not request.contract_review.agreed:
            told.append("The order review does not say that method, limits and rule are agreed. The front desk can.")
        if interim and not (results and results[request.pk].directions):
            told.append("There is no result yet.")
        elif results is not None and not told and not interim:
            told += results[request.pk].missing
        found[request.pk] = told
    return found


def _retests_alone(requests: list[Request]) -> dict[int, str]:
    """Retests whose first request is neither reported nor among these: no first result is left out."""
    among = {request.pk for request in requests}
    rows = Retest.objects.filter(request__in=among).exclude(first__in=among).select_related("first__sample")
    rows = rows.exclude(first__lock__in=(Request.Lock.LOCKED, Request.Lock.AMENDING))
    return {row.request_id: str(row.first) for row in rows}


def _of_specimens(request: Request, specimens: list[Specimen]) -> list[str]:
    if not specimens:
        return ["No specimen is cut yet."]
    if all(specimen.stage == Specimen.Stage.SET_ASIDE for specimen in specimens):
        return ["Every specimen is set aside."]
    standing = defaultdict(list)
    for specimen in specimens:
        if specimen.stage not in FINISHED:
            specimen.request = request
            standing[specimen.standing].append(specimen.short_code)
    return [f"{', '.join(codes)}: {words}." for words, codes in standing.items()]


def _of_void(pieces: Iterable[LoadPiece]) -> list[str]:
    """Cloth that was wetted in vain: on the load's page the manager says what becomes of it."""
    loads = defaultdict(list)
    for piece in pieces:
        loads[piece.load_id].append(piece.specimen.short_code)
    return [
        f"{', '.join(codes)}: wetted in load {load} without a cycle; judge on the page of load {load} whether they go"
        " on or are repeated."
        for load, codes in loads.items()
    ]


def _not_judged(requests: list[Request]) -> set[int]:
    """Requests with a deviation done at risk that nobody has judged. One of a whole load or job holds all of it."""
    rows = Deviation.objects.filter(
        Q(request__in=requests) | Q(specimen__request__in=requests) | Q(request=None, specimen=None),
        job__in={request.sample.job_id for request in requests},
        at_risk=True,
        judged_at=None,
    )
    held = set()
    for row in rows.select_related("specimen"):
        of = row.request_id or (row.specimen.request_id if row.specimen else None)
        held |= {of} if of else {r.pk for r in requests if r.sample.job_id == row.job_id}
    return held


def finished(requests):
    """Of a queryset of requests: those not locked whose specimens are all through, so that the manager may look."""
    own = Specimen.objects.filter(request=OuterRef("pk"))
    done, going = own.filter(stage=Specimen.Stage.DONE), own.filter(stage__in=UNFINISHED)
    return requests.exclude(lock=Request.Lock.LOCKED).filter(Exists(done), ~Exists(going))


def begun(requests):
    """Of a queryset of requests: those still open of which something is read after a cycle: enough for an interim
    report."""
    own = Reading.objects.in_force().filter(stage__gt=0, pair__specimen__request=OuterRef("pk"))
    return requests.filter(Exists(own.exclude(pair__specimen__stage=Specimen.Stage.SET_ASIDE)), lock=Request.Lock.OPEN)
