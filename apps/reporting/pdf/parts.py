"""Pieces that several sections are set with."""

from collections.abc import Sequence

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Paragraph, Spacer, Table, TableStyle

from apps.core.ink import CELL, CLOTH, HEAD, HEAD_RIGHT, INK, SANS, SECTION, THREAD, say
from apps.reporting.pdf.sheet import WIDTH

Row = Sequence[Flowable | str]


def grid(
    heads: Sequence[str],
    rows: Sequence[Row],
    widths: Sequence[float],
    *,
    figures: Sequence[int] = (),
    extra: Sequence[tuple] = (),
    width: float = WIDTH,
) -> Table:
    """A table with quiet heads, repeated on each page. `widths`: shares of `width`; `figures` stand to the right."""
    head = [say(text, HEAD_RIGHT if i in figures else HEAD) for i, text in enumerate(heads)]
    body = [[cell if isinstance(cell, Flowable) else say(cell, CELL) for cell in row] for row in rows]
    share = width / sum(widths)
    table = Table([head, *body], colWidths=[part * share for part in widths], repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("FONT", (0, 0), (-1, -1), SANS, 8.6),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
                ("LEFTPADDING", (0, 0), (-1, -1), 4),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
                ("TOPPADDING", (0, 0), (-1, -1), 2.2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2.8),
                ("BACKGROUND", (0, 0), (-1, 0), CLOTH),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.35, THREAD),
                *extra,
            ]
        )
    )
    return table


def pairs(rows: Sequence[tuple[str, str]], *, label: float = 0.3) -> Table:
    """What is called how: quiet labels to the left, without lines."""
    told = [[say(name, HEAD), say(text, CELL)] for name, text in rows if text]
    table = Table(told or [["", ""]], colWidths=[WIDTH * label, WIDTH * (1 - label)])
    table.setStyle(bare())
    return table


def bare(*extra: tuple) -> TableStyle:
    return TableStyle(
        [
            ("FONT", (0, 0), (-1, -1), SANS, 8.6),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 8),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.4),
            *extra,
        ]
    )


class Section(Paragraph):
    """A section's head: also an entry of the file's own list of contents."""

    def __init__(self, title: str) -> None:
        super().__init__(title, SECTION)
        self.title = title

    def draw(self) -> None:
        key = f"section-{self.title}"
        self.canv.bookmarkHorizontal(key, 0, self.height + 14)
        self.canv.addOutlineEntry(self.title, key, 0)
        super().draw()


def headed(head: Flowable, *content: Flowable) -> list[Flowable]:
    """A head is never the last line of a page: it keeps with a block, and with the first rows of a table."""
    first, *rest = content
    if isinstance(first, KeepTogether):
        return [KeepTogether([head, *first._content]), *rest]
    return [CondPageBreak(88), head, first, *rest]


def section(title: str, *content: Flowable) -> list[Flowable]:
    """A section; nothing without content."""
    return headed(Section(title), *content) if content else []


def gap(points: float = 6) -> Spacer:
    return Spacer(1, points)
