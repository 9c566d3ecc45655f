"""What the database itself says about reports, and about when a request may be locked and opened."""

from apps.reporting.models import (
    Amendment,
    AmendmentClosing,
    Cancellation,
    ExternalResult,
    Nonconformity,
    NonconformityJob,
    NonconformityNote,
    Report,
    ReportFile,
    ReportRequest,
    Retest,
    Signatory,
    Withdrawal,
)
from apps.trail.guarding import Guard, insert_only, never_deleted, write_once

KEPT = "an issued report stays as it is; a new revision replaces it"

COVERED = (
    "EXISTS (SELECT 1 FROM reporting_reportrequest c JOIN reporting_report r ON r.id = c.report_id"
    " WHERE c.request_id = NEW.id AND NOT r.interim)"
)
OPEN_AMENDMENT = (
    "EXISTS (SELECT 1 FROM reporting_amendment a JOIN reporting_reportrequest c ON c.report_id = a.report_id"
    " WHERE c.request_id = NEW.id{purpose}"
    " AND NOT EXISTS (SELECT 1 FROM reporting_report r WHERE r.amendment_id = a.id)"
    " AND NOT EXISTS (SELECT 1 FROM reporting_amendmentclosing e WHERE e.amendment_id = a.id))"
)
# Held for share: whoever opens or ends an amendment writes to the requests that its report covers.
_COVERED_BY = (
    "intake_request q WHERE q.id IN (SELECT c.request_id FROM reporting_reportrequest c WHERE c.report_id = {})"
)
WRITTEN = "what was written down of the work is kept"
GRANTED = "who could sign when is kept"

GUARDS = [
    *(
        guard
        for model in (Report, ReportRequest, ReportFile, Amendment, AmendmentClosing, Withdrawal)
        for guard in insert_only(model, sentence=KEPT)
    ),
    Guard(
        "reporting_locks_with_report",
        "intake_request",
        "update",
        f"OLD.lock = 'open' AND NEW.lock = 'locked' AND NOT {COVERED}",
        "a request is locked by a report only",
    ),
    Guard(
        "reporting_opens_with_amendment",
        "intake_request",
        "update",
        "OLD.lock = 'locked' AND NEW.lock = 'amending' AND NOT "
        + OPEN_AMENDMENT.format(purpose=" AND a.opened_for = NEW.opened_for"),
        "a locked request is opened by an amendment only",
    ),
    Guard(
        "reporting_closes_with_revision",
        "intake_request",
        "update",
        "OLD.lock = 'amending' AND NEW.lock = 'locked' AND " + OPEN_AMENDMENT.format(purpose=""),
        "an amendment is closed by a new revision, or by a word that nothing changed",
    ),
    Guard(
        "reporting_amendment_once",
        "reporting_amendment",
        "insert",
        "EXISTS (SELECT 1 FROM reporting_amendment a WHERE a.report_id = NEW.report_id"
        " AND NOT EXISTS (SELECT 1 FROM reporting_amendmentclosing e WHERE e.amendment_id = a.id))",
        "a report is amended once at a time",
        (_COVERED_BY.format("NEW.report_id"),),
    ),
    Guard(
        "reporting_amendment_of_final",
        "reporting_amendment",
        "insert",
        "EXISTS (SELECT 1 FROM reporting_report r WHERE r.id = NEW.report_id AND r.interim)",
        "an interim report is followed by a final one, not amended",
    ),
    Guard(
        "reporting_amendmentclosing_once",
        "reporting_amendmentclosing",
        "insert",
        "EXISTS (SELECT 1 FROM reporting_report r WHERE r.amendment_id = NEW.amendment_id)",
        "this amendment has ended with a new revision",
        (_COVERED_BY.format("(SELECT a.report_id FROM reporting_amendment a WHERE a.id = NEW.amendment_id)"),),
    ),
    Guard(
        "reporting_report_amendment_open",
        "reporting_report",
        "insert",
        "EXISTS (SELECT 1 FROM reporting_amendmentclosing e WHERE e.amendment_id = NEW.amendment_id)",
        "this amendment was closed without a change",
        (_COVERED_BY.format("(SELECT a.report_id FROM reporting_amendment a WHERE a.id = NEW.amendment_id)"),),
    ),
    # A report that covers a request may come in only while the request is not locked: revision 0, or an amendment.
    Guard(
        "reporting_reportrequest_locked",
        "reporting_reportrequest",
        "insert",
        "EXISTS (SELECT 1 FROM intake_request q WHERE q.id = NEW.request_id AND q.lock = 'locked')",
        KEPT,
        ("intake_request q WHERE q.id = NEW.request_id",),
    ),
    Guard(
        "reporting_reportrequest_of_job",
        "reporting_reportrequest",
        "insert",
        "NOT EXISTS (SELECT 1 FROM reporting_report r JOIN intake_sample s ON s.job_id = r.job_id"
        " JOIN intake_request q ON q.sample_id = s.id WHERE r.id = NEW.report_id AND q.id = NEW.request_id)",
        "a report covers requests of its own job only",
    ),
    *never_deleted(Signatory, sentence=GRANTED),
    write_once(Signatory, "method_id", "person_id", "deputy", "since", "by_id", sentence=GRANTED),
    Guard("reporting_signatory_ended_once", "reporting_signatory", "update", "OLD.ended_at IS NOT NULL", GRANTED),
    *(
        guard
        for model in (Retest, Cancellation, Nonconformity, NonconformityJob, NonconformityNote)
        for guard in insert_only(model, sentence=WRITTEN)
    ),
    *never_deleted(ExternalResult, sentence=WRITTEN),
    write_once(
        ExternalResult,
        *(
            "sample_id",
            "laboratory",
            "accreditation",
            "test",
            "result",
            "reference",
            "consent",
            "file_id",
            "by_id",
            "at",
        ),
        sentence=WRITTEN,
    ),
    Guard("reporting_external_voided_once", "reporting_externalresult", "update", "OLD.voided_at IS NOT NULL", WRITTEN),
    Guard(
        "reporting_cancellation_of_open",
        "reporting_cancellation",
        "insert",
        "EXISTS (SELECT 1 FROM intake_request q WHERE q.id = NEW.request_id AND q.lock <> 'open')",
        "a request that is reported is not cancelled",
        ("intake_request q WHERE q.id = NEW.request_id",),
    ),
    Guard(
        "reporting_retest_of_same_sample",
        "reporting_retest",
        "insert",
        "NOT EXISTS (SELECT 1 FROM intake_request q JOIN intake_request f ON f.sample_id = q.sample_id"
        " WHERE q.id = NEW.request_id AND f.id = NEW.first_id AND f.id <> q.id)",
        "a retest tests the same sample anew",
    ),
]
