"""What may happen to reports. Other rooms import from here."""

from apps.reporting.services.amending import close_amendment, open_amendment, withdraw
from apps.reporting.services.approving import approve, approve_revision
from apps.reporting.services.files import build_pending
from apps.reporting.services.signing import end_signatory, grant_signatory

__all__ = [
    "approve",
    "approve_revision",
    "build_pending",
    "close_amendment",
    "end_signatory",
    "grant_signatory",
    "open_amendment",
    "withdraw",
]
