"""A measure sheet as a text file: the quick way with pandas, the careful way when anything looks odd.

The careful way is what counts; the quick way is taken only where both give the same.
"""

import csv
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from typing import BinaryIO

import numpy as np
import pandas as pd

from apps.sheets.cells import (
    COLUMNS,
    MOST_READINGS,
    Cells,
    Column,
    gather,
    no_rows,
    notes_of,
    places_of,
    records_of,
    too_many,
)
from apps.sheets.values import WIDTH
from apps.sheets.wrong import SheetRefused, Wrong

BLOCK = 1 << 20
HEAD = 1 << 16
LOOKED_AT = 1 << 16  # cells of a column
WIDEST = 64  # bytes of a cell on the quick way
DELIMITERS = (",", ";", "\t")
BOM = "\N{ZERO WIDTH NO-BREAK SPACE}"
LOST = "\udc80", "\udcff"  # bytes that are no UTF-8, as surrogateescape leaves them
NOT_TEXT = {
    b"PK\x03\x04": "This is a workbook, not a text file. Give it a name that ends in .xlsx.",
    b"\xd0\xcf\x11\xe0": "This is a workbook of the old kind. Save it as XLSX or as CSV (UTF-8).",
    b"\xff\xfe": "This file is UTF-16 text. Save it as CSV (UTF-8).",
    b"\xfe\xff": "This file is UTF-16 text. Save it as CSV (UTF-8).",
    b"%PDF": "This is a PDF, not a measure sheet.",
}


@dataclass(frozen=True)
class Head:
    """The first line that is not blank: its cells, what parts them, and the first record below."""

    names: list[str]
    delimiter: str
    first: list[str]


def head_of(file: BinaryIO) -> Head:
    """The head of a text file; SheetRefused when it is none."""
    file.seek(0)
    start = file.read(HEAD)
    for mark, sentence in NOT_TEXT.items():
        if start.startswith(mark):
            raise SheetRefused(sentence, code="no_text", field="file")
    if not start.strip(b"\xef\xbb\xbf \t\r\n"):
        raise SheetRefused("The file is empty.", code="empty", field="file")
    text = start.decode("utf-8", "surrogateescape").removeprefix(BOM)
    heads = [_head(text, delimiter) for delimiter in DELIMITERS]
    # Our columns' names hold no delimiter: only one way of parting can find them all.
    best = max(heads, key=lambda head: sum(name.strip().casefold() in COLUMNS for name in head.names))
    if "\0" in "".join(best.names) or any(LOST[0] <= letter <= LOST[1] for name in best.names for letter in name):
        raise SheetRefused("This is no text file. Save the sheet as CSV (UTF-8).", code="no_text", field="file")
    places_of(best.names)
    return best


def _head(text: str, delimiter: str) -> Head:
    records = [record for _, record in islice(records_of(io.StringIO(text, newline=""), delimiter), 2)]
    first = records[1] if len(records) > 1 else []
    return Head(records[0] if records else [], delimiter, first)


def read(file: BinaryIO) -> Cells | None:
    """The quick way. None when the file is odd in any way: quotes over more than our columns, rows of another length,
    bytes that are no text, very long cells. The caller then reads it `with_care`."""
    head = head_of(file)
    names, count, places = head.names, len(head.names), places_of(head.names)
    # A row that is too long does not parse, and one too short lacks its last cell; unless that cell may be empty.
    open_end = max(places.values()) < count - 1
    delimiters, quotes, nulls = _count(file, head.delimiter if open_end else "\0")
    if len(head.first) not in (0, count) or nulls or (quotes and open_end):
        return None
    widths = dict.fromkeys(range(count), 1)  # a column that is not ours is read past
    widths |= {place: WIDTH if name in ("sample", "value") else 8 for name, place in places.items()}
    while (frame := _frame(file, head, widths)) is not None and (full := _full(frame, places)):
        if "value" in full or max(widths[places[name]] for name in full) >= WIDEST:
            return None
        widths |= {places[name]: WIDEST for name in full}
    if frame is None or (open_end and delimiters != (count - 1) * (len(frame) + 1)):
        return None
    columns = {name: _column(name, frame.pop(places[name]).to_numpy()) for name in COLUMNS}
    return Cells(columns, notes=notes_of(names))


def _column(name: str, values: np.ndarray) -> Column:
    if name == "value" and _seldom_twice(values):
        return Column(np.arange(len(values)), values)
    return distinct_bytes(values)


def _seldom_twice(values: np.ndarray) -> bool:
    """Whether most of a column's cells differ, so that there is nothing gained from telling them apart."""
    some = np.ascontiguousarray(values[:: max(1, len(values) // LOOKED_AT)])
    return len(distinct_bytes(some).labels) > len(some) // 2


def _count(file: BinaryIO, delimiter: str) -> tuple[int, int, int]:
    file.seek(0)
    delimiters = quotes = nulls = 0
    while block := file.read(BLOCK):
        delimiters += block.count(delimiter.encode())
        quotes += block.count(b'"')
        nulls += block.count(b"\0")
    return delimiters, quotes, nulls


def _frame(file: BinaryIO, head: Head, widths: dict[int, int]) -> pd.DataFrame | None:
    """All columns as bytes of fixed widths, which keeps them exactly as they are written; cut off where wider."""
    file.seek(0)
    kinds = {place: f"S{width}" for place, width in widths.items()}
    try:
        frame = pd.read_csv(
            file, sep=head.delimiter, header=0, names=list(kinds), index_col=False, dtype=kinds, na_filter=False,
            low_memory=False, encoding="utf-8",
        )  # fmt: skip
    except (ValueError, OverflowError, MemoryError):  # ParserError and UnicodeDecodeError are ValueErrors
        return None
    if len(frame) > MOST_READINGS:
        raise too_many(MOST_READINGS)
    if not len(frame):
        raise no_rows()
    if any(str(frame[place].dtype) != f"|S{width}" for place, width in widths.items()):
        return None  # pandas changed its ways
    return frame


def _full(frame: pd.DataFrame, places: dict[str, int]) -> list[str]:
    """The columns of ours with a cell that fills its width, so that it may have been cut off."""
    grids = {name: _grid(frame[place].to_numpy()) for name, place in places.items()}
    return [name for name, grid in grids.items() if grid[:, -1].any()]


def _grid(values: np.ndarray) -> np.ndarray:
    return values.view(np.uint8).reshape(len(values), values.dtype.itemsize)


def distinct_bytes(values: np.ndarray) -> Column:
    """Each different text of a column of fixed width once, told apart eight bytes at a time as whole numbers."""
    words = values.view("<u8").reshape(len(values), -1)
    codes, distinct = pd.factorize(np.ascontiguousarray(words[:, 0]))
    found = [distinct]
    for word in words.T[1:]:
        if not word.any():
            found.append(np.zeros(len(found[0]), dtype=np.uint64))
            continue
        more, others = pd.factorize(np.ascontiguousarray(word))
        codes, both = pd.factorize(codes * len(others) + more)
        found = [*(known[both // len(others)] for known in found), others[both % len(others)]]
    return Column(codes, np.stack(found, axis=1).astype("<u8").reshape(-1).view(values.dtype))


@contextmanager
def _lines_of(file: BinaryIO) -> Iterator[io.TextIOWrapper]:
    """The file line by line; bytes that are no UTF-8 stay visible as lone surrogates."""
    file.seek(0)
    text = io.TextIOWrapper(file, "utf-8-sig", "surrogateescape", newline="")
    try:
        yield text
    finally:
        text.detach()


def read_with_care(file: BinaryIO) -> Cells:
    """The careful way: knows every cell's line, and what about the file itself is wrong."""
    head = head_of(file)
    last = 0

    def remember(records: Iterator[tuple[int, list[str]]]) -> Iterator[tuple[int, list[str]]]:
        nonlocal last
        for line, record in records:
            last = line
            yield line, record

    with _lines_of(file) as lines:
        records = remember(records_of(lines, head.delimiter))
        next(records)
        cells = gather(records, head.names)
    if unclosed := _unclosed(file, last, head.delimiter):
        cells.wrong.append(unclosed)
    return cells


def _unclosed(file: BinaryIO, line: int, delimiter: str) -> Wrong | None:
    """A quotation mark that opens in the last record and never closes has swallowed the rest of the file."""
    with _lines_of(file) as lines:
        try:
            for _ in csv.reader(islice(lines, line - 1, None), delimiter=delimiter, strict=True):
                pass
        except csv.Error as fault:
            if "unexpected end" in str(fault):
                return Wrong(line, "", "A quotation mark opens here and never closes.")
    return None
