"""The files of issued reports, made from the frozen facts in the background."""

import logging
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import Q

from apps.intake.locks import lock_jobs
from apps.reporting.facts.reader import Facts
from apps.reporting.letters import tell_customer
from apps.reporting.models import FileDue, Report, ReportFile
from apps.reporting.pdf import build, check_archivable
from apps.reporting.queries.photos import photos_of
from apps.reporting.seal.keys import NoSeal, the_seal
from apps.trail import services as trail
from apps.trail.models import Blob

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=2)
LONGEST_WAIT = timedelta(hours=1)


def build_pending(*, limit: int, now: datetime) -> int:
    """Make the files of reports that have none yet, and say how many were made.

    A file that cannot be made is tried again, later and later, and holds up no other. Whoever is killed midway leaves
    nothing behind but a row that is due again after a short while.
    """
    made = 0
    for _ in range(limit):
        due = _take(now)
        if due is None:
            break
        made += _make(due, now)
    return made


@transaction.atomic
def _take(now: datetime) -> FileDue | None:
    """The next file due, put off first: no other worker takes it, and nothing is locked while it is made."""
    skip = connection.features.has_select_for_update_skip_locked
    rows = FileDue.objects.select_for_update(skip_locked=skip, no_key=True, of=("self",))
    # No file waits longer than that: a later moment was written while the server's clock was ahead.
    ready = Q(next_try_at__lte=now) | Q(next_try_at__gt=now + LONGEST_WAIT)
    due = rows.filter(ready, done_at=None).select_related("report").order_by("next_try_at", "pk").first()
    if due is not None:
        due.tries += 1
        due.next_try_at = now + LEASE
        due.save(update_fields=["tries", "next_try_at"])
    return due


def _make(due: FileDue, now: datetime) -> bool:
    try:
        content = make_file(Facts.read(due.report.facts))
    except Exception as error:  # whatever one report does, the others are made
        log.exception("The file of report %s could not be made.", due.report.number)
        due.last_error = f"{type(error).__name__}: {error}"[:500]
        due.next_try_at = now + min(LEASE * 2 ** min(due.tries, 10), LONGEST_WAIT)
        due.save(update_fields=["last_error", "next_try_at"])
        return False
    return keep_file(report_id=due.report_id, content=content, now=now)


def make_file(facts: Facts) -> bytes:
    """The file of a report: set from its facts, held against the rules of PDF/A, sealed where the facts say so."""
    wanted = Blob.objects.filter(pk=facts.lab.get("logo", "")).values_list("sha256", "content")
    content = build(facts, {**photos_of(facts), **{name: bytes(picture) for name, picture in wanted}})
    check_archivable(content)
    promised = facts.report.get("seal")
    if not promised:
        return content
    seal = the_seal()
    if seal is None or seal.fingerprint != promised["fingerprint"]:
        raise NoSeal(f"The report names the seal {promised['fingerprint'][:16]}, which is not the one in use here.")
    from apps.reporting.seal.signing import sealed  # reads pyhanko: not at every start

    return sealed(content, seal, reason=facts.report["meaning"], place=facts.lab["name"])


@transaction.atomic
def keep_file(*, report_id: int, content: bytes, now: datetime) -> bool:
    """The PDF of a report is there: from now on the customer sees the report, and is told. The first file stays."""
    lock_jobs(Report.objects.filter(pk=report_id).values_list("job_id", flat=True))
    report = Report.objects.select_related("job", "replaces").get(pk=report_id)
    FileDue.objects.filter(report=report, kind=ReportFile.Kind.PDF).update(done_at=now, last_error="")
    if report.files.filter(kind=ReportFile.Kind.PDF).exists():
        return False
    blob = trail.store_blob(content=content, content_type="application/pdf")
    ReportFile.objects.create(report=report, kind=ReportFile.Kind.PDF, blob=blob, created_at=now)
    facts = {"report": report.number, "kind": "pdf", "sha256": blob.sha256, "bytes": blob.size}
    trail.record(stream=report.job.stream, kind="report.file_made", by=None, at=now, facts=facts)
    replaces = f" It replaces report {report.replaces.number}." if report.replaces else ""
    tell_customer(
        report,
        subject=f"Report {report.number} is ready",
        body=f"The report {report.number} on job {report.job.number} is issued.{replaces}\n\n"
        "Sign in to read and download it.",
        at=now,
    )
    return True
