"""Records of nonconforming work."""

from django.db.models import Exists, OuterRef, QuerySet

from apps.reporting.models import Nonconformity, NonconformityNote


def nonconformities() -> QuerySet[Nonconformity]:
    """Newest first, each with its jobs and whether it is closed (`is_closed`)."""
    closed = NonconformityNote.objects.filter(nonconformity=OuterRef("pk"), kind=NonconformityNote.Kind.CLOSED)
    rows = Nonconformity.objects.annotate(is_closed=Exists(closed)).select_related("by")
    return rows.prefetch_related("touches__job")
