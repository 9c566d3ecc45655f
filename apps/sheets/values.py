"""Readings as typed, in whole nanometres.

A percent reading p is the pair 100 -> 100 + p; one percent counts as a million units, as a millimetre counts as a
million nanometres.
"""

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from apps.calc.errors import CalcError, LengthError
from apps.calc.exact import own_context
from apps.calc.lengths import parse_length, parse_percent
from apps.sheets.wrong import printable

UNITS = ("mm", "cm", "in", "pct")
PERCENT, NO_UNIT = UNITS.index("pct"), len(UNITS)
SCALE = 1_000_000
WHOLE = 100 * SCALE  # the length before washing of a pair read in percent
POWERS = 10 ** np.arange(17, dtype=np.int64)
WIDTH = 16  # bytes of a value on the quick way; longer ones are read one by one

MOST_DECIMALS, MOST_WHOLE_DIGITS = 6, 4
NANOMETRES = np.array([1_000_000, 10_000_000, 25_400_000, SCALE, 1], dtype=np.int64)


@own_context
def parse_value(text: str, unit: str) -> Decimal:
    """A reading in nanometres, for percent the length after washing of the pair 100 -> 100 + p. Exact."""
    if not text.strip():
        raise LengthError("This cell is empty.", code="empty")
    if unit == "pct":
        return WHOLE + parse_percent(text) * SCALE
    return parse_length(text, unit) * SCALE  # type: ignore[arg-type]


@dataclass
class Plain:
    """Of each text: its digits as one number, how many are decimals, whether it is plain (a sign perhaps, few digits,
    one mark with digits on both sides), whether it carries a sign, whether a comma stands before just three digits."""

    number: np.ndarray
    decimals: np.ndarray
    fine: np.ndarray
    signed: np.ndarray
    two_ways: np.ndarray

    def __getitem__(self, places: np.ndarray) -> "Plain":
        return Plain(*(values[places] for values in vars(self).values()))


def plain_decimals(texts: np.ndarray) -> Plain:
    """Texts of WIDTH bytes, read all at once."""
    grid = np.ascontiguousarray(texts.view(np.uint8).reshape(-1, WIDTH).T)  # one row a place in the text
    count = len(texts)
    number = np.zeros(count, dtype=np.int64)
    whole, decimals = np.zeros(count, dtype=np.int8), np.zeros(count, dtype=np.int8)
    marked, comma, ended = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    fine = np.ones(count, dtype=bool)
    signed = (grid[0] == ord("-")) | (grid[0] == ord("+"))
    minus = grid[0] == ord("-")
    for place, column in enumerate(grid):
        if not column.any():
            break
        digit = column - ord("0")  # unsigned: all else is above 9
        is_digit = digit <= 9
        mark = (column == ord(".")) | (column == ord(","))
        end = column == 0
        fine &= is_digit & ~ended | mark & ~marked & (whole > 0) | end
        if place == 0:
            fine |= signed
        number = np.where(is_digit, number * 10 + digit, number)
        comma |= column == ord(",")
        decimals += is_digit & marked
        whole += is_digit & ~marked
        marked |= mark
        ended |= end
    fine &= (whole > 0) & (whole <= MOST_WHOLE_DIGITS) & (decimals <= MOST_DECIMALS) & (~marked | (decimals > 0))
    number = np.where(fine, np.where(minus, -number, number), 0)
    return Plain(number, decimals, fine, signed, comma & (decimals == 3))


def as_bytes(labels: list[str] | np.ndarray) -> np.ndarray:
    """Texts as WIDTH-byte texts; one that does not fit becomes a text that is no plain decimal."""
    if isinstance(labels, np.ndarray):
        return labels
    fitting = [text if len(text) < WIDTH and text.isascii() and "\0" not in text else "?" for text in labels]
    return np.array(fitting, dtype=f"S{WIDTH}")


def as_text(label: str | bytes) -> str:
    """Bytes that are no UTF-8 stay visible as lone surrogates."""
    return label.decode("utf-8", "surrogateescape") if isinstance(label, bytes) else label


class Parsed:
    """Distinct (text, unit) in nanometres. `whole` are exact whole numbers; those off the grid of whole nanometres
    are in `exact`, those that are no reading in `sentences`, by their place."""

    def __init__(self, labels: list[str] | np.ndarray, of_label: np.ndarray, of_unit: np.ndarray) -> None:
        """`of_label` and `of_unit`: the places of the text in `labels` and of the unit in UNITS, of each pair. Beside
        NO_UNIT a text is only looked at for being there at all."""
        plain = plain_decimals(as_bytes(labels))[of_label]
        percent = of_unit == PERCENT
        over = plain.number * NANOMETRES[of_unit]
        whole, rest = np.divmod(over, POWERS[plain.decimals])
        self.whole = np.where(percent, WHOLE, 0) + whole
        length = ~plain.signed & (over > 0) & ~(plain.two_ways & (of_unit == UNITS.index("mm")))
        change = (self.whole > 0) & (self.whole < 2 * WHOLE)
        quick = plain.fine & (rest == 0) & np.where(percent, change, length)
        self.exact: dict[int, Decimal] = {}
        self.sentences: dict[int, str] = {}
        for place in np.flatnonzero(~quick | (of_unit == NO_UNIT)).tolist():
            self._read(place, as_text(labels[of_label[place]]), int(of_unit[place]))

    def _read(self, place: int, text: str, unit: int) -> None:
        if unit == NO_UNIT and text.strip():
            return
        try:
            value = parse_value(text, (*UNITS, "")[unit])
        except CalcError as fault:
            self.sentences[place] = printable(fault.sentence)
            self.whole[place] = 0
            return
        whole = int(value)
        self.whole[place] = whole
        if whole != value:
            self.exact[place] = value
