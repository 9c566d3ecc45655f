"""The sheet of paper: size, frame, and what stands on every page."""

from io import BytesIO

from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from apps.core.ink import BOLD, INK, MADDER, QUIET, SANS, THREAD, fitting, printable
from apps.reporting.facts import Facts

LEFT = RIGHT = 19 * mm
TOP, BOTTOM, FOOT = 21 * mm, 19 * mm, 11 * mm
WIDTH = A4[0] - LEFT - RIGHT


class Sheets(BaseDocTemplate):
    """A4 sheets that carry the report's number and "page x of y" each.

    How many there are is known at the end: each sheet calls a piece of drawing by name, and those are drawn last.
    """

    _doSave = 0  # the library's own word: the pages are set, and the file is closed by `finish`

    def __init__(self, facts: Facts) -> None:
        super().__init__(
            BytesIO(),
            pagesize=A4,
            leftMargin=LEFT,
            rightMargin=RIGHT,
            topMargin=TOP,
            bottomMargin=BOTTOM,
            title=f"{facts.title} {facts.number}",
            author=printable(facts.lab["name"]),
            subject=facts.subject,
            creator="Fulling Room",
            invariant=1,
            initialFontName=SANS,
            lang="en-GB",
        )
        self.facts = facts
        first = Frame(LEFT, BOTTOM, WIDTH, A4[1] - BOTTOM - 14 * mm, 0, 0, 0, 0, id="first")
        later = Frame(LEFT, BOTTOM, WIDTH, A4[1] - BOTTOM - TOP, 0, 0, 0, 0, id="later")
        self.addPageTemplates(
            [
                PageTemplate("first", [first], onPageEnd=self._foot, autoNextPageTemplate="later"),
                PageTemplate("later", [later], onPage=self._head, onPageEnd=self._foot),
            ]
        )

    def _head(self, canvas: Canvas, _: BaseDocTemplate) -> None:
        y = A4[1] - 13 * mm
        canvas.setFont(SANS, 8)
        canvas.setFillColor(QUIET)
        canvas.drawString(LEFT, y, fitting(self.facts.lab["name"], 8, WIDTH * 0.66))
        canvas.drawRightString(LEFT + WIDTH, y, f"{self.facts.title} {self.facts.number}")
        self._rule(canvas, y - 2.2 * mm)

    def _foot(self, canvas: Canvas, _: BaseDocTemplate) -> None:
        y = FOOT
        self._rule(canvas, y + 4 * mm)
        canvas.setFont(SANS, 8)
        canvas.setFillColor(QUIET)
        issued = f"Report {self.facts.number}, issued {self.facts.issued}"
        canvas.drawString(LEFT, y, issued)
        canvas.doForm(f"page-{canvas.getPageNumber()}")
        if self.facts.is_demo:
            self._specimen(canvas)

    def finish(self, story: list[Flowable]) -> bytes:
        """Set the story, then what could not be known before; the whole file."""
        self.build(story)
        canvas = self.canv
        for number in range(1, self.page + 1):
            canvas.beginForm(f"page-{number}")
            canvas.setFillColor(INK)
            canvas.setFont(BOLD, 8)
            canvas.drawRightString(LEFT + WIDTH, FOOT, f"page {number} of {self.page}")
            canvas.endForm()
        return canvas.getpdfdata()

    @staticmethod
    def _rule(canvas: Canvas, y: float) -> None:
        canvas.setStrokeColor(THREAD)
        canvas.setLineWidth(0.5)
        canvas.line(LEFT, y, LEFT + WIDTH, y)

    @staticmethod
    def _specimen(canvas: Canvas) -> None:
        """Over the whole page, so that no page of an invented report passes for a real one."""
        canvas.saveState()
        canvas.setFillColor(MADDER, alpha=0.11)
        canvas.translate(A4[0] / 2, A4[1] / 2)
        canvas.rotate(54)
        canvas.setFont(BOLD, 118)
        canvas.drawCentredString(0, -42, "SPECIMEN")
        canvas.restoreState()
