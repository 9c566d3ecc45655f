"""Retests and results of other laboratories, as facts."""

from collections.abc import Iterable
from typing import Any

from apps.intake.models import Request
from apps.reporting.facts.record import local
from apps.reporting.models import ExternalResult


def retest(request: Request) -> dict[str, Any] | None:
    if not hasattr(request, "retest"):
        return None
    row = request.retest
    return {
        "of": str(row.first),
        "asked_by": row.get_asked_by_display(),
        "reason": row.reason,
        "cause": row.cause,
        "at": local(row.at),
    }


def external(samples: Iterable[int]) -> list[dict[str, Any]]:
    rows = ExternalResult.objects.filter(sample__in=samples, voided_at=None).select_related("sample")
    return [
        {
            "id": row.pk,
            "sample": row.sample.code,
            "laboratory": row.laboratory,
            "accreditation": row.accreditation,
            "test": row.test,
            "result": row.result,
            "reference": row.reference,
            "file": row.file_id or "",
        }
        for row in rows.order_by("sample", "pk")
    ]
