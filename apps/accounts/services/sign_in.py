"""Who came in, and who tried."""

from datetime import datetime

from django.db import transaction

from apps.accounts.models import User
from apps.trail import services as trail


@transaction.atomic
def record_sign_in(*, by: User, at: datetime) -> None:
    """Somebody came in."""
    trail.record(stream=f"user:{by.pk}", kind="sign_in.done", by=by, at=at, facts={})


@transaction.atomic
def record_failed_sign_in(*, username: str, at: datetime) -> None:
    """Somebody tried and did not come in. A name that nobody has is not kept: it may be a password typed too early."""
    known = User.objects.filter(username=username).exists()
    facts = {"username": username if known else "", "known": known}
    trail.record(stream="sign-in", kind="sign_in.failed", by=None, at=at, facts=facts)
