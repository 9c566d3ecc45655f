"""How often somebody without a name has asked: enough for a person, too few for a machine that guesses."""

from datetime import datetime, timedelta

from django.db.models import F, Q

from apps.accounts.models import Asked
from apps.core.clock import SKEW


def asked_too_often(*, name: str, most: int, within: timedelta, at: datetime) -> bool:
    """Count one question of this name; whether they are now more than `most` in a stretch of this length.

    All fronts of the house count in one row. A stretch that is over, or that begins in the future because the
    server's clock was ahead, begins anew; so no address is kept for longer than the next question after it. Each
    statement stands alone: nobody waits for anybody, and a count that ends midway is no harm.
    """
    Asked.objects.filter(Q(since__lte=at - within) | Q(since__gt=at + SKEW)).delete()
    _, first = Asked.objects.get_or_create(name=name, defaults={"since": at, "times": 1})
    if not first:
        Asked.objects.filter(name=name).update(times=F("times") + 1)
    return Asked.objects.filter(name=name, times__gt=most).exists()
