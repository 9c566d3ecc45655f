"""The first page: who, for whom, what came out, who answers for it."""

from collections.abc import Mapping
from io import BytesIO

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, HRFlowable, Image, KeepTogether, Paragraph, Table

from apps.core.ink import (
    BOLD,
    CELL,
    CELL_BOLD,
    CELL_RIGHT,
    CLOTH,
    INK,
    LAB,
    LAB_SIDE,
    MADDER,
    NOTICE,
    SMALL,
    SUBJECT,
    TITLE,
    markup,
    say,
)
from apps.reporting.facts import Facts
from apps.reporting.facts.reader import RequestFacts
from apps.reporting.facts.told import Figure, when
from apps.reporting.facts.wording import EXTERNAL_MARK, FINAL, INTERIM, INVENTED, SIGN, SUPPLIED
from apps.reporting.pdf.parts import bare, gap, grid, pairs, section
from apps.reporting.pdf.sheet import WIDTH

Images = Mapping[str, bytes]
MARKS = {"pass": "✓", "fail": "×", "conditional_pass": "△", "conditional_fail": "△"}


LOGO = (52 * mm, 19 * mm)  # the room that a logo may fill


def letterhead(facts: Facts, images: Images) -> list[Flowable]:
    lab = facts.lab
    side: list[Flowable] = []
    if picture := images.get(lab.get("logo", "")):
        side += [_logo(picture), gap(3)]
    side.append(say("\n".join(part for part in (lab["phone"], lab["email"]) if part), LAB_SIDE))
    who = [say(lab["name"], LAB), say(lab["address"], SMALL)]
    if facts.claims_scope and lab.get("accreditation"):
        who += [gap(2), say(lab["accreditation"], SMALL)]
    head = Table([[who, side]], colWidths=[WIDTH * 0.66, WIDTH * 0.34])
    head.setStyle(bare(("RIGHTPADDING", (1, 0), (1, 0), 0)))
    rule = HRFlowable(width="100%", thickness=1.4, color=INK, spaceBefore=4, spaceAfter=12)
    number = Paragraph(
        f'<font name="{BOLD}" size="11.5">{markup(facts.number)}</font><br/>{markup(_revision(facts))}', LAB_SIDE
    )
    title = Table(
        [[[say(facts.title, TITLE), say(facts.subject, SUBJECT)], number]], colWidths=[WIDTH * 0.66, WIDTH * 0.34]
    )
    title.setStyle(bare(("RIGHTPADDING", (1, 0), (1, 0), 0), ("TOPPADDING", (1, 0), (1, 0), 8)))
    return [head, rule, title, gap(8)]


def _logo(picture: bytes) -> Flowable:
    image = Image(BytesIO(picture), hAlign="RIGHT")
    scale = min(LOGO[0] / image.imageWidth, LOGO[1] / image.imageHeight, 1)
    image.drawWidth, image.drawHeight = image.imageWidth * scale, image.imageHeight * scale
    return image


def _revision(facts: Facts) -> str:
    if facts.amends:
        return f"revision {facts.revision}\nreplaces {facts.amends['number']}"
    return f"revision {facts.revision}"


def who_and_when(facts: Facts) -> list[Flowable]:
    customer, job, report = facts.customer, facts.job, facts.report
    contact = "\n".join(part for part in (job["contact"] or customer["contact"], customer["email"]) if part)
    left = [
        ("Customer", f"{customer['name']}\n{customer['address']}".strip()),
        ("Contact", contact),
        (f"Order {SUPPLIED}", job["purchase_order"]),
        ("Job", job["number"]),
    ]
    right = [
        ("Items received", facts.received),
        ("Tested", facts.performed),
        ("Report issued", facts.issued),
        ("Work done at", facts.place or "the address above"),
        ("Verification code", report["verification_code"]),
    ]
    table = Table([[_column(left), _column(right)]], colWidths=[WIDTH / 2, WIDTH / 2])
    table.setStyle(bare(("RIGHTPADDING", (0, 0), (-1, -1), 0)))
    return [table]


def _column(rows: list[tuple[str, str]]) -> Table:
    table = pairs(rows)
    table._argW = [26 * mm, WIDTH / 2 - 26 * mm]
    return table


def notices(facts: Facts) -> list[Flowable]:
    told = [say(INTERIM, NOTICE)] if facts.is_interim else []
    if facts.follows_told:
        told.append(say(facts.follows_told, NOTICE))
    if facts.not_covered_told:
        told.append(say(facts.not_covered_told, NOTICE))
    if facts.cancelled_told:
        told.append(say(facts.cancelled_told, NOTICE))
    told += [say(sentence, NOTICE) for sentence in facts.retests_told]
    if facts.amends:
        told.append(say(amendment(facts), NOTICE))
    if facts.is_demo:
        told.append(say(INVENTED, NOTICE))
    return told


def amendment(facts: Facts) -> str:
    changes = facts.amends["changes"]
    lines = [f"Changed: {c['what']}: {c['was'] or 'nothing'} → {c['now'] or 'nothing'}" for c in changes]
    return "\n".join([facts.amendment_told, *(lines or ["No result and no detail of the test changed."])])


def results(facts: Facts) -> list[Flowable]:
    rows: list[list] = []
    marks: list[tuple] = [("LEFTPADDING", (4, 0), (4, -1), 22)]
    for request in facts.requests:
        place = len(rows) + 1
        rows.append([_heading(request, facts.claims_scope), "", "", "", "", ""])
        marks += [
            ("SPAN", (0, place), (-1, place)),
            ("TOPPADDING", (0, place), (-1, place), 7),
            ("LINEBELOW", (0, place), (-1, place), 0.35, INK),
            ("NOSPLIT", (0, place), (-1, place + _together(len(request.figures)))),
        ]
        rows += [_row(figure) for figure in request.figures]
    heads = ["Direction", "After cycle", "Change, %", "u, %", "Limits, %", "Verdict"]
    table = grid(heads, rows, [30, 22, 24, 20, 46, 40], figures=(1, 2, 3), extra=marks)
    notes = [f"{request.short}: {note}" for request in facts.requests for note in request.notes]
    below = [say(text, SMALL) for text in (f"{SIGN} {FINAL}", *notes)]
    return [CondPageBreak(170), *section("Results", table, gap(3), *below), *_external(facts)]


def _external(facts: Facts) -> list[Flowable]:
    rows = [
        [
            f"{EXTERNAL_MARK} {row['sample']}",
            row["test"],
            row["result"],
            "\n".join(part for part in (row["laboratory"], row["accreditation"], row["reference"]) if part),
        ]
        for row in facts.external
    ]
    heads = ["Item", "Test", "Result", "Laboratory, its accreditation, its report"]
    return (
        section(f"Results of other laboratories {EXTERNAL_MARK}", grid(heads, rows, [26, 50, 40, 66])) if rows else []
    )


def _together(rows: int) -> int:
    """How many rows stay with their heading on one page: all, unless they are too many for that."""
    return rows if rows <= 12 else 2


def _heading(request: RequestFacts, claims_scope: bool) -> Paragraph:
    sample = request.sample
    scope = ", outside the scope of accreditation" if claims_scope and not request.method["in_scope"] else ""
    cycles = "1 cycle" if request.cycles == 1 else f"{request.cycles} cycles"
    return Paragraph(
        f'<font name="{BOLD}">{markup(request.short)}</font>  {markup(sample["description"])} {SUPPLIED}  '
        f"<font color='#5b6377'>{markup(sample['code'])}; {markup(request.method['name'])}{scope}; "
        f"{markup(request.procedure['name'])}; {markup(request.drying['name'])}; {cycles}</font>",
        CELL,
    )


def _row(figure: Figure) -> list:
    strong = CELL_BOLD if figure.is_final else CELL
    return [
        say(figure.direction, strong),
        say(str(figure.stage), CELL_RIGHT),
        Paragraph(
            f'<font name="{BOLD}">{markup(figure.change)}</font>' if figure.is_final else figure.change, CELL_RIGHT
        ),
        say(figure.u or "–", CELL_RIGHT),
        say(figure.limits, CELL),
        verdict(figure),
    ]


def verdict(figure: Figure) -> Paragraph:
    """A word with a mark; madder underlines what fails, and never tells it alone."""
    if not figure.verdict:
        return say(figure.verdict_told or "–", CELL)
    colour = MADDER if figure.verdict.endswith("fail") else INK
    face = BOLD if figure.is_final else CELL.fontName
    told = f"{MARKS[figure.verdict]} {figure.verdict_told}"
    return Paragraph(f'<font name="{face}" color="{colour.hexval().replace("0x", "#")}">{markup(told)}</font>', CELL)


def authorisation(facts: Facts) -> list[Flowable]:
    """Who answers for the report, and whether anything was done otherwise, still on the first page where it fits."""
    report = facts.report
    deviations = len(facts.deviations)
    told = f"{deviations} recorded, see “Deviations”" if deviations else "none"
    rows = [
        ("Deviations from the method", told),
        ("Authorised by", facts.authorised_by),
        ("Meaning and time", f"{report['meaning']}, {when(report['issued_at'])} ({facts.lab['time_zone']})"),
        (
            "Is it unchanged?",
            f"Ask {facts.verify_page}, by the square or by number and code." if facts.verify_page else "",
        ),
    ]
    table = pairs(rows, label=0.27)
    code = verification(facts)
    beside = CODE + 8 * mm if code else 0
    table._argW = [WIDTH * 0.24, WIDTH * 0.76 - beside - 14]
    frame = Table([[table, code]], colWidths=[WIDTH - beside, beside] if code else [WIDTH, 0])
    frame.setStyle(
        bare(
            ("BACKGROUND", (0, 0), (-1, -1), CLOTH),
            ("LEFTPADDING", (0, 0), (-1, -1), 7),
            ("TOPPADDING", (0, 0), (-1, -1), 5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 6),
        )
    )
    return [gap(10), KeepTogether([frame])]


CODE = 22 * mm


def verification(facts: Facts) -> list[Flowable]:
    """The address at which anybody may ask whether the report is unchanged, for a telephone to read."""
    address = facts.report.get("verify_at")
    if not address:
        return []
    return [Square(address)]


class Square(Flowable):
    """A QR code (ISO/IEC 18004) of the size that a telephone reads from paper, at the right of its room."""

    def __init__(self, text: str) -> None:
        super().__init__()
        code = QRCode(None, QRErrorCorrectLevel.M)
        code.addData(text)
        code.make()
        self.rows = code.modules
        self.width = self.height = CODE
        self.hAlign = "RIGHT"

    def wrap(self, *_: float) -> tuple[float, float]:
        return CODE, CODE

    def draw(self) -> None:
        size = CODE / len(self.rows)
        self.canv.setFillColor(INK)
        for y, row in enumerate(self.rows):
            for x, dark in enumerate(row):
                if dark:
                    self.canv.rect(x * size, CODE - (y + 1) * size, size, size, stroke=0, fill=1)
