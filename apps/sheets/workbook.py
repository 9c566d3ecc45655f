"""A measure sheet as an XLSX workbook: its first sheet, read without trust in what the file says about itself."""

import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, BinaryIO

from openpyxl import load_workbook
from openpyxl.cell.read_only import EMPTY_CELL
from openpyxl.utils import get_column_letter

from apps.sheets.cells import COLUMNS, Cells, gather, places_of
from apps.sheets.wrong import SheetRefused, Wrong, short

MOST_PARTS, MOST_ROWS, MOST_COLUMNS = 1000, 1_048_576, 100
# What is built in memory at one time: a row, a text, or a whole part such as the styles. Tags grow thirtyfold there.
MOST_AT_ONCE = 4 << 20
FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
DOCTYPE = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)
BLOCK = 1 << 20
BLANK_ROWS = 50_000  # so many may stand in the file without anything in them
ROW, TEXT = re.compile(rb"<(?:\w+:)?row[\s>/]"), re.compile(rb"<(?:\w+:)?si[\s>/]")
ERRORS = ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A")


@dataclass(frozen=True)
class Limits:
    """How large a workbook may be: unpacked, and in rows that are not blank."""

    unpacked: int
    rows: int


def unreadable(sentence: str, code: str = "no_workbook") -> SheetRefused:
    return SheetRefused(sentence, code=code, field="file")


def inspect(file: BinaryIO, limits: Limits) -> bool:
    """Look at the packed parts before anything is built of them. Whether any holds a formula."""
    file.seek(0)
    start = file.read(8)
    if not start:
        raise unreadable("The file is empty.", "empty")
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise unreadable("This workbook is of the old kind or locked by a password. Save it as XLSX without one.")
    if not start.startswith(b"PK"):
        raise unreadable("This is no XLSX workbook. A text file needs a name that ends in .csv.")
    formulas = False
    try:
        with zipfile.ZipFile(file) as packed:
            parts = packed.infolist()
            # zipfile never unpacks more of a part than it declares
            if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > limits.unpacked:
                raise unreadable(
                    f"Unpacked, this workbook has over {limits.unpacked >> 20} MB or {MOST_PARTS} parts."
                    " Save the sheet as CSV.",
                    "too_large",
                )
            for part in parts:
                if _is_markup(packed, part):
                    formulas |= _scan(packed, part, limits)
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, ValueError, OSError) as fault:
        raise unreadable("This XLSX workbook is damaged or locked by a password.") from fault
    return formulas


def _is_markup(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> bool:
    """Whether a part may be read as XML, whatever it is called: pictures and the like may not."""
    with packed.open(part) as unpacked:
        start = unpacked.read(256)
    return start.replace(b"\0", b"").strip().startswith((b"<", b"\xef\xbb\xbf", b"\xfe\xff", b"\xff\xfe"))


def _scan(packed: zipfile.ZipFile, part: zipfile.ZipInfo, limits: Limits) -> bool:
    sheet, texts = "worksheets/" in part.filename, "sharedStrings" in part.filename
    begins = ROW if sheet else TEXT if texts else None
    formulas, rows, at, since, rest = False, 0, 0, 0, b""  # `since`: where the last row or text began
    with packed.open(part) as unpacked:
        while block := unpacked.read(BLOCK):
            text = rest + block
            if b"\0" in text or DOCTYPE.search(text):
                raise unreadable("This workbook holds what no spreadsheet writes; it was not opened.", "hostile")
            formulas = formulas or FORMULA.search(text) is not None
            places = [found.start() for found in begins.finditer(text)] if begins else []
            for place in [*(at - len(rest) + place for place in places), at + len(block)]:
                if place - since > MOST_AT_ONCE:
                    raise unreadable("One part of this workbook is far too large; it was not opened.", "hostile")
                since = place if place < at + len(block) else since
            rows += len(places) if sheet else 0
            if rows > limits.rows + BLANK_ROWS:
                raise unreadable(
                    f"This workbook has more than {limits.rows:,} rows. Save the sheet as CSV.", "too_long"
                )
            at += len(block)
            rest = block[-16:]
    return formulas


def read(file: BinaryIO, limits: Limits) -> Cells:
    """The cells of the first sheet. Formulas are never reckoned: the value that was stored with them counts."""
    formulas = inspect(file, limits)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what openpyxl will not keep of the workbook is of no matter here
            return _read(file, limits, formulas)
    except SheetRefused:
        raise
    except Exception as fault:  # a stranger's file can go wrong in any way
        raise unreadable("This XLSX workbook cannot be read. Save the sheet as CSV (UTF-8).") from fault


def _read(file: BinaryIO, limits: Limits, formulas: bool) -> Cells:
    book = load_workbook(file, read_only=True, data_only=True, keep_links=False)
    try:
        if not book.worksheets:
            raise unreadable("There is no sheet in this workbook.", "empty")
        sheet = book.worksheets[0]
        cells = _cells(sheet, limits, _formula_cells(file) if formulas else set())
        if len(book.worksheets) > 1:
            cells.notes.append(f"Only the first sheet of the workbook was read, “{short(sheet.title)}”.")
        return cells
    finally:
        book.close()


def _rows(sheet: Any) -> Iterator[tuple[int, Sequence[Any]]]:
    """The rows with a cell in them, numbered as the spreadsheet numbers them."""
    sheet.reset_dimensions()  # what the file says of its size is not believed
    blank = None
    for number, row in enumerate(sheet.iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS), start=1):
        if row is blank:  # rows that are not in the file are all the same one
            continue
        if all(cell is EMPTY_CELL for cell in row):
            blank = row
            continue
        yield number, row


def _formula_cells(file: BinaryIO) -> set[tuple[int, int]]:
    """(row, column) of the cells with a formula, read apart from their values."""
    book = load_workbook(file, read_only=True, data_only=False, keep_links=False)
    try:
        return {
            (number, column)
            for number, row in _rows(book.worksheets[0])
            for column, cell in enumerate(row)
            if cell.data_type == "f"
        }
    finally:
        book.close()


def _cells(sheet: Any, limits: Limits, formulas: set[tuple[int, int]]) -> Cells:
    rows = (
        (number, row)
        for number, row in _rows(sheet)
        if any(not _blank(cell) or (number, column) in formulas for column, cell in enumerate(row))
    )
    _, top = next(rows, (0, ()))
    head = ["" if cell.value is None else str(cell.value) for cell in top]
    while head and not head[-1].strip():
        head.pop()
    if not head:
        raise unreadable("The first sheet of this workbook is empty.", "empty")
    places = places_of(head)
    letters = {name: get_column_letter(place + 1) for name, place in places.items()}
    wrong: list[Wrong] = []
    records = _records(rows, places, len(head), formulas, letters, wrong)
    cells = gather(records, head, limits.rows)
    cells.letters = letters
    cells.wrong += wrong
    cells.silent = {(one.line, one.column) for one in wrong}  # told once, not as empty cells too
    return cells


def _blank(cell: Any) -> bool:
    return cell is EMPTY_CELL or cell.value is None or (isinstance(cell.value, str) and not cell.value.strip())


def _records(
    rows: Iterator[tuple[int, Sequence[Any]]],
    places: dict[str, int],
    width: int,
    formulas: set[tuple[int, int]],
    letters: dict[str, str],
    wrong: list[Wrong],
) -> Iterator[tuple[int, list[str]]]:
    """Each row as texts, as wide as the head."""
    for number, row in rows:
        texts = [""] * width
        unit = row[places["unit"]].value if len(row) > places["unit"] else None
        percent = isinstance(unit, str) and unit.strip() == "pct"
        for name in COLUMNS:
            place = places[name]
            cell = row[place] if place < len(row) else EMPTY_CELL
            if (number, place) in formulas and cell.value is None:
                sentence = "This formula has no stored value. Open the workbook, let it calculate, and save it again."
            else:
                texts[place], sentence = text_of(cell, percent and name == "value")
            if sentence:
                wrong.append(Wrong(number, name, sentence, f"{letters[name]}{number}"))
        yield number, texts


def text_of(cell: Any, percent: bool = False) -> tuple[str, str]:
    """(what a cell says as text, "") or ("", why it cannot be taken)."""
    value = cell.value
    if value is None:
        return "", ""
    if isinstance(value, bool):
        return "", "This is TRUE or FALSE, not a text or a number."
    if isinstance(value, datetime | date | time | timedelta):
        return "", "The spreadsheet took this for a date. Format the cell as text and type it again."
    if isinstance(value, int | float):
        if percent and "%" in str(cell.number_format):
            return "", "This cell is formatted as a percentage. Format it as a number: -2.5 for 2.5 % of shrinkage."
        return str(value) if isinstance(value, int) else f"{value:.15g}", ""  # the digits that a spreadsheet shows
    text = str(value)
    if text in ERRORS:
        return "", f"This cell holds the error {text}."
    return text, ""
