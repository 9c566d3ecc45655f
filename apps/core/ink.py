"""Type and ink of all paper: embedded faces, colours, paragraph styles, and text that always can be printed."""

import unicodedata
from functools import cache
from importlib.resources import files
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_CENTER, TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

SANS, BOLD = "ReportSans", "ReportSans-Semibold"
FACES = {SANS: "SourceSansPro-Regular.ttf", BOLD: "SourceSansPro-Semibold.ttf"}
UNPRINTABLE = "\N{BALLOT BOX}"

INK = HexColor("#1d2740")
QUIET = HexColor("#5b6377")
THREAD = HexColor("#c9c4b8")
CLOTH = HexColor("#f4f1ea")
MADDER = HexColor("#9a2f2c")


@cache
def register_faces() -> None:
    """Source Sans Pro (SIL Open Font License) out of its package: figures of equal width, Latin, Greek, Cyrillic."""
    folder = files("font_source_sans_pro") / "files"
    for name, file in FACES.items():
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    pdfmetrics.registerFontFamily(SANS, normal=SANS, bold=BOLD, italic=SANS, boldItalic=BOLD)


@cache
def glyphs() -> frozenset[int]:
    """Characters that both faces have."""
    register_faces()
    return frozenset.intersection(*(frozenset(pdfmetrics.getFont(name).face.charToGlyph) for name in FACES))


def printable(text: str) -> str:
    """The text with an empty box for each character that the faces do not have; control characters are left out."""
    known = glyphs()
    told = []
    for character in unicodedata.normalize("NFC", text):
        if character in "\n\t" or character == "\u2003":
            told.append("\n" if character == "\n" else " ")
        elif ord(character) in known:
            told.append(character)
        elif unicodedata.category(character) not in ("Cc", "Cf", "Mn", "Me"):
            told.append(" " if unicodedata.category(character) == "Zs" else UNPRINTABLE)
    return "".join(told)


def has_unprintable(value: Any) -> bool:
    """Whether any text within these facts holds a character that comes out as a box."""
    if isinstance(value, str):
        return UNPRINTABLE in printable(value)
    if isinstance(value, dict):
        return any(has_unprintable(item) for item in value.values())
    return isinstance(value, list) and any(has_unprintable(item) for item in value)


def _style(name: str, size: float, leading: float, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(name, **{"fontName": SANS, "fontSize": size, "leading": leading, "textColor": INK, **more})


BODY = _style("body", 9.2, 12.4)
STATEMENT = _style("statement", 9.2, 12.4, spaceAfter=2.5)
SMALL = _style("small", 7.8, 10.2, textColor=QUIET)
CELL = _style("cell", 8.6, 10.8)
CELL_BOLD = ParagraphStyle("cell-bold", parent=CELL, fontName=BOLD)
CELL_RIGHT = ParagraphStyle("cell-right", parent=CELL, alignment=TA_RIGHT)
HEAD = ParagraphStyle("head", parent=CELL, fontName=SANS, fontSize=7.8, leading=9.6, textColor=QUIET)
HEAD_RIGHT = ParagraphStyle("head-right", parent=HEAD, alignment=TA_RIGHT)
SECTION = ParagraphStyle("section", parent=BODY, fontName=BOLD, fontSize=11.5, leading=14, spaceBefore=15, spaceAfter=5)
SUBSECTION = ParagraphStyle("subsection", parent=BODY, fontName=BOLD, spaceBefore=8, spaceAfter=3)
TITLE = ParagraphStyle("title", parent=BODY, fontName=BOLD, fontSize=21, leading=27)
SUBJECT = ParagraphStyle("subject", parent=BODY, fontSize=11.5, leading=15, textColor=QUIET)
LAB = ParagraphStyle("lab", parent=BODY, fontName=BOLD, fontSize=12.5, leading=17)
LAB_SIDE = ParagraphStyle("lab-side", parent=SMALL, alignment=TA_RIGHT)
NOTICE = ParagraphStyle("notice", parent=BODY, backColor=CLOTH, borderPadding=(5, 7, 6, 7), spaceBefore=8, spaceAfter=8)
END = ParagraphStyle("end", parent=BODY, fontName=BOLD, alignment=TA_CENTER, spaceBefore=16)


def markup(text: str) -> str:
    """Text as it stands, safe inside a paragraph's markup."""
    return escape(printable(text)).replace("\n", "<br/>")


def say(text: str, style: ParagraphStyle = BODY) -> Paragraph:
    """A paragraph of plain text. Nothing in it is read as markup."""
    return Paragraph(markup(text) or "&nbsp;", style)


def labelled(label: str, text: str, style: ParagraphStyle = BODY) -> Paragraph:
    """A run-in label and what it says."""
    return Paragraph(f'<font name="{BOLD}">{markup(label)}</font>  {markup(text)}', style)


def fitting(text: str, size: float, width: float) -> str:
    """One line of text, cut where the room ends."""
    text = " ".join(printable(text).split())
    if pdfmetrics.stringWidth(text, SANS, size) <= width:
        return text
    while text and pdfmetrics.stringWidth(f"{text}…", SANS, size) > width:
        text = text[:-1]
    return f"{text}…"
