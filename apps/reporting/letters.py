"""Letters about reports to the people of the customer."""

from datetime import datetime

from apps.accounts.models import User
from apps.accounts.services import send_later
from apps.reporting.models import Report


def tell_customer(report: Report, *, subject: str, body: str, at: datetime) -> None:
    """A letter to everybody of the customer who may sign in and has an address. No result is in it."""
    people = User.objects.filter(customer_id=report.job.customer_id, is_active=True).exclude(email="")
    for address in people.order_by("pk").values_list("email", flat=True):
        send_later(to=address, subject=subject, body=body, at=at)
