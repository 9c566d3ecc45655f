"""What may happen to reports, and to work that takes another course. Other rooms import from here."""

from apps.reporting.services.amending import close_amendment, open_amendment, withdraw
from apps.reporting.services.approving import approve, approve_revision
from apps.reporting.services.course import cancel_requests, change_cycles, order_retest
from apps.reporting.services.files import build_pending
from apps.reporting.services.nonconforming import (
    ExternalDetails,
    add_external_result,
    note_nonconformity,
    record_nonconformity,
    void_external_result,
)
from apps.reporting.services.signing import end_signatory, grant_signatory

__all__ = [
    "ExternalDetails",
    "add_external_result",
    "approve",
    "approve_revision",
    "build_pending",
    "cancel_requests",
    "change_cycles",
    "close_amendment",
    "end_signatory",
    "grant_signatory",
    "note_nonconformity",
    "open_amendment",
    "order_retest",
    "record_nonconformity",
    "void_external_result",
    "withdraw",
]
