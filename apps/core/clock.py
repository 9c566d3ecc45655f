"""The one place that asks what time it is.

Views pass `clock.now()` into services as `at`; the trail stamps `recorded_at` with it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta

from django.utils import timezone

from apps.core.errors import Refusal

_set: ContextVar[datetime | None] = ContextVar("clock", default=None)

# A tablet's clock may run ahead of the server's by this much before we call its time "in the future".
SKEW = timedelta(minutes=2)


def now() -> datetime:
    return _set.get() or timezone.now()


@contextmanager
def set_to(moment: datetime) -> Iterator[None]:
    """Let the house believe it is `moment` (time-zone aware)."""
    token = _set.set(moment)
    try:
        yield
    finally:
        _set.reset(token)


def check_moment(at: datetime, *, after: datetime | None = None, what: str = "This step") -> None:
    """Refuse a time in the future, or one before the step that comes before it."""
    if at > now() + SKEW:
        raise Refusal(
            f"{what} is timed in the future. Check the clock of this device and the time typed.", code="future"
        )
    if after is not None and at < after:
        if after > now() + SKEW:
            raise Refusal(
                f"The step before is timed {timezone.localtime(after):%d %b %Y %H:%M}, which has not come yet: "
                "the clock of the lab's server was wrong then, or is now. Have it looked at; a run can be broken off.",
                code="clock_set_back",
            )
        raise Refusal(
            f"{what} is timed before the step that comes before it ({timezone.localtime(after):%d %b %Y %H:%M}).",
            code="before_previous_step",
        )


def broken_off(at: datetime, *, after: datetime, what: str) -> datetime:
    """When a run that began at `after` was broken off. One that began while the server's clock was ahead counts as
    broken off as it began: nobody waits for that moment to come."""
    begun_ahead = after > now() + SKEW
    check_moment(at, after=None if begun_ahead else after, what=what)
    return max(at, after)
