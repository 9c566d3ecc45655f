"""What comes with a form besides its fields."""

from collections.abc import Iterable
from datetime import datetime

from django.forms import Form
from django.http import HttpRequest

from apps.core import tablet


def numbers(texts: Iterable[str]) -> list[int]:
    """Row keys as the page sent them, each or in a row (1-2-3); anything else is not one of ours and is left out."""
    parts = [part for text in texts if not text.startswith("-") for part in text.split("-")]
    return [int(text) for text in parts if text.isascii() and text.isdigit() and len(text) < 16]


def moment(request: HttpRequest, form: Form | None = None) -> datetime:
    """When it was done: as typed, else when it was tapped, else now."""
    typed = form.cleaned_data.get("when") if form else None
    return typed or tablet.moment(request)


def refuse(request: HttpRequest, *sentences: str) -> None:
    """What was refused, for whoever brought the tap (see carried.py)."""
    request.refused = " ".join(sentences)
