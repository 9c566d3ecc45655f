"""From cells to readings: every cell checked, all that is wrong told at once."""

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np
import pandas as pd

from apps.sheets.cells import Cells, Column
from apps.sheets.values import NO_UNIT, PERCENT, UNITS, WHOLE, Parsed, as_text
from apps.sheets.wrong import MOST_TOLD, Wrong, WrongRows, short

NAMES = ("sample", "specimen", "direction", "pair")
MOST_CHARACTERS = 100
LAST_STAGE = 999
_PLAIN_NAME = re.compile(rf"[!-~](?:[ -~]{{0,{MOST_CHARACTERS - 2}}}[!-~])?")
_STAGE = re.compile(r"[0-9]{1,3}")
LARGEST_KEY = 1 << 62


class NeedsCare(Exception):
    """Something is wrong, and the quick way does not know on which line."""


@dataclass
class Readings:
    """One row a reading, in sheet order. `value` in nanometres (percent: see values); of the few that lie between
    two whole nanometres the value is in `exact`, by row."""

    columns: dict[str, Column]  # sample, specimen, direction, pair
    stage: np.ndarray
    percent: np.ndarray
    notes: list[str] = field(default_factory=list)
    value: np.ndarray = field(init=False)
    way: np.ndarray = field(init=False)  # a direction of a sample, numbered from 0 in sheet order
    ways: int = field(init=False)
    pair: np.ndarray = field(init=False)  # a benchmark pair, likewise
    pairs: int = field(init=False)
    exact: dict[int, Decimal] = field(default_factory=dict)  # row -> nanometres

    def __post_init__(self) -> None:
        codes = {name: (column.codes.astype(np.int64), len(column.labels)) for name, column in self.columns.items()}
        self.way, ways = pd.factorize(combine([codes["sample"], codes["direction"]]))
        self.ways = len(ways)
        self.pair, pairs = pd.factorize(combine([(self.way, self.ways), codes["specimen"], codes["pair"]]))
        self.pairs = len(pairs)

    def __len__(self) -> int:
        return len(self.stage)

    def exact_value(self, row: int) -> Decimal:
        return self.exact[row] if row in self.exact else Decimal(int(self.value[row]))


def combine(parts: list[tuple[np.ndarray, int]]) -> np.ndarray:
    """One whole number for each combination of codes; parts are (codes, how many there can be)."""
    key, size = np.zeros(len(parts[0][0]), dtype=np.int64), 1
    for codes, count in parts:
        if size * count >= LARGEST_KEY:
            key, found = pd.factorize(key)
            size = len(found)
        key, size = key * count + codes, size * count
    return key


class Check:
    """Goes over the columns and gathers what is wrong: for each finding the rows, and a sentence for each row."""

    def __init__(self, cells: Cells) -> None:
        self.cells = cells
        self.found: list[tuple[np.ndarray, str, Callable[[int], str]]] = []
        self.bad = np.zeros(len(cells), dtype=bool)

    def note(self, rows: np.ndarray, column: str, sentence: Callable[[int], str]) -> None:
        if not rows.any():
            return
        if self.cells.lines is None:
            raise NeedsCare
        self.bad |= rows
        for row in np.flatnonzero(rows).tolist() if self.cells.silent else ():
            rows[row] = (int(self.cells.lines[row]), column) not in self.cells.silent
        if rows.any():
            self.found.append((rows, column, sentence))

    def labels(self, name: str, wrong: Callable[[str], str]) -> Column:
        """A column with spaces around taken off; `wrong` gives the sentence for a text that cannot be."""
        column = self.cells.columns[name]
        texts = [as_text(label).strip() for label in column.labels]
        sentences = {place: told for place, text in enumerate(texts) if (told := wrong(text))}
        if sentences:
            bad = np.zeros(len(texts), dtype=bool)
            bad[list(sentences)] = True
            self.note(bad[column.codes], name, lambda row: sentences[int(column.codes[row])])
        if len(set(texts)) == len(texts):
            return Column(column.codes, texts)
        merged, labels = pd.factorize(np.array(texts, dtype=object))
        return Column(merged[column.codes], list(labels))

    def finish(self) -> None:
        if not self.found and not self.cells.wrong:
            return
        total = len(self.cells.wrong) + sum(int(rows.sum()) for rows, _, _ in self.found)
        told = list(self.cells.wrong)
        for rows, column, sentence in self.found:
            first = np.flatnonzero(rows)[:MOST_TOLD].tolist()
            told += [self.cells.told(row, column, sentence(row)) for row in first]
        raise WrongRows(sorted(told, key=self._order)[:MOST_TOLD], total)

    def _order(self, wrong: Wrong) -> tuple[int, int]:
        columns = list(self.cells.columns)
        return wrong.line, columns.index(wrong.column) if wrong.column else -1


def wrong_name(text: str) -> str:
    if _PLAIN_NAME.fullmatch(text):
        return ""
    if not text:
        return "This cell is empty."
    if len(text) > MOST_CHARACTERS:
        return f"This is longer than {MOST_CHARACTERS} characters."
    kinds = {unicodedata.category(character) for character in text}
    if "Cs" in kinds:
        return "This holds bytes that are no UTF-8 text. Save the sheet as CSV (UTF-8)."
    if kinds & {"Cc", "Zl", "Zp"} or {"\ufffe", "\uffff"} & set(text):  # the last two no workbook can hold
        return "This holds a control character or a line break."
    return ""


def wrong_stage(text: str) -> str:
    if _STAGE.fullmatch(text):
        return ""
    return wrong_name(text) or (
        f'"{short(text)}" is no stage. Write 0 before washing, 1 after cycle 1, up to {LAST_STAGE}.'
    )


def wrong_unit(text: str) -> str:
    return "" if text in UNITS else wrong_name(text) or f'"{short(text)}" is no unit. Write mm, cm, in or pct.'


def read_cells(cells: Cells) -> Readings:
    """The readings of a sheet. WrongRows names all that is wrong; NeedsCare when the lines are not known."""
    check = Check(cells)
    if not len(cells):
        check.finish()
    names = {name: check.labels(name, wrong_name) for name in NAMES}
    stages = check.labels("stage", wrong_stage)
    units = check.labels("unit", wrong_unit)
    stage = np.array([int(text) if _STAGE.fullmatch(text) else -1 for text in stages.labels])[stages.codes]
    unit = np.array([UNITS.index(text) if text in UNITS else NO_UNIT for text in units.labels])[units.codes]
    readings = Readings(names, stage, unit == PERCENT, cells.notes)
    _values(check, readings, unit)
    _once(check, readings)
    _one_kind(check, readings, unit)
    check.finish()
    return readings


def _values(check: Check, readings: Readings, unit: np.ndarray) -> None:
    """Read each different (text, unit) once. A value beside a wrong unit waits until that is right."""
    column = check.cells.columns["value"]
    kinds = len(UNITS) + 1
    combined, of_label = column.codes, np.arange(len(column.labels))
    of_unit = np.full(len(of_label), unit[0])
    if (unit != unit[0]).any():
        combined, distinct = pd.factorize(column.codes * kinds + unit)
        of_label, of_unit = distinct // kinds, distinct % kinds
    parsed = Parsed(column.labels, of_label, of_unit)
    readings.value = parsed.whole[combined]
    if parsed.sentences:
        wrong = np.zeros(len(of_label), dtype=bool)
        wrong[list(parsed.sentences)] = True
        check.note(wrong[combined], "value", lambda row: parsed.sentences[int(combined[row])])
    before = readings.percent & (readings.stage == 0) & (readings.value != WHOLE) & (readings.value != 0)
    check.note(before, "value", lambda row: "Before washing a percent scale reads 0.")
    if parsed.exact:
        rows = np.flatnonzero(np.isin(combined, list(parsed.exact))).tolist()
        readings.exact = {row: parsed.exact[int(combined[row])] for row in rows}


def _once(check: Check, readings: Readings) -> None:
    """A cell (sample, specimen, direction, pair, stage) is read once."""
    stages = int(readings.stage.max()) + 2
    key = readings.pair * stages + readings.stage + 1
    if readings.pairs * stages < 4 * len(key) and np.bincount(key).max() < 2:
        return
    usable = np.flatnonzero(~check.bad)
    again = np.zeros(len(key), dtype=bool)
    again[usable] = pd.Series(key[usable]).duplicated().to_numpy()
    first: dict[int, int] = {}

    def sentence(row: int) -> str:
        if not first:
            first.update(zip(key[usable[::-1]].tolist(), usable[::-1].tolist(), strict=True))
        line = check.cells.lines[first[int(key[row])]]
        return f"This pair was read at this stage in {'row' if check.cells.letters else 'line'} {line} already."

    check.note(again, "value", sentence)


def _one_kind(check: Check, readings: Readings, unit: np.ndarray) -> None:
    """One direction of one sample is read in lengths or in percent, as its first reading is."""
    if not readings.percent.any() or (readings.percent | (unit == NO_UNIT)).all():
        return
    known, way = unit != NO_UNIT, readings.way
    first = np.zeros(readings.ways, dtype=bool)
    rows = np.flatnonzero(known)[::-1]
    first[way[rows]] = readings.percent[rows]
    mixed = known & (readings.percent != first[way])
    words = {True: "in percent, this row in a length", False: "in lengths, this row in percent"}
    check.note(
        mixed,
        "unit",
        lambda row: f"This direction of the sample is read {words[bool(first[way[row]])]}. Keep to one of them.",
    )
