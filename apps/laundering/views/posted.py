"""What comes with a form besides its fields."""

from collections.abc import Iterable
from datetime import UTC, datetime
from uuid import UUID

from django.forms import Form
from django.http import HttpRequest

from apps.core import clock


def posted_key(request: HttpRequest) -> UUID | None:
    """The act's own key; a page without one, or with a broken one, is taken as sent once."""
    try:
        return UUID(request.POST.get("key", ""))
    except ValueError:
        return None


def numbers(texts: Iterable[str]) -> list[int]:
    """Row keys as the page sent them; anything else is not one of ours and is left out."""
    return [int(text) for text in texts if text.isascii() and text.isdigit() and len(text) < 16]


def tapped_at(request: HttpRequest) -> datetime | None:
    """When the tablet was tapped, if it says so: milliseconds on the house's own clock, as the tablet reckons it."""
    text = request.POST.get("tapped_at", "")
    try:
        return datetime.fromtimestamp(int(text) / 1000, UTC) if text.isascii() and text.isdigit() else None
    except (ValueError, OverflowError, OSError):
        return None


def moment(request: HttpRequest, form: Form | None = None) -> datetime:
    """When it was done: as typed, else when it was tapped, else now.

    A tablet that is a little ahead is not let into the future, or the next step would come before this one.
    """
    if form and (typed := form.cleaned_data.get("when")):
        return typed
    now = clock.now()
    tapped = tapped_at(request) or now
    return now if now < tapped <= now + clock.SKEW else tapped


def refuse(request: HttpRequest, *sentences: str) -> None:
    """What was refused, for whoever brought the tap (see carried.py)."""
    request.refused = " ".join(sentences)
