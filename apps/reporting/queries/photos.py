"""The photos that a report shows."""

from apps.core.jsontext import sha256
from apps.intake.queries import content_of
from apps.reporting.facts.reader import Facts


def shown_in(facts: Facts) -> list[str]:
    """The SHA-256 of each, in the order of the report."""
    return list(dict.fromkeys(photo["sha256"] for request in facts.requests for photo in request.photos))


def photos_of(facts: Facts) -> dict[str, bytes]:
    """The pictures that the facts name, each held against its SHA-256. A report is never made with one missing."""
    found = {digest: content_of(digest) or b"" for digest in shown_in(facts)}
    for digest, content in found.items():
        if sha256(content) != digest:
            raise LookupError(f"The photo {digest} is not in the store, or not as it was.")
    return found
