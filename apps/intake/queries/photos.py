"""Photos: whose they are, and what a report may show. Their bytes are never read here but to be sent."""

from django.db.models import F, Q, QuerySet

from apps.accounts.models import User
from apps.intake.models import ChosenPhoto, Photo, Request, Sample
from apps.trail.models import Blob


def photos_of(sample: Sample) -> QuerySet[Photo]:
    rows = Photo.objects.filter(sample=sample).select_related("sample", "specimen", "by")
    return rows.order_by(F("specimen__number").asc(nulls_first=True), "id")


def photos_for(request: Request) -> QuerySet[Photo]:
    """What a report on this request may show: the sample as received, and the request's own specimens."""
    rows = Photo.objects.filter(sample=request.sample_id)
    return rows.filter(Q(specimen=None) | Q(specimen__request=request)).select_related("sample", "specimen", "by")


def chosen_photos(requests: list[Request]) -> dict[int, list[Photo]]:
    """Request -> the photos that its report shows, in one query."""
    found: dict[int, list[Photo]] = {request.pk: [] for request in requests}
    rows = ChosenPhoto.objects.filter(request__in=requests, chosen=True)
    related = rows.select_related("photo__sample", "photo__specimen", "photo__by")
    for row in related.order_by(F("photo__specimen__number").asc(nulls_first=True), "photo_id"):
        found[row.request_id].append(row.photo)
    return found


def sees_photo(user: User, code: str, sha256: str) -> bool:
    """Whether this person may see a photo of this sample, or the small one of it, under this SHA-256."""
    seen = Photo.objects.visible_to(user).filter(Q(blob=sha256) | Q(preview=sha256), sample__code=code)
    return seen.exists()


def content_of(sha256: str) -> bytes | None:
    """The bytes of a photo; whether they may be seen was asked before."""
    content = Blob.objects.filter(pk=sha256).values_list("content", flat=True).first()
    return None if content is None else bytes(content)
