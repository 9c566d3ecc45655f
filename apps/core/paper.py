"""Drawings on paper: the same shapes that the page shows, in ink instead of SVG."""

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from apps.core.drawing import Circle, Drawing, Line, Polyline, Rect, Shape, Text
from apps.core.ink import BOLD, CLOTH, INK, MADDER, QUIET, SANS, THREAD, printable

# Rectangles that are no marks of a line: (filling, line, its width, its dashes).
BOXES = {
    "cloth": (None, QUIET, 0.8, ()),
    "margin": (None, QUIET, 0.8, (4, 3)),
    "cut": (CLOTH, INK, 1.2, ()),
    "taken": (None, INK, 1.2, (3, 2)),
}
LINES = {"selvedge": (INK, 3.2), "arrow": (INK, 1.6), "band-of-yarns": (INK, 2.4)}
SERIES = {"series-1": INK, "series-2": MADDER, "series-3": QUIET, "series-4": INK}


class OnPaper(Flowable):
    """A drawing scaled to a width; `text` enlarges its words where it is set small."""

    def __init__(self, drawing: Drawing, width: float, *, text: float = 1.0) -> None:
        super().__init__()
        self.size = 12.5 * text
        self.drawing, self.scale = drawing, width / float(drawing.width)
        self.width, self.height = width, float(drawing.height) * self.scale

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        self.canv.saveState()
        self.canv.scale(self.scale, self.scale)
        for shape in self.drawing.shapes:
            self._shape(self.canv, shape)
        self.canv.restoreState()

    def _y(self, y) -> float:
        return float(self.drawing.height) - float(y)

    def _shape(self, canvas: Canvas, shape: Shape) -> None:
        colour = next((SERIES[part] for part in shape.css.split() if part in SERIES), INK)
        canvas.setStrokeColor(colour)
        canvas.setFillColor(colour)
        canvas.setDash()
        match shape:
            case Line():
                self._line(canvas, shape)
            case Polyline():
                canvas.setLineWidth(LINES.get(shape.css, (INK, 1.8))[1])
                path = canvas.beginPath()
                for number, (x, y) in enumerate(shape.points):
                    (path.lineTo if number else path.moveTo)(float(x), self._y(y))
                canvas.drawPath(path)
            case Circle():
                canvas.circle(float(shape.x), self._y(shape.y), float(shape.r), stroke=0, fill=1)
            case Rect():
                self._box(canvas, shape)
            case Text():
                self._text(canvas, shape)

    def _box(self, canvas: Canvas, box: Rect) -> None:
        height = float(box.height)
        place = (float(box.x), self._y(box.y) - height, float(box.width), height)
        if box.css not in BOXES:
            canvas.rect(*place, stroke=0, fill=1)
            return
        filling, colour, width, dashes = BOXES[box.css]
        canvas.setStrokeColor(colour)
        canvas.setLineWidth(width)
        canvas.setDash(*dashes)
        if filling:
            canvas.setFillColor(filling)
        canvas.rect(*place, stroke=1, fill=1 if filling else 0)

    def _line(self, canvas: Canvas, line: Line) -> None:
        if line.css in LINES:
            colour, width = LINES[line.css]
            canvas.setStrokeColor(colour)
            canvas.setLineWidth(width)
            canvas.line(float(line.x1), self._y(line.y1), float(line.x2), self._y(line.y2))
            return
        canvas.setStrokeColor({"axis": INK, "limit": MADDER}.get(line.css, THREAD))
        canvas.setLineWidth(1.0 if line.css in ("axis", "limit") else 0.6)
        if line.css == "limit":
            canvas.setDash(5, 4)
        canvas.line(float(line.x1), self._y(line.y1), float(line.x2), self._y(line.y2))

    def _text(self, canvas: Canvas, text: Text) -> None:
        quiet = not text.css or any(part in ("quiet", "figure") for part in text.css.split())
        if quiet:
            canvas.setFillColor(QUIET)
        canvas.setFont(SANS if quiet else BOLD, self.size)
        draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
        draw[text.anchor](float(text.x), self._y(text.y), printable(text.text))
