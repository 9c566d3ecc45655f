"""Lines of text and moments as they go into the book."""

import unicodedata
from datetime import datetime, timedelta

from apps.core import clock
from apps.core.errors import Refusal

LONG_AGO = timedelta(days=366)


def check_not_long_ago(at: datetime) -> None:
    """What a hand enters later than that is a slip of the pen."""
    if at < clock.now() - LONG_AGO:
        raise Refusal("Is the year right? This is more than a year ago.", code="long_ago", field="when")


def line(text: str | None, *, most: int, field: str | None = None) -> str:
    """Spaces in a row are one; a sign that cannot be written down, or more than the book has room for, is refused."""
    text = " ".join((text or "").split())
    if any(unicodedata.category(sign) in ("Cc", "Cs") for sign in text):
        raise Refusal("The text holds a sign that cannot be written down.", code="not_text", field=field)
    if len(text) > most:
        raise Refusal(f"{most} characters at most, {len(text)} typed.", code="too_long", field=field)
    return text
