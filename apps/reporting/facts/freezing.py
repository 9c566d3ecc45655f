"""Everything a report says, taken from the tables once and frozen as plain facts: strings, whole numbers, lists.

Numbers are strings, moments are the lab's own wall time with its offset. What is printed later never looks back.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.utils import timezone

from apps.accounts.models import Lab, Role, User
from apps.accounts.queries import the_lab
from apps.core.jsontext import plain
from apps.core.links import whole
from apps.intake.models import Deviation, Job, Photo, Request, Sample
from apps.intake.queries import chosen_photos
from apps.laundering.models import LoadPiece
from apps.laundering.queries import cycle_record
from apps.laundering.queries.record import void_runs
from apps.measuring.queries import extras_of, rested, results_of
from apps.methods.models import Figure
from apps.methods.queries import unconfirmed
from apps.reporting.facts import course, record, wording
from apps.reporting.facts.readings import Specimens, frozen_extras, frozen_rests, frozen_results
from apps.reporting.seal import keys
from apps.trail.queries import timeline

VERSION = 1


@dataclass(frozen=True)
class Approval:
    """The act that issues a report: its numbers, who, when, and where the job's chain then stands."""

    number: str
    serial: int
    revision: int
    verification_code: str
    by: User
    at: datetime
    chain_seq: int
    chain_hash: str
    signs_as: str = "signatory"
    amends: dict[str, Any] | None = None
    interim: bool = False
    follows: Sequence[str] = ()


def freeze(requests: Sequence[Request], approval: Approval | None = None) -> dict[str, Any]:
    """The facts of a report on these requests of one job. Without an approval: a draft, as the manager looks at it.

    The number of queries does not grow with the requests.
    """
    requests = _with_relations(requests)
    job, lab = requests[0].sample.job, the_lab()
    results, cycles, void = results_of(requests), cycle_record(requests), void_runs(requests)
    specimens, rests, extras = Specimens.of(requests), rested(requests), extras_of(requests)
    rows = [row for request in requests for row in cycles.get(request.pk, [])]
    photos = chosen_photos(requests)
    frozen = [
        {
            **_request(request, specimens, results[request.pk], cycles.get(request.pk, []), figures),
            "conditioning": frozen_rests(rests.get(request.pk, [])),
            "extras": frozen_extras(extras.get(request.pk)),
            "photos": _photos(photos[request.pk]),
        }
        for request, figures in _with_figures(requests)
    ]
    people = record.People()
    people.add(job.received_by, "received the job")
    for request in requests:
        people.add(request.contract_review.by, "reviewed the order")
    _who_marked(job, requests, people)
    specimens.tell(people)
    for row in (row for found in rests.values() for row in found):
        people.add(row.rest.stay.by, "conditioned the specimens")
    record.tell(rows, void, people)
    deviations = _deviations(job, requests, people)
    external = course.external({request.sample_id for request in requests})
    if approval:
        people.add(approval.by, f"authorised the report ({Role.MANAGER.label})")
    facts = {
        "facts_version": VERSION,
        "title": wording.INTERIM_TITLE if approval and approval.interim else wording.TITLE,
        "subject": wording.SUBJECT,
        "is_demo": lab.is_demo,
        "report": _report(requests, job, approval, specimens),
        "lab": _lab(lab),
        "customer": _fields(job.customer, "name", "address", "contact", "email"),
        "job": {
            **_fields(job, "number", "contact", "purchase_order"),
            "received_at": moment(job.received_at),
            "received_by": job.received_by.full_name,
        },
        "performed": _span([request["performed"] for request in frozen]),
        "samples": [_sample(sample) for sample in {request.sample_id: request.sample for request in requests}.values()],
        "requests": frozen,
        "loads": record.loads(rows, void),
        "dryings": record.dryings(rows),
        "deviations": deviations,
        "external": external,
        "people": people.told(),
        "statements": _statements(lab, frozen, external, approval),
    }
    return plain(facts)


def _statements(lab: Lab, frozen: list[dict[str, Any]], external: list, approval: Approval | None) -> list[str]:
    return wording.statements(
        scopes={_in_scope(request) for request in frozen},
        is_demo=lab.is_demo,
        years=lab.retention_years,
        seal=keys.told() if approval else None,
        external=bool(external),
    )


def _who_marked(job: Job, requests: Sequence[Request], people: record.People) -> None:
    """Who cut and marked stands in the job's trail alone."""
    marked = timeline(job.stream).filter(kind="specimens.marked", facts__request__in=[str(row) for row in requests])
    for entry in marked.order_by("seq"):
        people.add_named(entry.actor_id, entry.actor_name, "marked the specimens")


def moment(value: datetime | None) -> str | None:
    """The lab's wall time with its offset: later changes of the time zone move no printed hour."""
    return None if value is None else timezone.localtime(value).isoformat(timespec="seconds")


def _with_relations(requests: Sequence[Request]) -> list[Request]:
    return list(
        Request.objects.filter(pk__in=[request.pk for request in requests])
        .select_related(
            *("sample__job__customer", "sample__job__received_by", "method", "procedure", "drying"),
            *("contract_review__by", "cut_plan", "retest__first__sample"),
        )
        .order_by("sample_id", "ordinal")
    )


def _with_figures(requests: list[Request]) -> list[tuple[Request, list[Figure]]]:
    """Each request with the catalogue numbers of its method, wash and drying that the lab has not confirmed."""
    owners = {request.pk: (request.method, request.procedure, request.drying) for request in requests}
    wanted = {row.owner for rows in owners.values() for row in rows}
    found = defaultdict(list)
    for figure in unconfirmed(wanted):
        found[figure.owner].append(figure)
    return [(request, [f for row in owners[request.pk] for f in found[row.owner]]) for request in requests]


def _fields(row: Any, *names: str) -> dict[str, Any]:
    return {name: getattr(row, name) for name in names}


def _lab(lab: Lab) -> dict[str, Any]:
    return {
        **_fields(lab, "name", "address", "email", "phone", "location", "tie", "retention_years"),
        "logo": lab.logo_id or "",
        "accreditation": lab.accreditation,
        "tie_told": wording.TIE[lab.tie],
        "time_zone": settings.TIME_ZONE,
    }


def _report(requests: list[Request], job: Job, approval: Approval | None, specimens: Specimens) -> dict[str, Any]:
    covered = {request.pk for request in requests}
    others = Request.objects.filter(sample__job=job).exclude(pk__in=covered).select_related("sample", "cancellation")
    others = list(others.order_by("sample_id", "ordinal"))
    told = {
        "covers": [str(request) for request in requests],
        "not_covered": [str(request) for request in others if not hasattr(request, "cancellation")],
        "cancelled": [
            {"code": str(request), "reason": request.cancellation.reason}
            for request in others
            if hasattr(request, "cancellation")
        ],
        "draft": approval is None,
    }
    if approval is None:
        return told
    return {
        **told,
        **_fields(approval, "number", "serial", "revision", "verification_code", "amends", "interim", "follows"),
        "issued_at": moment(approval.at),
        "approved_by": {
            "name": approval.by.full_name,
            "role": str(Role.MANAGER.label),
            "signs_as": approval.signs_as,
            "read_values": approval.by.pk in specimens.readers,
        },
        "meaning": wording.MEANING,
        "seal": keys.told(),
        "verify_at": f"{whole('reporting:verify')}?number={approval.number}&code={approval.verification_code}",
        "chain": {"stream": job.stream, "seq": approval.chain_seq, "hash": approval.chain_hash},
    }


def _sample(sample: Sample) -> dict[str, Any]:
    return {
        **_fields(sample, "code", "letter", "description", "kind", "construction", "fibre", "colour"),
        **_fields(sample, "mass_gsm", "size", "care_label", "width_mm", "length_mm", "condition", "fault"),
        "bleeds_or_sheds": sample.bleeds_or_sheds,
        "construction_told": sample.get_construction_display(),
    }


def _in_scope(request: dict[str, Any]) -> bool:
    return request["method"]["in_scope"]


def _request(
    request: Request, specimens: Specimens, result: Any, cycles: list, figures: list[Figure]
) -> dict[str, Any]:
    method, procedure, drying, review = request.method, request.procedure, request.drying, request.contract_review
    return {
        "code": str(request),
        "sample": request.sample.code,
        "ordinal": request.ordinal,
        "method": {
            "name": str(method),
            **_fields(method, "designation", "edition", "title", "specimens", "pairs_per_direction"),
            **_fields(method, "specimen_side_mm", "benchmark_mm", "averaging", "rounding_step"),
            "reading_resolution_mm": method.reading_resolution_mm,
            "averaging_told": wording.AVERAGING[method.averaging],
            # No accreditation mark on a number that the lab has not held against its own copy of the standard.
            "in_scope": method.in_scope and not figures,
        },
        "procedure": {
            "name": str(procedure),
            **_fields(procedure, "title", "source", "machine_kind", "programme", "wash_temp_c"),
            **_fields(procedure, "wash_temp_tolerance_c", "load_mass_g", "load_tolerance_g", "ballast"),
            **_fields(procedure, "detergent", "detergent_g"),
        },
        "drying": {"name": str(drying), **_fields(drying, "label", "title", "source", "kind", "instruction")},
        "cycles": request.cycles,
        "measured_after": request.measured_cycles,
        "limits": {
            direction: dict(zip(("lower", "upper"), request.limits(direction), strict=True))
            for direction in ("length", "width")
        },
        "has_limits": request.has_limits,
        "limits_source": request.limits_source,
        "decision_rule": request.decision_rule,
        "decision_told": wording.DECISION[request.decision_rule],
        "judged_on": "reported",
        "review": {
            **_fields(review, "can_do", "enough_cloth", "agreed", "remark"),
            "against_label": review.contradicts_label,
            "by": review.by.full_name,
            "at": moment(review.at),
        },
        "fewer_reason": request.fewer_reason,
        "retest": course.retest(request),
        "specimens": specimens.frozen(request, result),
        "cutting": specimens.cutting(request),
        "cycle_log": record.cycle_log(cycles),
        **frozen_results(result),
        "performed": _span([specimens.span(request), record.span(cycles)]),
        "unconfirmed": [
            {**_fields(figure, "owner", "name", "value", "source", "confidence"), "used": bool(figure.field)}
            for figure in figures
        ],
    }


def _photos(rows: list[Photo]) -> list[dict[str, Any]]:
    """What the report shows by its SHA-256; the pictures themselves are never part of the facts."""
    return [
        {
            "sha256": row.blob_id,
            "of": row.of,
            "kind": row.kind,
            "kind_told": row.get_kind_display(),
            **_fields(row, "caption", "width", "height"),
            "by": row.by.full_name,
            "at": moment(row.at),
        }
        for row in rows
    ]


def _span(spans: list[Any]) -> dict[str, str | None]:
    """First and last moment of several spans. Moments or their texts; texts are compared as moments."""
    ends = [end for span in spans for end in (span.values() if isinstance(span, dict) else span) if end is not None]
    moments = [datetime.fromisoformat(end) if isinstance(end, str) else end for end in ends]
    return {"first": moment(min(moments, default=None)), "last": moment(max(moments, default=None))}


def _deviations(job: Job, requests: list[Request], people: record.People) -> list[dict[str, Any]]:
    """What was done otherwise on these requests: their own, those of their loads, and those of the whole job."""
    loads = LoadPiece.objects.filter(specimen__request__in=requests).values("load_id")
    of_these = Q(request__in=requests) | Q(specimen__request__in=requests)
    of_loads = Q(request=None, specimen=None, load_number__in=loads)
    of_job = Q(request=None, specimen=None, load_number=None)
    rows = Deviation.objects.filter(of_these | of_loads | of_job, job=job)
    told = []
    for row in rows.select_related("request__sample", "specimen", "by", "judged_by").order_by("at", "id"):
        people.add(row.by, "wrote down a deviation")
        if row.judged_by:
            people.add(row.judged_by, "judged a deviation")
        told.append(
            {
                "id": row.pk,
                "request": str(row.request) if row.request else "",
                "specimen": row.specimen.code if row.specimen else "",
                "load": row.load_number,
                "kind": row.kind,
                "kind_told": row.get_kind_display(),
                "text": row.text,
                "by": row.by.full_name,
                "at": moment(row.at),
                "at_risk": row.at_risk,
                "judgement": row.judgement,
                "judged_by": row.judged_by.full_name if row.judged_by else "",
                "judged_at": moment(row.judged_at),
            }
        )
    return told
