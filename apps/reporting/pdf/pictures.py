"""The photos that were chosen for a report."""

from collections.abc import Mapping
from io import BytesIO

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Image, Table

from apps.core.ink import CELL, say
from apps.reporting.facts import Facts
from apps.reporting.facts.told import when
from apps.reporting.pdf.parts import bare, gap, section
from apps.reporting.pdf.sheet import WIDTH

BESIDE = 6 * mm
WIDEST, HIGHEST = (WIDTH - BESIDE) / 2, 78 * mm


def photos(facts: Facts, pictures: Mapping[str, bytes]) -> list[Flowable]:
    """Two side by side, each with whose it is and who took it; one that several tests show is printed once."""
    cells: dict[str, list[Flowable]] = {}
    for request in facts.requests:
        for photo in request.photos:
            wide, tall = photo["width"], photo["height"]
            scale = min(WIDEST / wide, HIGHEST / tall)
            words = f"{photo['of']}, {photo['kind_told']}" + (f": {photo['caption']}" if photo["caption"] else "")
            image = Image(BytesIO(pictures[photo["sha256"]]), wide * scale, tall * scale, hAlign="LEFT")
            told = f"{words} ({photo['by']}, {when(photo['at'])})"
            cells.setdefault(photo["sha256"], [image, gap(2), say(told, CELL)])
    if not cells:
        return []
    every = list(cells.values())
    rows = [[*every[n : n + 2], *([""] * (2 - len(every[n : n + 2])))] for n in range(0, len(every), 2)]
    table = Table(rows, colWidths=[WIDTH / 2, WIDTH / 2])
    table.setStyle(bare(("BOTTOMPADDING", (0, 0), (-1, -1), 8)))
    return section("Photos", table)
