"""The lab's logo in the letterhead of its reports. What is kept is drawn anew: nothing but the picture comes in."""

import warnings
from datetime import datetime
from io import BytesIO
from uuid import UUID

from django.db import transaction
from PIL import Image, UnidentifiedImageError

from apps.accounts.models import Lab, User
from apps.core.errors import Refusal
from apps.core.jsontext import sha256
from apps.trail import services as trail

LARGEST, MOST_PIXELS, SIDE = 5 * 1024 * 1024, 40_000_000, 900
KINDS = ("PNG", "JPEG", "GIF", "WEBP")


def redrawn(content: bytes) -> bytes:
    """A PNG of at most 900 pixels a side: no notes of the camera, no second picture, nothing hidden behind it."""
    if len(content) > LARGEST:
        raise Refusal("The picture is larger than 5 MB. Choose a smaller one.", code="too_large", field="file")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(BytesIO(content), formats=KINDS) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise Refusal(
                        "The picture has too many pixels. Choose a smaller one.", code="too_large", field="file"
                    )
                picture.load()
                drawn = picture.convert("RGBA")
    except (UnidentifiedImageError, Image.DecompressionBombError, Warning, OSError, ValueError, SyntaxError) as error:
        raise Refusal(
            "This is no picture that can be read here. Choose a PNG, JPEG, GIF or WebP.",
            code="no_picture",
            field="file",
        ) from error
    drawn.thumbnail((SIDE, SIDE))
    paper = Image.new("RGB", drawn.size, "white")
    paper.paste(drawn, mask=drawn.getchannel("A"))
    out = BytesIO()
    paper.save(out, "PNG", optimize=True)
    return out.getvalue()


@transaction.atomic
def set_logo(*, content: bytes | None, by: User, at: datetime, key: UUID | None = None) -> Lab:
    """Reports from now on carry this logo, or none. Those that are issued keep theirs."""
    picture = None if content is None else redrawn(content)
    lab = Lab.objects.select_for_update().get(pk=1)
    payload = {"logo": sha256(picture) if picture else ""}
    if trail.repeated(key=key, payload=payload, by=by):
        return lab
    before = lab.logo_id or ""
    lab.logo = trail.store_blob(content=picture, content_type="image/png") if picture else None
    lab.save(update_fields=["logo"])
    facts = {"logo": {"from": before, "to": payload["logo"]}}
    trail.record(stream="lab", kind="lab.changed", by=by, at=at, facts=facts, key=key, payload=payload)
    return lab
