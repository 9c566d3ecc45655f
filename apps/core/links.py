"""Addresses as they stand in letters and codes: whole, with the lab's own host."""

from typing import Any

from django.conf import settings
from django.urls import reverse


def whole(name: str, *args: Any) -> str:
    """The whole address of a page."""
    return settings.ADDRESS + reverse(name, args=args)
