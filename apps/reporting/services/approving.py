"""The manager answers for the results: a report is issued, and what it rests on is locked."""

import secrets
import uuid
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from apps.accounts.models import Role, User
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.core.jsontext import canonical, sha256
from apps.intake.locks import lock_requests
from apps.intake.models import Job, Request
from apps.measuring.models import Reading
from apps.measuring.queries import results_of
from apps.reporting.facts import Approval, changes, freeze, seen
from apps.reporting.facts.freezing import VERSION, moment
from apps.reporting.facts.reader import Facts
from apps.reporting.facts.wording import MEANING
from apps.reporting.models import Amendment, FileDue, Report, ReportFile, ReportRequest
from apps.reporting.queries.readiness import obstacles
from apps.reporting.services.signing import signs_as
from apps.trail import services as trail

# Without letters and figures that are mistaken for one another when read aloud or typed.
CODE_ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"


@transaction.atomic
def approve(
    *,
    request_ids: Iterable[int],
    password_ok: bool,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
    shown: Mapping[int, str] | None = None,
    interim: bool = False,
) -> Report:
    """The manager has looked at these requests of one job and answers for them: the report is issued.

    What it says is frozen, its requests are locked, its file is made afterwards. Requests opened by an amendment come
    out as the next revision. An `interim` report says how far the work is: it is frozen and locks nothing. `shown`: the
    mark of each request as the page showed it (`facts.seen`).
    """
    requests = lock_requests(request_ids)
    payload: dict[str, Any] = {"requests": sorted(request.pk for request in requests)}
    if interim:
        payload["interim"] = True
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Report.objects.get(number=done.facts["report"])
    _check_approver(requests, password_ok, by, at)
    signs = signs_as(methods=(request.method for request in requests), by=by)
    job = _job_of(requests, wanted=set(request_ids))
    _check_ready(requests, interim)
    replaced, amendment = _what_it_replaces(requests)
    number, serial, revision = _next_number(job, replaced)
    told = {"report": number, "requests": [str(request) for request in requests], "meaning": MEANING, "as": signs}
    kept = {"by": by, "at": at, "facts": told, "key": key, "payload": payload}
    entry = (
        trail.record(stream=job.stream, kind="report.interim", **kept)
        if interim
        else trail.record(stream=job.stream, kind="report.approved", **kept)
    )
    approval = Approval(
        number=number,
        serial=serial,
        revision=revision,
        verification_code="".join(secrets.choice(CODE_ALPHABET) for _ in range(12)),
        by=by,
        signs_as=signs,
        at=at,
        chain_seq=entry.seq,
        chain_hash=entry.hash,
        amends=_amends(replaced, amendment),
        interim=interim,
        follows=[] if interim else _interim_before(requests),
    )
    facts = freeze(requests, approval)
    _check_shown(requests, facts, shown)
    if replaced:
        facts["report"]["amends"]["changes"] = changes(Facts.read(replaced.facts).data, facts)
    return _issue(job, requests, approval, facts, replaced, amendment)


def approve_revision(
    *,
    report_id: int,
    password_ok: bool,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
    shown: Mapping[int, str] | None = None,
) -> Report:
    """The manager answers for an amended report: its next revision is issued and replaces it."""
    covered = ReportRequest.objects.filter(report_id=report_id).values_list("request_id", flat=True)
    return approve(request_ids=list(covered), password_ok=password_ok, by=by, at=at, key=key, shown=shown)


def _check_approver(requests: list[Request], password_ok: bool, by: User, at: datetime) -> None:
    if Role.MANAGER not in by.roles:
        raise Refusal("Only a lab manager approves a report.", code="not_manager")
    if not password_ok:
        raise Refusal("This is not your password.", code="password", field="password")
    clock.check_moment(at, what="The approval")
    read = Reading.objects.filter(pair__specimen__request__in=requests, voided_at=None, read_by=by)
    if not the_lab().reader_may_approve and read.exists():
        raise Refusal(
            "You read values of these specimens, and in this lab somebody else then approves. A lab of one person "
            "allows it in the lab's settings; the report says so.",
            code="reader",
        )


def _job_of(requests: list[Request], wanted: set[int]) -> Job:
    if not wanted:
        raise Refusal("Choose at least one request for the report.", code="no_request", field="requests")
    jobs = {request.sample.job_id: request.sample.job for request in requests}
    if len(jobs) != 1 or len(requests) != len(wanted):
        raise Refusal("A report covers requests of one job.", code="several_jobs", field="requests")
    return jobs.popitem()[1]


def _interim_before(requests: list[Request]) -> list[str]:
    """Interim reports that told of some of these requests: the final one takes their place."""
    rows = Report.objects.filter(interim=True, withdrawal=None, covers__request__in=requests)
    return list(rows.distinct().order_by("serial").values_list("number", flat=True))


def _check_ready(requests: list[Request], interim: bool) -> None:
    if interim and any(request.lock == Request.Lock.AMENDING for request in requests):
        raise Refusal("An amended report is approved as a revision, not as an interim report.", code="amendment_whole")
    locked = [str(request) for request in requests if request.lock == Request.Lock.LOCKED]
    if locked:
        raise Refusal(f"A report on {', '.join(locked)} is already issued.", code="already_issued", field="requests")
    found = obstacles(requests, results_of(requests), interim=interim)
    told = [f"{request}: {sentence}" for request in requests for sentence in found[request.pk]]
    if told:
        raise Refusal("Not ready. " + " ".join(told), code="not_ready", field="requests")


def _what_it_replaces(requests: list[Request]) -> tuple[Report | None, Amendment | None]:
    """The report and its open amendment when these requests were opened by one; nothing for a first report."""
    if all(request.lock == Request.Lock.OPEN for request in requests):
        return None, None
    amendment = (
        Amendment.objects.still_open().filter(report__covers__request=requests[0]).select_related("report").first()
    )
    covered = set(amendment.report.covers.values_list("request_id", flat=True)) if amendment else set()
    if covered != {request.pk for request in requests}:
        raise Refusal(
            "An amended report is approved whole and alone: all its requests, and no others.",
            code="amendment_whole",
            field="requests",
        )
    return amendment.report, amendment


def _next_number(job: Job, replaced: Report | None) -> tuple[str, int, int]:
    """`26-00147N-01`, and `26-00147N-01-R1` for the revision that replaces it."""
    if replaced is None:
        serial = 1 + (Report.objects.filter(job=job).aggregate(last=Max("serial"))["last"] or 0)
        return f"{job.number}-{serial:02d}", serial, 0
    revision = replaced.revision + 1
    return f"{job.number}-{replaced.serial:02d}-R{revision}", replaced.serial, revision


def _amends(replaced: Report | None, amendment: Amendment | None) -> dict[str, Any] | None:
    if replaced is None or amendment is None:
        return None
    return {
        "number": replaced.number,
        "issued_at": moment(replaced.approved_at),
        "reason": amendment.reason,
        "opened_for": amendment.opened_for,
        "changes": [],
    }


def _check_shown(requests: list[Request], facts: dict[str, Any], shown: Mapping[int, str] | None) -> None:
    if shown is not None and any(shown.get(r.pk) != seen(facts, str(r)) for r in requests):
        raise StalePage("Something was entered or changed since this page was opened. Look at it again, then approve.")


def _issue(
    job: Job,
    requests: list[Request],
    approval: Approval,
    facts: dict[str, Any],
    replaced: Report | None,
    amendment: Amendment | None,
) -> Report:
    text = canonical(facts)
    report = Report.objects.create(
        job=job,
        serial=approval.serial,
        revision=approval.revision,
        number=approval.number,
        facts=text,
        facts_sha256=sha256(text),
        facts_version=VERSION,
        chain_seq=approval.chain_seq,
        chain_head=approval.chain_hash,
        verification_code=approval.verification_code,
        approved_by=approval.by,
        approved_at=approval.at,
        meaning=MEANING,
        replaces=replaced,
        amendment=amendment,
        interim=approval.interim,
    )
    ReportRequest.objects.bulk_create(ReportRequest(report=report, request=request) for request in requests)
    for request in [] if approval.interim else requests:
        request.lock, request.opened_for = Request.Lock.LOCKED, ""
        request.save(update_fields=["lock", "opened_for"])
    FileDue.objects.create(report=report, kind=ReportFile.Kind.PDF, next_try_at=approval.at)
    # The facts carry the approval's place in the chain; this next entry carries the facts' own hash.
    told = {"report": report.number, "facts_sha256": report.facts_sha256}
    if approval.interim:
        trail.record(stream=job.stream, kind="report.interim_issued", by=approval.by, at=approval.at, facts=told)
    else:
        trail.record(stream=job.stream, kind="report.issued", by=approval.by, at=approval.at, facts=told)
    return report
