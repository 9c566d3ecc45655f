"""Canonical JSON: the same facts give the same bytes (after RFC 8785: sorted keys, no spaces, UTF-8)."""

import hashlib
import json
import uuid
from datetime import date, datetime
from decimal import Decimal
from typing import Any


def plain(value: Any) -> Any:
    """Facts as strings, whole numbers, booleans, lists and dicts. A float has no exact text and is refused."""
    if value is None or isinstance(value, str | bool | int):
        return str(value) if isinstance(value, str) else value
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, uuid.UUID):
        return str(value)
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        items = sorted(value) if isinstance(value, set | frozenset) else value
        return [plain(item) for item in items]
    raise TypeError(f"{type(value).__name__} does not go into facts: {value!r}")


def canonical(value: Any) -> str:
    return json.dumps(plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def sha256(text: str | bytes) -> str:
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()
