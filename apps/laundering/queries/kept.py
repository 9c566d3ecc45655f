"""Taps that came too late to fit: what they were about, and which the manager has still to look at."""

from collections.abc import Iterable

from django.db.models import F, QuerySet

from apps.accounts.models import User
from apps.laundering.models import KeptTap, LoadPiece


def kept_taps(user: User) -> QuerySet[KeptTap]:
    """All of them: those to be judged first, then the newest."""
    rows = KeptTap.objects.visible_to(user).select_related("load", "by", "judged_by")
    return rows.order_by(F("judged_at").desc(nulls_first=True), "-id")


def to_be_judged(user: User) -> int:
    return KeptTap.objects.visible_to(user).filter(judged_at__isnull=True).count()


def pieces_meant(
    *, number: int = 0, drying_id: int = 0, specimen_id: int = 0, procedure_id: int = 0
) -> QuerySet[LoadPiece]:
    """The pieces that an address of the laundry is about, by the names that its parts have in urls.py."""
    pieces = LoadPiece.objects.select_related("load").order_by("specimen_id")
    if specimen_id:
        newest = LoadPiece.objects.filter(specimen_id=specimen_id).order_by("-pk").values("pk")[:1]
        return pieces.filter(pk__in=list(newest.values_list("pk", flat=True)))
    if drying_id:
        return pieces.filter(drying_id=drying_id) or pieces.filter(void_dryings=drying_id)
    return pieces.filter(load_id=number)


def kept_of(requests: Iterable[int]) -> list[KeptTap]:
    """What was kept of these requests, oldest first: the manager reads it before an approval."""
    about = KeptTap.pieces.through.objects.filter(loadpiece__specimen__request__in=list(requests)).values("kepttap")
    return list(KeptTap.objects.filter(pk__in=about).select_related("load", "by", "judged_by").order_by("pk"))
