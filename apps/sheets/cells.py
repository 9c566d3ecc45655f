"""A sheet's cells, column by column, as they were read: text and where it stood."""

import csv
from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from apps.sheets.wrong import SheetRefused, Wrong, short

COLUMNS = ("sample", "specimen", "direction", "pair", "stage", "value", "unit")
MOST_READINGS = 5_000_000


@dataclass(frozen=True)
class Column:
    """`labels[codes]` are the texts, as a rule each different text once."""

    codes: np.ndarray
    labels: list[str] | np.ndarray


@dataclass
class Cells:
    """`lines` says where each row stood; None on the quick way, which is taken only by sheets with nothing wrong."""

    columns: dict[str, Column]
    lines: np.ndarray | None = None
    letters: dict[str, str] = field(default_factory=dict)  # column -> its letter in a workbook
    wrong: list[Wrong] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    silent: set[tuple[int, str]] = field(default_factory=set)  # (line, column) told in `wrong` already

    def __len__(self) -> int:
        return len(self.columns["sample"].codes)

    def told(self, row: int, column: str, sentence: str) -> Wrong:
        """What is wrong with a cell, with its place."""
        line = int(self.lines[row])
        letter = self.letters.get(column, "")
        return Wrong(line, column, sentence, f"{letter}{line}" if letter else "")


def places_of(head: Sequence[str]) -> dict[str, int]:
    """Where each of our columns stands. Names are compared without spaces around and capitals."""
    names = [name.strip().casefold() for name in head]
    missing = [name for name in COLUMNS if name not in names]
    if missing:
        found = ", ".join(short(name.strip()) for name in head if name.strip())[:200] or "nothing"
        columns = "the column " if len(missing) == 1 else "the columns "
        raise SheetRefused(
            f"The first line must name {','.join(COLUMNS)}. Of these {columns}{', '.join(missing)} "
            f"{'is' if len(missing) == 1 else 'are'} missing; found: {found}.",
            code="missing_columns",
            field="file",
        )
    double = [name for name in COLUMNS if names.count(name) > 1]
    if double:
        raise SheetRefused(
            f"The first line names {', '.join(double)} more than once.", code="double_column", field="file"
        )
    return {name: names.index(name) for name in COLUMNS}


def notes_of(head: Sequence[str]) -> list[str]:
    names = [short(name.strip()) for name in head if name.strip() and name.strip().casefold() not in COLUMNS]
    if not names:
        return []
    shown = ", ".join(names[:10]) + (f" and {len(names) - 10} more" if len(names) > 10 else "")
    return [f"Not used: the column{'s' if len(names) > 1 else ''} {shown}."]


def too_many(most: int) -> SheetRefused:
    return SheetRefused(f"A sheet of this kind has at most {most:,} readings.", code="too_long", field="file")


def no_rows() -> SheetRefused:
    return SheetRefused("There is no reading in this sheet, only its first line.", code="no_rows", field="file")


def gather(records: Iterable[tuple[int, Sequence[str]]], head: Sequence[str], most: int = MOST_READINGS) -> Cells:
    """Cells of records (line, texts) below the head. A record with more or fewer cells than the head is wrong."""
    places = list(places_of(head).values())
    codes = [array("q") for _ in COLUMNS]
    known: list[dict[str, int]] = [{} for _ in COLUMNS]
    lines, wrong = array("q"), []
    for line, record in records:
        if len(record) != len(head):
            wrong.append(Wrong(line, "", f"It has {len(record)} cells, the first line has {len(head)}."))
            continue
        lines.append(line)
        for column, texts, place in zip(codes, known, places, strict=True):
            text = record[place]
            column.append(texts.setdefault(text, len(texts)))
        if len(lines) > most:
            raise too_many(most)
    if not lines and not wrong:
        raise no_rows()
    columns = {
        name: Column(np.array(column, dtype=np.int64), list(texts))
        for name, column, texts in zip(COLUMNS, codes, known, strict=True)
    }
    return Cells(columns, np.array(lines, dtype=np.int64), wrong=wrong, notes=notes_of(head))


# A text file read line by line, which knows where each cell stands


def records_of(lines: Iterable[str], delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """(line on which it begins, cells) of each record that is not blank."""
    reader = csv.reader(lines, delimiter=delimiter)
    start = 1
    try:
        for record in reader:
            if any(cell.strip() for cell in record):
                yield start, record
            start = reader.line_num + 1
    except csv.Error as fault:
        raise SheetRefused(
            f"From line {start} on the file cannot be read: a cell there is over {csv.field_size_limit()} characters"
            " long. Is a quotation mark missing?",
            code="endless_cell",
            field="file",
        ) from fault
