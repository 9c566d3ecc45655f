"""After issue: a report is opened again for one thing, or no longer stands. Nothing issued is changed."""

import json
import uuid
from datetime import datetime

from django.db import transaction

from apps.accounts.models import Role, User
from apps.core.errors import Refusal
from apps.intake.locks import lock_jobs, lock_requests
from apps.intake.models import Request, SendBack
from apps.reporting.facts import freeze
from apps.reporting.facts.marks import rests_on_other
from apps.reporting.letters import tell_customer
from apps.reporting.models import Amendment, AmendmentClosing, Report, Withdrawal
from apps.trail import services as trail


@transaction.atomic
def open_amendment(
    *, report_id: int, reason: str, opened_for: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> Amendment:
    """Something in an issued report was wrong. It stays as it is; its requests open for this one thing only, until
    the next revision replaces it."""
    report = _lock(report_id)
    payload = {"report": report.number, "reason": reason, "opened_for": opened_for}
    if trail.repeated(key=key, payload=payload, by=by):
        return report.amendments.latest("pk")
    _check(report, reason, by)
    if report.interim:
        raise Refusal(
            "An interim report is not amended: the final one takes its place. Withdraw it when it must not be used.",
            code="interim",
        )
    if opened_for not in Request.OpenedFor.values:
        raise Refusal("Say what the report is opened for.", code="opened_for", field="opened_for")
    amendment = Amendment.objects.create(report=report, reason=reason.strip(), opened_for=opened_for, by=by, at=at)
    for request in lock_requests(report.covers.values_list("request_id", flat=True)):
        request.lock, request.opened_for = Request.Lock.AMENDING, opened_for
        request.save(update_fields=["lock", "opened_for"])
    facts = {"report": report.number, "reason": amendment.reason, "opened_for": opened_for}
    trail.record(stream=report.job.stream, kind="amendment.opened", by=by, at=at, facts=facts, key=key, payload=payload)
    return amendment


@transaction.atomic
def close_amendment(
    *, report_id: int, reason: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> AmendmentClosing:
    """What was looked into was right: nothing is changed, and the report stays in force as it was issued."""
    report = _lock(report_id)
    payload = {"close": report.number, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return AmendmentClosing.objects.filter(amendment__report=report).latest("pk")
    _check_word(reason, by)
    amendment = report.amendments.still_open().first()
    if amendment is None:
        raise Refusal("No amendment of this report is open.", code="no_amendment")
    requests = lock_requests(report.covers.values_list("request_id", flat=True))
    if SendBack.objects.filter(request__in=requests, answered_at=None).exists():
        raise Refusal("Work sent back is not answered yet. It is answered first.", code="sent_back")
    if rests_on_other(json.loads(report.facts), freeze(requests)):
        raise Refusal(
            "Something was changed since the report was issued. Approve the revision that says so; an amendment is "
            "closed without one only when nothing changed.",
            code="changed",
        )
    closing = AmendmentClosing.objects.create(amendment=amendment, reason=reason.strip(), by=by, at=at)
    for request in requests:
        request.lock, request.opened_for = Request.Lock.LOCKED, ""
        request.save(update_fields=["lock", "opened_for"])
    facts = {"report": report.number, "reason": closing.reason}
    trail.record(stream=report.job.stream, kind="amendment.closed", by=by, at=at, facts=facts, key=key, payload=payload)
    return closing


@transaction.atomic
def withdraw(*, report_id: int, reason: str, by: User, at: datetime, key: uuid.UUID | None = None) -> Withdrawal:
    """The report no longer stands. It stays to be seen, marked as withdrawn, and the customer is told."""
    report = _lock(report_id)
    payload = {"report": report.number, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return Withdrawal.objects.get(report=report)
    _check(report, reason, by)
    withdrawal = Withdrawal.objects.create(report=report, reason=reason.strip(), by=by, at=at)
    facts = {"report": report.number, "reason": withdrawal.reason}
    trail.record(stream=report.job.stream, kind="report.withdrawn", by=by, at=at, facts=facts, key=key, payload=payload)
    tell_customer(
        report,
        subject=f"Report {report.number} is withdrawn",
        body=f"The laboratory has withdrawn report {report.number}. Do not use it any longer.\n\n"
        f"Reason: {withdrawal.reason}",
        at=at,
    )
    return withdrawal


def _lock(report_id: int) -> Report:
    lock_jobs(Report.objects.filter(pk=report_id).values_list("job_id", flat=True))
    return Report.objects.select_related("job").get(pk=report_id)


def _check_word(reason: str, by: User) -> None:
    if Role.MANAGER not in by.roles:
        raise Refusal("Only a lab manager opens or withdraws a report.", code="not_manager")
    if not reason.strip():
        raise Refusal("Say why; the reason is kept and told.", code="no_reason", field="reason")


def _check(report: Report, reason: str, by: User) -> None:
    _check_word(reason, by)
    if hasattr(report, "replaced_by"):
        raise Refusal(f"This report is replaced by {report.replaced_by.number}.", code="superseded")
    if hasattr(report, "withdrawal"):
        raise Refusal("This report is already withdrawn.", code="withdrawn")
    if report.amendments.still_open().exists():
        raise Refusal("An amendment of this report is already open.", code="amendment_open")
