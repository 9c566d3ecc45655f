"""The curve over the cycles on paper: the same drawing that the page shows, in ink instead of SVG."""

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from apps.core.drawing import Circle, Drawing, Line, Polyline, Rect, Shape, Text
from apps.reporting.pdf.ink import BOLD, INK, MADDER, QUIET, SANS, THREAD, printable

SERIES = {"series-1": INK, "series-2": MADDER, "series-3": QUIET, "series-4": INK}


class OnPaper(Flowable):
    """A drawing scaled to a width."""

    def __init__(self, drawing: Drawing, width: float) -> None:
        super().__init__()
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
                canvas.setLineWidth(1.8)
                path = canvas.beginPath()
                for number, (x, y) in enumerate(shape.points):
                    (path.lineTo if number else path.moveTo)(float(x), self._y(y))
                canvas.drawPath(path)
            case Circle():
                canvas.circle(float(shape.x), self._y(shape.y), float(shape.r), stroke=0, fill=1)
            case Rect():
                height = float(shape.height)
                canvas.rect(float(shape.x), self._y(shape.y) - height, float(shape.width), height, stroke=0, fill=1)
            case Text():
                self._text(canvas, shape)

    def _line(self, canvas: Canvas, line: Line) -> None:
        canvas.setStrokeColor({"axis": INK, "limit": MADDER}.get(line.css, THREAD))
        canvas.setLineWidth(1.0 if line.css in ("axis", "limit") else 0.6)
        if line.css == "limit":
            canvas.setDash(5, 4)
        canvas.line(float(line.x1), self._y(line.y1), float(line.x2), self._y(line.y2))

    def _text(self, canvas: Canvas, text: Text) -> None:
        quiet = not text.css or any(part in ("quiet", "figure") for part in text.css.split())
        if quiet:
            canvas.setFillColor(QUIET)
        canvas.setFont(SANS if quiet else BOLD, 12.5)
        draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
        draw[text.anchor](float(text.x), self._y(text.y), printable(text.text))
