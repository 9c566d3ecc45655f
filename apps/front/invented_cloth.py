"""A picture of cloth that never was, for the demo's photos."""

import io

from PIL import Image, ImageDraw


def drawn_cloth(warp: str, weft: str, *, stain: bool = False) -> bytes:
    """A plain weave as a camera might see it from near, as JPEG."""
    step, size = 16, (1280, 960)
    image = Image.new("RGB", size, weft)
    draw = ImageDraw.Draw(image)
    for row, y in enumerate(range(0, size[1], step)):
        for column, x in enumerate(range(0, size[0], step)):
            if (row + column) % 2:
                draw.rounded_rectangle((x + 1, y - 3, x + step - 2, y + step + 3), 6, fill=warp)
        draw.line((0, y, size[0], y), fill=weft, width=2)
    if stain:
        draw.ellipse((760, 380, 860, 470), outline="#7a5c3a", width=9)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90)
    return out.getvalue()
