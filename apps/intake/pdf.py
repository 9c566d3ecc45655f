"""The cutting plan on one sheet of paper, for the cutting table."""

from datetime import datetime

from django.utils import timezone
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Frame, KeepInFrame, Table, TableStyle

from apps.accounts.models import Lab
from apps.core.cloth_drawing import mm_text
from apps.core.ink import (
    BOLD,
    CELL,
    CELL_BOLD,
    CELL_RIGHT,
    CLOTH,
    HEAD,
    HEAD_RIGHT,
    INK,
    MADDER,
    QUIET,
    SANS,
    SMALL,
    SUBSECTION,
    THREAD,
    printable,
    register_faces,
    say,
)
from apps.core.labels import draw_square
from apps.core.paper import OnPaper
from apps.intake.queries import AT_THE_CUTTER, CuttingWay, SamplePlan, cautions, cutting_instructions, label_code

EDGE = 15 * mm
WIDTH, HEIGHT = A4[0] - 2 * EDGE, A4[1] - 2 * EDGE
HEAD_HEIGHT = 20 * mm
SQUARE = 17 * mm
WIDEST, HIGHEST = 122 * mm, 128 * mm


def cutting_plan(plan: SamplePlan, lab: Lab, *, at: datetime) -> bytes:
    """One A4 sheet, whatever stands on it: a full plan is set smaller. No customer's name: it lies at the bench."""
    register_faces()
    canvas = Canvas(None, pagesize=A4, invariant=1, initialFontName=SANS, lang="en-GB")
    canvas.setTitle(f"Cutting plan {plan.sample.code}")
    canvas.setCreator("Fulling Room")
    _head(canvas, plan, lab, at)
    frame = Frame(EDGE, EDGE, WIDTH, HEIGHT - HEAD_HEIGHT, 0, 0, 0, 0)
    frame.addFromList([KeepInFrame(WIDTH, HEIGHT - HEAD_HEIGHT, _story(plan), mode="shrink")], canvas)
    canvas.showPage()
    return canvas.getpdfdata()


def _head(canvas: Canvas, plan: SamplePlan, lab: Lab, at: datetime) -> None:
    top = A4[1] - EDGE
    canvas.setFillColor(INK)
    canvas.setFont(BOLD, 19)
    canvas.drawString(EDGE, top - 15, f"Cutting plan {plan.sample.code}")
    canvas.setFont(SANS, 10)
    canvas.setFillColor(QUIET)
    what = f"{plan.sample.description}, {plan.sample.get_construction_display()}"
    canvas.drawString(EDGE, top - 30, printable(what)[:95])
    canvas.setFont(SANS, 8)
    printed = f"as it stood on {timezone.localtime(at):%d %b %Y, %H:%M}"
    code = label_code(plan.sample.code)
    draw_square(canvas, code, EDGE + WIDTH - SQUARE + 6, top - 38, SQUARE)
    canvas.drawRightString(EDGE + WIDTH - SQUARE, top - 10, printable(lab.name)[:60])
    canvas.drawRightString(EDGE + WIDTH - SQUARE, top - 20, printed)
    canvas.drawRightString(EDGE + WIDTH - SQUARE, top - 30, code)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(1.2)
    canvas.line(EDGE, top - 40, EDGE + WIDTH, top - 40)
    if lab.is_demo:
        canvas.saveState()
        canvas.setFillColor(MADDER, alpha=0.11)
        canvas.translate(A4[0] / 2, A4[1] / 2)
        canvas.rotate(54)
        canvas.setFont(BOLD, 118)
        canvas.drawCentredString(0, -42, "SPECIMEN")
        canvas.restoreState()


def _story(plan: SamplePlan) -> list[Flowable]:
    aside: list[Flowable] = [say("Before and while cutting", SUBSECTION)]
    aside += [say(f"{n}. {text}", CELL) for n, text in enumerate(cutting_instructions(plan.sample), start=1)]
    aside += [say("Take care", SUBSECTION)]
    aside += [say(f"• {text}", CELL) for text in (*AT_THE_CUTTER, *cautions([plan.sample]))]
    story: list[Flowable] = []
    if drawing := plan.drawing():
        wide = min(WIDEST, HIGHEST * float(drawing.width) / float(drawing.height))
        table = Table([[OnPaper(drawing, wide), aside]], colWidths=[WIDEST + 4 * mm, WIDTH - WIDEST - 4 * mm])
        table.setStyle(
            TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_no_padding(), ("FONT", (0, 0), (-1, -1), SANS)])
        )
        story.append(table)
    elif plan.is_garment:
        story += [say("Garments are tested whole: there is no cutting plan.", CELL), *aside]
    else:
        story += [say("Width or length is not known. Measure the sample at the table and enter it.", CELL), *aside]
    story += [say(f"Look out: {text}", CELL_BOLD) for text in plan.troubles]
    if plan.unplaced:
        story.append(say(f"Look out: where {', '.join(plan.unplaced)} lay is not known.", CELL_BOLD))
    for way in plan.ways:
        story += _way(way)
    story.append(
        say("Dashed specimens are cut already. The inner dashed line is the margin, a tenth of each size.", SMALL)
    )
    return story


def _way(way: CuttingWay) -> list[Flowable]:
    method = way.request.method
    told = f"Way {way.request.ordinal}: {method}, {len(way.numbers)} specimens"
    found: list[Flowable] = [say(told + (f", {way.pattern_told}" if way.pattern_told else ""), SUBSECTION)]
    found += [say(text, CELL) for text in (way.reason, way.trouble) if text]
    if way.pieces:
        heads = ["Specimen", "", "mm from the left selvedge", "mm from the lower end"]
        rows = [[say(text, HEAD_RIGHT if n > 1 else HEAD) for n, text in enumerate(heads)]]
        for piece in way.pieces:
            size = f"{mm_text(piece.side)} × {mm_text(piece.side)} mm, {'cut' if piece.is_cut else 'to be cut'}"
            rows.append(
                [
                    say(piece.name, CELL_BOLD),
                    say(size, CELL),
                    say(piece.lengthwise, CELL_RIGHT),
                    say(piece.widthwise, CELL_RIGHT),
                ]
            )
        table = Table(rows, colWidths=[WIDTH * share for share in (0.12, 0.36, 0.26, 0.26)])
        table.setStyle(
            TableStyle(
                [
                    ("FONT", (0, 0), (-1, -1), SANS, 8.6),
                    ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
                    ("BACKGROUND", (0, 0), (-1, 0), CLOTH),
                    ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
                    ("LINEBELOW", (0, 1), (-1, -1), 0.35, THREAD),
                    ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
                ]
            )
        )
        found.append(table)
    return found


def _no_padding() -> list[tuple]:
    return [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
