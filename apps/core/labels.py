"""Labels on paper: a square code, a bar code where there is room for it, and what people read."""

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.graphics import renderPDF
from reportlab.graphics.barcode.code128 import Code128
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from apps.core.ink import BOLD, INK, MADDER, QUIET, SANS, fitting, register_faces
from apps.core.label_stocks import Stock

PADDING = 2.2 * mm
# Bars finer than this are not read surely by hand scanners: common practice, no source.
FINEST, WIDEST_BAR = 0.19 * mm, 0.33 * mm
QUIET_ZONE = 10  # bars on either side of a bar code
SMALLEST = 5.5  # points


@dataclass(frozen=True)
class Label:
    """What one label says. `code` is what scanners read, with its check character. An arrow: the text runs along the
    length of the cloth."""

    code: str
    big: str
    lines: tuple[str, ...] = ()
    arrow: bool = False


def bar_code(code: str, room: float) -> Code128 | None:
    """The bars of a code in so much room, quiet zones and all; None when they would be too fine."""
    modules = Code128(code, barWidth=1, quiet=False).width + 2 * QUIET_ZONE
    width = min(WIDEST_BAR, room / modules)
    return Code128(code, barWidth=width, barHeight=1, quiet=False, humanReadable=False) if width >= FINEST else None


def square_code(code: str) -> QrCodeWidget:
    return QrCodeWidget(code, barLevel="M", barBorder=4)


def draw_square(canvas: Canvas, code: str, x: float, y: float, side: float) -> None:
    """The square code of something on a sheet of paper: lower left corner and side in points."""
    widget = square_code(code)
    widget.barWidth = widget.barHeight = side
    drawing = Drawing(side, side)
    drawing.add(widget)
    renderPDF.draw(drawing, canvas, x, y)


def sheets(stock: Stock, labels: Sequence[Label], *, start: int = 1, is_demo: bool = False) -> bytes:
    """The labels as a PDF. `start`: the first free place of a sheet that was begun."""
    register_faces()
    canvas = Canvas(None, pagesize=tuple(side * mm for side in stock.page), invariant=1, initialFontName=SANS)
    canvas.setTitle("Labels")
    canvas.setCreator("Fulling Room")
    for number, label in enumerate(labels, start=start - 1):
        place = number % stock.a_sheet
        if number >= start and place == 0:
            canvas.showPage()
        x, y = stock.corner(place)
        canvas.saveState()
        canvas.translate(x * mm, y * mm)
        _draw(canvas, label, stock.width * mm, stock.height * mm, is_demo)
        canvas.restoreState()
    canvas.showPage()
    return canvas.getpdfdata()


def _draw(canvas: Canvas, label: Label, width: float, height: float, is_demo: bool) -> None:
    room, top = width - 2 * PADDING, height - PADDING
    floor = PADDING
    if bars := bar_code(label.code, room):
        bars.barHeight = min(12 * mm, 0.23 * height)
        bars.drawOn(canvas, (width - bars.width) / 2, PADDING)
        floor += bars.barHeight + 1.2 * mm
    side = min(top - floor, 0.45 * room)
    draw_square(canvas, label.code, PADDING, top - side, side)
    left = PADDING + side + 1.5 * mm
    _text(canvas, label, (left, floor, width - PADDING - left, top - floor), is_demo)


def _text(canvas: Canvas, label: Label, box: tuple[float, float, float, float], is_demo: bool) -> None:
    """The big word, then lines as long as there is room for them; an arrow along the reading direction at the foot."""
    x, floor, width, height = box
    big = min(28.0, 0.4 * height)
    free = width - stringWidth("SPECIMEN ", BOLD, 7) if is_demo else width
    big = min(big, big * free / stringWidth(label.big, BOLD, big))
    small = max(SMALLEST, min(9.0, 0.15 * height))
    y = floor + height - 0.8 * big
    canvas.setFillColor(INK)
    canvas.setFont(BOLD, big)
    canvas.drawString(x, y, label.big)
    y -= 0.25 * small
    foot = floor + (small * 1.3 if label.arrow else 0)
    if is_demo:
        canvas.setFillColor(MADDER)
        canvas.setFont(BOLD, min(small, 7))
        canvas.drawRightString(x + width, floor + height - min(small, 7), "SPECIMEN")
    for number, line in enumerate(label.lines):
        y -= 1.15 * small
        if y < foot:
            break
        canvas.setFillColor(QUIET if number else INK)
        face = SANS if number else BOLD
        # The code is never cut short: it is set smaller instead.
        size = small if number else min(small, small * width / stringWidth(line, face, small))
        canvas.setFont(face, size)
        canvas.drawString(x, y, line if number == 0 else fitting(line, size, width))
    if label.arrow:
        _arrow(canvas, x, floor, width, small)


def _arrow(canvas: Canvas, x: float, y: float, width: float, size: float) -> None:
    canvas.setFillColor(INK)
    canvas.setStrokeColor(INK)
    canvas.setFont(SANS, size)
    canvas.drawString(x, y + 0.1 * size, "length")
    start, end, middle = x + stringWidth("length ", SANS, size), x + width, y + 0.38 * size
    canvas.setLineWidth(1.1)
    canvas.line(start, middle, end - 1, middle)
    head = canvas.beginPath()
    for n, (dx, dy) in enumerate(((0, 0), (-0.55, 0.32), (-0.55, -0.32))):
        (head.lineTo if n else head.moveTo)(end + dx * size, middle + dy * size)
    head.close()
    canvas.drawPath(head, stroke=0, fill=1)
