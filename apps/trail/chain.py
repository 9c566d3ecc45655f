"""What makes the trail a chain: each entry's hash covers the entry and the hash before it."""

from collections.abc import Mapping
from datetime import UTC
from typing import Any

from apps.core.jsontext import canonical, sha256
from apps.trail.models import TrailEntry


def chained_hash(prev_hash: str, entry: Mapping[str, Any]) -> str:
    """SHA-256 over the previous hash and the entry's canonical JSON."""
    return sha256(bytes.fromhex(prev_hash) + canonical(entry).encode())


def hashed_fields(entry: TrailEntry) -> dict[str, Any]:
    """What the hash of an entry covers: all of it but the two hashes."""
    return {
        "stream": entry.stream,
        "seq": entry.seq,
        "kind": entry.kind,
        "at": entry.at.astimezone(UTC),
        "recorded_at": entry.recorded_at.astimezone(UTC),
        "actor_id": entry.actor_id,
        "actor_name": entry.actor_name,
        "facts": entry.facts,
        "key": entry.key,
        "payload_sha256": entry.payload_sha256,
    }
