"""What programs see: the rows of the pages, as plain values."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from apps.accounts.models import Token, User
from apps.api.operations import BASE, JSON, WORKBOOK
from apps.calc.lengths import format_length
from apps.calc.numbering import is_valid
from apps.intake.locks import is_open
from apps.intake.models import Job, Request, Specimen
from apps.intake.queries import label_code
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.queries import due_stages, stage_words
from apps.portal.queries import STEPS, OwnJob, Progress, Test, found, own_reports, seen_by
from apps.reporting.models import Report
from apps.reporting.queries import Issued, reports


def me(token: Token) -> dict[str, Any]:
    person = token.person
    return {
        "person": person.full_name,
        "roles": sorted(role.value for role in person.roles),
        "customer": person.customer.name if person.customer else None,
        "token": {"name": token.name, "ends_on": token.ends_on},
    }


# Pages


@dataclass(frozen=True)
class Page:
    """Some rows, and the number after which the next page goes on; nothing at the end."""

    rows: list[Any]
    after: str | None


class UnknownMark(LookupError):
    """The row that a page was to go on after is not there."""


def page_of(rows: QuerySet, *, after: str | None, limit: int) -> Page:
    """The newest first. A page goes on after a row, so that what comes in meanwhile moves nothing."""
    if after is not None:
        mark = rows.model.objects.filter(number=after, pk__in=rows.order_by().values("pk")).values_list("pk", flat=True)
        if (last := mark.first()) is None:
            raise UnknownMark(after)
        rows = rows.filter(pk__lt=last)
    shown = list(rows.order_by("-pk")[: limit + 1])
    more = len(shown) > limit
    return Page(shown[:limit], shown[limit - 1].number if more else None)


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time.min))


# Jobs


def jobs(user: User, *, show: str, purchase_order: str | None, received_since: date | None) -> QuerySet[Job]:
    rows = found(user, part="", only_open=show == "open").select_related("customer")
    if purchase_order is not None:
        rows = rows.filter(purchase_order=purchase_order)
    if received_since is not None:
        rows = rows.filter(received_at__gte=_midnight(received_since))
    return rows


def job_lines(user: User, rows: Iterable[Job]) -> list[dict[str, Any]]:
    return [_job_line(own) for own in seen_by(user, rows)]


def job_told(user: User, number: str) -> dict[str, Any] | None:
    """One job with its samples and tests; to the lab with the specimens."""
    row = found(user, part="", only_open=False).select_related("customer").filter(number=number).first()
    if row is None:
        return None
    (own,) = seen_by(user, [row])
    specimens: dict[int, list[Specimen]] | None = None
    if user.is_staff_of_lab:
        specimens = {}
        pieces = Specimen.objects.visible_to(user).filter(request__sample__job=row).select_related("request")
        for piece in pieces.order_by("number"):
            specimens.setdefault(piece.request_id, []).append(piece)
    samples = [
        {
            "code": sample.code,
            "description": sample.description,
            "kind": sample.kind,
            "construction": sample.construction,
            "fibre": sample.fibre,
            "colour": sample.colour,
            "tests": [_test(test, specimens) for test in tests],
        }
        for sample, tests in own.by_sample
    ]
    return {**_job_line(own), "samples": samples, "reports": [report_line(issued) for issued in own.reports]}


def _job_line(own: OwnJob) -> dict[str, Any]:
    job = own.job
    return {
        "number": job.number,
        "customer": job.customer.name,
        "purchase_order": job.purchase_order,
        "received_at": job.received_at,
        "due_on": job.due_on,
        "priority": job.priority,
        "standing": _standing(own.progress),
        "href": f"{BASE}/jobs/{job.number}",
    }


def _standing(progress: Progress) -> dict[str, str]:
    return {"step": STEPS[progress.step].lower().replace(" ", "_"), "words": progress.word}


def _test(test: Test, specimens: dict[int, list[Specimen]] | None) -> dict[str, Any]:
    request = test.request
    told = {
        "code": str(request),
        "method": str(request.method),
        "procedure": str(request.procedure),
        "drying": str(request.drying),
        "cycles": request.cycles,
        "measured_after": request.measured_cycles,
        "limits": {
            direction: dict(zip(("lower", "upper"), request.limits(direction), strict=True))
            for direction in ("length", "width")
        },
        "standing": _standing(test.progress),
    }
    if specimens is not None:
        told["specimens"] = [_piece(piece) for piece in specimens.get(request.pk, [])]
    return told


def _piece(piece: Specimen) -> dict[str, Any]:
    return {
        "label": label_code(piece.code),
        "code": piece.code,
        "stage": piece.stage,
        "cycles_done": piece.cycles_valid,
        "standing": piece.standing,
        "href": f"{BASE}/specimens/{label_code(piece.code)}",
    }


# Reports


def issued_reports(user: User, *, show: str, job: str | None, issued_since: date | None) -> QuerySet[Report]:
    rows = own_reports(user)
    if show == "in_force":
        rows = rows.filter(replaced_by=None, withdrawal=None, final_number=None)
    if job is not None:
        rows = rows.filter(job__number=job)
    if issued_since is not None:
        rows = rows.filter(approved_at__gte=_midnight(issued_since))
    return rows


def report_lines(rows: Iterable[Report]) -> list[dict[str, Any]]:
    return [report_line(Issued(row)) for row in rows]


def report_line(issued: Issued) -> dict[str, Any]:
    report = issued.report
    return {
        "number": report.number,
        "job": report.job.number,
        "revision": report.revision,
        "state": issued.state,
        "interim": report.interim,
        "words": issued.word,
        "issued_at": report.approved_at,
        "replaced_by": issued.followed_by or None,
        "href": f"{BASE}/reports/{report.number}",
    }


def issued_report(user: User, number: str) -> Issued | None:
    row = reports(user).defer("replaced_by__facts").filter(number=number).first()
    return Issued(row) if row else None


def report_told(issued: Issued) -> dict[str, Any]:
    report, withdrawal = issued.report, issued.withdrawal
    files = [("json", JSON, report.facts_sha256), ("csv", "text/csv", None), ("xlsx", WORKBOOK, None)]
    if issued.has_file:
        files.insert(0, ("pdf", "application/pdf", report.pdf))
    return {
        **report_line(issued),
        "verification_code": report.verification_code,
        "withdrawn": {"at": withdrawal.at, "reason": withdrawal.reason} if withdrawal else None,
        "facts_sha256": report.facts_sha256,
        "files": [
            {"kind": kind, "media_type": media, "sha256": digest, "href": f"{BASE}/reports/{report.number}/{kind}"}
            for kind, media, digest in files
        ],
        "facts": issued.facts.data,
    }


# Specimens


def code_of_label(label: str) -> str | None:
    """The specimen's code that a label carries; None when the check character is wrong or it is no label."""
    bare = label.replace("-", "").upper()
    if len(bare) < 11 or not is_valid(bare):
        return None
    return f"{bare[:2]}-{bare[2:8]}-{bare[8:-1]}"


def specimen_told(user: User, label: str) -> dict[str, Any] | None:
    """What a device asks before it reads: where the specimen stands, what is due, what was read."""
    readings = Reading.objects.in_force().order_by("stage")
    pairs = BenchmarkPair.objects.order_by("direction", "number").prefetch_related(Prefetch("readings", readings))
    rows = Specimen.objects.visible_to(user).select_related("request__sample__job", "request__method")
    piece = rows.prefetch_related(Prefetch("pairs", pairs)).filter(code=code_of_label(label) or "").first()
    if piece is None:
        return None
    request = piece.request
    return {
        **_piece(piece),
        "job": request.sample.job.number,
        "sample": request.sample.code,
        "test": str(request),
        "method": str(request.method),
        "cycles": request.cycles,
        "due": _due(piece) if is_open(request, Request.OpenedFor.READINGS) else None,
        "readings": [_reading(row, pair, piece) for pair in piece.pairs.all() for row in pair.readings.all()],
    }


def _due(piece: Specimen) -> dict[str, Any] | None:
    stage = next(iter(due_stages([piece])), None)
    if stage is None:
        return None
    owed = [
        {"direction": pair.direction, "pair": pair.number, "name": pair.name, "marked_mm": pair.nominal_mm}
        for pair in piece.pairs.all()
        if pair.is_due_at(stage) and all(row.stage != stage for row in pair.readings.all())
    ]
    return {"stage": stage, "words": stage_words(stage), "pairs": owed}


def _reading(row: Reading, pair: BenchmarkPair, piece: Specimen) -> dict[str, Any]:
    return {
        "specimen": label_code(piece.code),
        "direction": pair.direction,
        "pair": pair.number,
        "stage": row.stage,
        "value": row.text,
        "unit": row.unit,
        "mm": format_length(row.mm, "mm"),
        "read_at": row.at.astimezone(UTC),
    }


def readings_told(rows: Iterable[Reading]) -> list[dict[str, Any]]:
    """Readings with their pairs and specimens, which are there already."""
    return [_reading(row, row.pair, row.pair.specimen) for row in rows]
