"""Photos that come in: only what the eye sees is kept, made anew, without what the camera wrote beside it."""

import io
import warnings
from dataclasses import dataclass, field

from PIL import Image, ImageOps

from apps.core.errors import Refusal

MOST_BYTES = 15 * 1024 * 1024
# A JPEG is unpacked small at once, a PNG only whole.
MOST_PIXELS = {"JPEG": 50_000_000, "PNG": 20_000_000}
LONGEST_SIDE, PREVIEW_SIDE = 2000, 480
JPEG, PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
# What a picture has no business to carry: the beginnings of programs, pages and documents, the end of an archive.
FOREIGN = (b"<script", b"<?php", b"<html", b"<!doctype", b"%pdf-", b"pk\x05\x06", b"<svg", b"javascript:")
NO_PICTURE = "This is no JPEG or PNG picture. Take the photo again, or save it as JPEG."
BROKEN = "The picture is damaged or cut short. Send it again."


@dataclass(frozen=True)
class Picture:
    """A photo as it is kept, and a small one of it for lists. Both JPEG."""

    content: bytes = field(repr=False)
    preview: bytes = field(repr=False)
    width: int
    height: int


def picture(content: bytes) -> Picture:
    """Read an uploaded photo and make it anew. Refusal with a sentence for anything that is no plain photo."""
    if not content:
        raise Refusal("The file is empty.", code="empty", field="file")
    if len(content) > MOST_BYTES:
        raise Refusal(f"The file is larger than {MOST_BYTES // 2**20} MB.", code="too_large", field="file")
    if not content.startswith((JPEG, PNG)):
        raise Refusal(NO_PICTURE, code="no_picture", field="file")
    folded = content.lower()
    if any(mark in folded for mark in FOREIGN):
        sentence = "There is something else in this file besides the picture, so it is not taken. Take the photo again."
        raise Refusal(sentence, code="foreign", field="file")
    image = _opened(content)
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    small = image.copy()
    small.thumbnail((PREVIEW_SIDE, PREVIEW_SIDE))
    return Picture(_jpeg(image, 85), _jpeg(small, 75), *image.size)


def _opened(content: bytes) -> Image.Image:
    """The picture upright and in plain colours. Its size is asked before a single dot is unpacked."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(content), formats=("JPEG", "PNG"))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_many(MOST_PIXELS["JPEG"]) from None
    except Exception as error:  # whatever a library of pictures makes of bytes that are none
        raise Refusal(NO_PICTURE, code="no_picture", field="file") from error
    most = MOST_PIXELS[image.format]
    if image.width * image.height > most:
        raise _too_many(most)
    if min(image.size) < 16:
        raise Refusal("The picture is too small to show anything.", code="too_small", field="file")
    try:
        image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
        image = ImageOps.exif_transpose(image)
        if image.mode in ("RGBA", "LA", "PA", "P"):
            image = image.convert("RGBA")
            ground = Image.new("RGB", image.size, "white")
            ground.paste(image, mask=image.getchannel("A"))
            return ground
        return image.convert("RGB")
    except Exception as error:
        raise Refusal(BROKEN, code="broken", field="file") from error


def _too_many(most: int) -> Refusal:
    sentence = f"The picture has more than {most // 10**6} million dots. Save it smaller."
    return Refusal(sentence, code="too_many_pixels", field="file")


def _jpeg(image: Image.Image, quality: int) -> bytes:
    """Dots alone: a picture without a word about camera, place or time."""
    plain = Image.new("RGB", image.size)
    plain.paste(image)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()
