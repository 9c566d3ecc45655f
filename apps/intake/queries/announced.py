"""Parcels on their way."""

from django.db.models import QuerySet

from apps.accounts.models import User
from apps.intake.models import Announcement


def announced(user: User) -> QuerySet[Announcement]:
    """What is announced and has not come yet, the earliest expected first."""
    rows = Announcement.objects.visible_to(user).waiting().select_related("customer", "by")
    return rows.order_by("expected_on", "pk")
