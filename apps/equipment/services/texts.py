"""Moments as they go into the book."""

from datetime import datetime, timedelta

from apps.core import clock
from apps.core.errors import Refusal

LONG_AGO = timedelta(days=366)


def check_not_long_ago(at: datetime) -> None:
    """What a hand enters later than that is a slip of the pen."""
    if at < clock.now() - LONG_AGO:
        raise Refusal("Is the year right? This is more than a year ago.", code="long_ago", field="when")
