"""Columns and constraints that several tables have alike."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q

# Who did it: models.ForeignKey(**PERSON); never followed back, so without an index of its own.
PERSON: dict[str, Any] = {
    "to": settings.AUTH_USER_MODEL,
    "on_delete": models.PROTECT,
    "related_name": "+",
    "db_index": False,
}


def void_is_whole(name: str) -> models.CheckConstraint:
    """A row stands, or it is void with a moment, a person and a reason."""
    standing = Q(voided_at__isnull=True, voided_by__isnull=True, void_reason="")
    void = Q(voided_at__isnull=False, voided_by__isnull=False) & ~Q(void_reason="")
    return models.CheckConstraint(name=name, condition=standing | void)
