"""What pages and other rooms ask about reports and approvals. Other rooms import from here."""

from apps.reporting.queries.approvals import Review, on_the_desk, read_by, ready_for_approval, review, sent_back
from apps.reporting.queries.faults import issued_faults
from apps.reporting.queries.making import files_being_made
from apps.reporting.queries.photos import photos_of, shown_in
from apps.reporting.queries.readiness import obstacles
from apps.reporting.queries.records import nonconformities
from apps.reporting.queries.reports import Issued, csv_bytes, issued_on, pdf_bytes, reported, reports, xlsx_bytes
from apps.reporting.queries.signatories import lacking, managers, signatories
from apps.reporting.queries.verifying import by_code, by_file

__all__ = [
    "Issued",
    "Review",
    "by_code",
    "by_file",
    "csv_bytes",
    "files_being_made",
    "issued_faults",
    "issued_on",
    "lacking",
    "managers",
    "nonconformities",
    "obstacles",
    "on_the_desk",
    "pdf_bytes",
    "photos_of",
    "read_by",
    "ready_for_approval",
    "reported",
    "reports",
    "review",
    "sent_back",
    "shown_in",
    "signatories",
    "xlsx_bytes",
]
