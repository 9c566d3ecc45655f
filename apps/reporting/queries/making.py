"""How far the worker is with the files of reports that were issued lately."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Q

from apps.reporting.models import FileDue

LATELY = timedelta(hours=1)


@dataclass(frozen=True)
class Making:
    """`wanted`: files that wait, with those made within the hour; `failed`: of those that wait, tried in vain."""

    wanted: int
    made: int
    failed: int

    @property
    def waiting(self) -> int:
        return self.wanted - self.made


def files_being_made(now: datetime) -> Making:
    """In one query. A worker that is killed takes up what it left; no file is made twice."""
    lately = FileDue.objects.filter(Q(done_at=None) | Q(done_at__gt=now - LATELY))
    waits = Q(done_at=None)
    return Making(
        **lately.aggregate(
            wanted=Count("pk"), made=Count("pk", filter=~waits), failed=Count("pk", filter=waits & ~Q(last_error=""))
        )
    )
