"""What comes with a form besides its fields."""

from collections.abc import Iterable
from datetime import datetime
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


def moment(form: Form) -> datetime:
    """When it was done: as typed, else now."""
    return form.cleaned_data.get("when") or clock.now()
