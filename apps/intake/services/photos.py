"""Photos: kept, and chosen for a report."""

import uuid
from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from apps.accounts.models import User
from apps.core.errors import Refusal
from apps.core.jsontext import sha256
from apps.core.pictures import Picture
from apps.intake.locks import ensure_open, lock_requests, lock_sample
from apps.intake.models import ChosenPhoto, Photo, Request, Specimen
from apps.intake.queries import photos_for
from apps.trail import services as trail

MOST_A_SAMPLE, MOST_A_REPORT = 60, 12
JPEG = "image/jpeg"


@transaction.atomic
def keep_photo(
    *,
    sample_id: int,
    picture: Picture,
    specimen_id: int | None = None,
    caption: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Photo:
    """Keep a photo of a sample as received, or of one of its specimens after laundering. The same twice is one."""
    sample = lock_sample(sample_id)
    digest = sha256(picture.content)
    payload = [sample.code, specimen_id, caption.strip(), digest]
    if trail.repeated(key=key, payload=payload, by=by):
        return Photo.objects.get(sample=sample, blob_id=digest)
    specimen = None
    if specimen_id is not None:
        specimen = Specimen.objects.filter(pk=specimen_id, request__sample=sample).first()
        if specimen is None:
            raise Refusal("This is no specimen of the sample.", code="other_sample", field="of")
    if Photo.objects.filter(sample=sample, blob_id=digest).exists():
        raise Refusal(f"This photo of {sample.code} is already kept.", code="already_kept", field="file")
    if Photo.objects.filter(sample=sample).count() >= MOST_A_SAMPLE:
        raise Refusal(f"A sample has {MOST_A_SAMPLE} photos at most.", code="too_many", field="file")
    kept = [trail.store_blob(content=content, content_type=JPEG) for content in (picture.content, picture.preview)]
    photo = Photo.objects.create(
        sample=sample,
        specimen=specimen,
        kind=Photo.Kind.LAUNDERED if specimen else Photo.Kind.RECEIVED,
        caption=caption.strip(),
        blob=kept[0],
        preview=kept[1],
        width=picture.width,
        height=picture.height,
        by=by,
        at=at,
    )
    facts = {"code": specimen.code if specimen else sample.code, "sha256": digest, "bytes": kept[0].size}
    facts |= {"caption": photo.caption, "kind": photo.get_kind_display()}
    trail.record(stream=sample.job.stream, kind="photo.kept", by=by, at=at, facts=facts, key=key, payload=payload)
    return photo


@transaction.atomic
def choose_photos(
    *, request_id: int, photo_ids: Collection[int], by: User, at: datetime, key: uuid.UUID | None = None
) -> list[Photo]:
    """These photos, and no others, are shown by the report on a request. The customer sees them once it is issued."""
    (request,) = lock_requests([request_id])
    wanted = sorted(set(photo_ids))
    payload = [str(request), wanted]
    photos = list(photos_for(request).filter(pk__in=wanted))
    if trail.repeated(key=key, payload=payload, by=by):
        return photos
    ensure_open(request, Request.OpenedFor.WORDING)
    if len(photos) != len(wanted):
        raise Refusal("One of these photos is not of this test. Open the page again.", code="other_test", field="photo")
    if len(wanted) > MOST_A_REPORT:
        raise Refusal(f"A report shows {MOST_A_REPORT} photos of a test at most.", code="too_many", field="photo")
    rows = {row.photo_id: row for row in ChosenPhoto.objects.filter(request=request)}
    for pk in wanted:
        if pk not in rows:
            ChosenPhoto.objects.create(request=request, photo_id=pk, by=by, at=at)
    for pk, row in rows.items():
        if row.chosen != (pk in wanted):
            row.chosen, row.by, row.at = pk in wanted, by, at
            row.save(update_fields=["chosen", "by", "at"])
    facts = {"request": str(request), "count": len(wanted), "photos": [photo.blob_id for photo in photos]}
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="photos.chosen", by=by, at=at, facts=facts, key=key, payload=payload)
    return photos
