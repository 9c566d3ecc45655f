from collections.abc import Iterator

from django.db.models import QuerySet

from apps.core.faults import Fault
from apps.core.jsontext import sha256
from apps.trail.chain import chained_hash, hashed_fields
from apps.trail.models import GENESIS, Blob, TrailEntry, TrailStream


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


def chain_faults() -> Iterator[Fault]:
    """All streams in one pass: the first entry of each that does not fit, and heads that are not the newest entry."""
    heads = {name: (seq, head) for name, seq, head in TrailStream.objects.values_list("name", "seq", "head")}
    ends: dict[str, tuple[int, str]] = {}
    broken: set[str] = set()
    for entry in TrailEntry.objects.order_by("stream", "seq").iterator():
        seq, prev = ends.get(entry.stream, (0, GENESIS))
        ends[entry.stream] = entry.seq, entry.hash
        if entry.stream in broken:
            continue
        where = f"trail entry {entry.stream} {entry.seq}"
        if entry.seq != seq + 1:
            yield Fault("trail_gap", where, f"entry {seq + 1} before it is missing")
        elif entry.prev_hash != prev or entry.hash != chained_hash(prev, hashed_fields(entry)):
            yield Fault("trail_changed", where, "it is not what it was when it was written")
        else:
            continue
        broken.add(entry.stream)
    for name in sorted(heads.keys() | ends.keys()):
        if heads.get(name, (0, GENESIS)) != ends.get(name, (0, GENESIS)):
            yield Fault("trail_head", f"trail stream {name}", "its newest entry is not the one that was written last")


def blob_faults() -> Iterator[Fault]:
    """Stored bytes that are no longer those of their SHA-256, one at a time."""
    for blob in Blob.objects.order_by("pk").iterator(chunk_size=1):
        if sha256(bytes(blob.content)) != blob.sha256 or len(blob.content) != blob.size:
            yield Fault("blob_changed", f"file {blob.sha256[:16]}", "its bytes are not those that were stored")
