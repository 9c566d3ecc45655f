"""Many report files in one: a ZIP that is sent while it is being written, one file in memory at a time."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import NamedTuple
from zipfile import ZIP_STORED, ZipFile, ZipInfo

from apps.trail.models import Blob

# What ZIP adds to a stored file and to the whole (APPNOTE 6.3, 4.3): local header and data descriptor, central
# header, end record.
AROUND_A_FILE, AROUND_ALL = 30 + 16 + 46, 22


class Member(NamedTuple):
    name: str
    blob: str  # SHA-256
    size: int
    at: datetime  # in the lab's time


def length(members: Iterable[Member]) -> int:
    """Bytes of the whole, known beforehand, so that the browser shows how far the download is."""
    return AROUND_ALL + sum(AROUND_A_FILE + 2 * len(member.name.encode()) + member.size for member in members)


def stream(members: Iterable[Member]) -> Iterator[bytes]:
    """The ZIP piece by piece. Stored, not packed: PDFs are packed inside."""
    out = _Sink()
    with ZipFile(out, "w", ZIP_STORED) as bundle:
        for member in members:
            (content,) = Blob.objects.filter(pk=member.blob).values_list("content", flat=True)
            bundle.writestr(ZipInfo(member.name, member.at.timetuple()[:6]), bytes(content))
            yield out.taken()
    yield out.taken()


class _Sink:
    """Where ZipFile writes to: it can only go forward, as towards a browser."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []

    def write(self, part: bytes) -> int:
        self.parts.append(part)
        return len(part)

    def flush(self) -> None:
        """Nothing is held back."""

    def taken(self) -> bytes:
        parts, self.parts = self.parts, []
        return b"".join(parts)
