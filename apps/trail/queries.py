from django.db.models import QuerySet

from apps.trail.chain import chained_hash, hashed_fields
from apps.trail.models import GENESIS, TrailEntry, TrailStream


def timeline(stream: str) -> QuerySet[TrailEntry]:
    """What happened, newest first."""
    return TrailEntry.objects.filter(stream=stream).order_by("-seq")


def head(stream: str) -> tuple[int, str]:
    """Number and hash of a stream's newest entry."""
    row = TrailStream.objects.filter(name=stream).values_list("seq", "head").first()
    return row or (0, GENESIS)


def broken_link(stream: str) -> int | None:
    """The first entry of a stream that does not fit its chain (a gap counts as its place); None when all fit."""
    prev, expected = GENESIS, 1
    for entry in TrailEntry.objects.filter(stream=stream).order_by("seq").iterator():
        if entry.seq != expected or entry.prev_hash != prev or entry.hash != chained_hash(prev, hashed_fields(entry)):
            return expected
        prev, expected = entry.hash, expected + 1
    return None if head(stream) == (expected - 1, prev) else expected
