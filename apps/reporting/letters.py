"""Letters about reports to the people of the customer."""

from datetime import datetime

from apps.accounts.services import write_to_customer
from apps.core.links import whole
from apps.reporting.models import Report


def tell_customer(report: Report, *, subject: str, body: str, at: datetime) -> None:
    """A letter to the customer's people. No result is in it, only where the report lies."""
    where = whole("reporting:report", report.number)
    write_to_customer(customer=report.job.customer, subject=subject, body=f"{body}\n\n{where}", at=at)
