"""What may happen to reports. Other rooms import from here."""

from apps.reporting.services.amending import open_amendment, withdraw
from apps.reporting.services.approving import approve, approve_revision
from apps.reporting.services.files import build_pending

__all__ = ["approve", "approve_revision", "build_pending", "open_amendment", "withdraw"]
