"""Photos that come in: kept as dots alone, and whatever is no plain photo is refused with a sentence."""

import io
import struct
import zipfile
import zlib

import pytest
from PIL import Image

from apps.core import pictures
from apps.core.errors import Refusal
from apps.core.pictures import picture

pytestmark = pytest.mark.once


def a_photo(form: str = "JPEG", size: tuple[int, int] = (640, 480), mode: str = "RGB", **more) -> bytes:
    out = io.BytesIO()
    Image.effect_noise(size, 60).convert(mode).save(out, form, **more)
    return out.getvalue()


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def refused(content: bytes) -> Refusal:
    with pytest.raises(Refusal) as refusal:
        picture(content)
    assert str(refusal.value).endswith(".") and refusal.value.field == "file"
    return refusal.value


KINDS = [("JPEG", mode) for mode in ("RGB", "L", "CMYK")] + [
    ("PNG", mode) for mode in ("RGB", "RGBA", "L", "LA", "P", "1")
]


@pytest.mark.parametrize(("form", "mode"), KINDS)
def test_every_usual_kind_is_made_a_plain_jpeg(form, mode):
    if mode == "P":
        out = io.BytesIO()
        Image.effect_noise((640, 480), 60).convert("P").save(out, form, transparency=0)
        made = picture(out.getvalue())
    elif mode == "LA":
        out = io.BytesIO()
        Image.new("LA", (640, 480), (10, 0)).save(out, form)
        made = picture(out.getvalue())
        assert opened(made.content).getpixel((5, 5)) == (255, 255, 255), "what is see-through lies on white"
    else:
        made = picture(a_photo(form, mode=mode))
    assert (opened(made.content).format, opened(made.content).mode) == ("JPEG", "RGB")
    assert (made.width, made.height) == opened(made.content).size == (640, 480)
    assert opened(made.preview).size == (480, 360)


def test_nothing_of_the_camera_is_kept():
    exif = Image.Exif()
    exif[0x010F] = "Invented Camera"
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 12.0, 30.0), 3: "E", 4: (16.0, 22.0, 10.0)})
    content = a_photo(exif=exif, comment=b"at home", icc_profile=b"x" * 200)
    assert opened(content).getexif().get_ifd(0x8825)
    made = picture(content)
    for kept in (made.content, made.preview):
        assert not opened(kept).getexif() and not opened(kept).info.get("comment")
        for word in (b"Exif", b"Invented", b"at home", b"ICC_PROFILE"):
            assert word not in kept


def test_a_photo_stands_upright():
    exif = Image.Exif()
    exif[0x0112] = 6
    assert picture(a_photo(size=(640, 480), exif=exif)).width == 480


def test_a_large_photo_is_made_smaller_and_the_same_twice():
    content = a_photo(size=(4000, 3000), quality=60)
    made = picture(content)
    assert (made.width, made.height) == (2000, 1500)
    assert picture(content) == made


def test_what_follows_the_picture_is_left_behind():
    """Telephones hang a film on their photos; only the picture is kept."""
    content = a_photo() + b"\x00\x00\x00\x18ftypmp42" + b"film" * 1000
    assert picture(content) == picture(a_photo()) or b"ftyp" not in picture(content).content
    assert b"film" not in picture(content).content


def archive() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        file.writestr("x.txt", "x")
    return out.getvalue()


@pytest.mark.parametrize(
    ("what", "more"),
    {
        "archive": archive(),
        "page": b"<HTML><body>",
        "script": b"<ScRiPt>alert(1)</script>",
        "program": b"<?php system('x');",
        "document": b"%PDF-1.7\n",
        "drawing": b"<svg onload=alert(1)>",
    }.items(),
)
def test_two_things_in_one_file_are_refused(what, more):
    assert refused(a_photo() + more).code == "foreign"
    assert refused(a_photo("PNG") + more).code == "foreign"


@pytest.mark.parametrize(
    "content",
    [
        b"x" * 500,
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"GIF89a" + b"\x00" * 100,
        b"%PDF-1.7 " + b"x" * 100,
        archive(),
        b"MZ" + b"\x00" * 200,
        b"II*\x00" + b"\x00" * 100,
        b"\xff\xd8\xff" + b"x" * 300,
        b"\x89PNG\r\n\x1a\n" + b"x" * 300,
        b"\x00" * 100,
    ],
)
def test_what_is_no_picture_is_refused(content):
    assert refused(content).code == "no_picture"


def test_a_picture_of_another_kind_is_refused():
    for form in ("GIF", "BMP", "TIFF", "WEBP"):
        out = io.BytesIO()
        Image.new("RGB", (64, 64)).save(out, form)
        assert refused(out.getvalue()).code == "no_picture"


def test_a_damaged_picture_is_refused():
    for form in ("JPEG", "PNG"):
        content = a_photo(form)
        assert refused(content[: len(content) // 2]).code == "broken"


def test_sizes_are_held():
    assert refused(b"").code == "empty"
    assert refused(pictures.JPEG + b"\x00" * pictures.MOST_BYTES).code == "too_large"
    assert refused(a_photo(size=(8, 8))).code == "too_small"


@pytest.mark.parametrize(
    ("width", "height"), [(5000, 5000), (20_000, 20_000), (60_000, 60_000), (2**31 - 1, 2**31 - 1)]
)
def test_a_bomb_is_refused_before_it_is_unpacked(width, height):
    """A few bytes that say they are a picture of many millions of dots."""

    def chunk(name: bytes, content: bytes) -> bytes:
        check = zlib.crc32(name + content)
        return struct.pack(">I", len(content)) + name + content + struct.pack(">I", check)

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    bomb = pictures.PNG + head + chunk(b"IDAT", zlib.compress(b"\x00" * 1000)) + chunk(b"IEND", b"")
    assert refused(bomb).code in ("too_many_pixels", "no_picture")
