"""Adding to the trail. Every service of every room calls `record` in its own transaction."""

import uuid
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Protocol

from django.db import transaction

from apps.core import clock
from apps.core.errors import KeyReused
from apps.core.jsontext import canonical, plain, sha256
from apps.trail.chain import chained_hash, hashed_fields
from apps.trail.models import Blob, TrailEntry, TrailStream


class Actor(Protocol):
    pk: Any
    full_name: str


def record(
    *,
    stream: str | Sequence[str],
    kind: str,
    by: Actor | None,
    at: datetime,
    facts: Mapping[str, Any],
    key: uuid.UUID | None = None,
    payload: Any = None,
) -> TrailEntry:
    """Write one act into its stream (or into each of several, in the order of their names); the first is returned.

    The caller holds the locks of the job, load or machine; the stream's head is locked here, last of all.
    `key` and `payload` belong to acts that a screen may send twice: see `repeated`.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("A trail entry is written in the transaction of the act itself.")
    first: TrailEntry | None = None
    for name in sorted({stream} if isinstance(stream, str) else set(stream)):
        TrailStream.objects.get_or_create(name=name)
        head = TrailStream.objects.select_for_update(no_key=True).get(name=name)
        entry = TrailEntry(
            stream=name,
            seq=head.seq + 1,
            kind=kind,
            at=at,
            recorded_at=clock.now(),
            actor_id=by.pk if by else None,
            actor_name=by.full_name if by else "the house itself",
            facts=plain(facts),
            key=key if first is None else None,
            payload_sha256=sha256(canonical(payload)) if key and first is None else "",
            prev_hash=head.head,
        )
        entry.hash = chained_hash(entry.prev_hash, hashed_fields(entry))
        entry.save(force_insert=True)
        head.seq, head.head = entry.seq, entry.hash
        head.save(update_fields=["seq", "head"])
        first = first or entry
    if first is None:
        raise RuntimeError("An act belongs to at least one stream.")
    return first


def repeated(*, key: uuid.UUID | None, payload: Any, by: Actor | None) -> TrailEntry | None:
    """The entry of an act that this person has already done under this key; None when it is new.

    Asked after the locks are held. The same key with another payload, or from somebody else, is refused: an act told
    to one person as done must not stand in the book under another's name.
    """
    if key is None:
        return None
    entry = TrailEntry.objects.filter(key=key).first()
    if entry is None:
        return None
    if entry.actor_id != (by.pk if by else None):
        raise KeyReused(f"{entry.actor_name} has already sent this form. Open the page again to see what was done.")
    if entry.payload_sha256 != sha256(canonical(payload)):
        raise KeyReused("This form was already sent with other content. Open the page again and enter it anew.")
    return entry


def store_blob(*, content: bytes, content_type: str) -> Blob:
    """Keep bytes once; the same bytes again give the row that is there."""
    digest = sha256(content)
    blob, _ = Blob.objects.get_or_create(
        sha256=digest,
        defaults={"content": content, "size": len(content), "content_type": content_type, "created_at": clock.now()},
    )
    return blob
