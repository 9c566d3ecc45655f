"""Where the specimens are cut from a sample, so that each has yarns of its own as far as the cloth allows.

Each specimen of a sample shall contain different lengthwise and widthwise yarns, and none shall come from the outer
tenth of the width: AATCC TM135-2018, clause 6 (from published extracts).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations
from math import ceil
from typing import Literal

from . import packing
from .errors import LayoutError
from .exact import number, own_context, positive
from .field import Box, Field, Spot, evenly

Pattern = Literal["diagonal", "ell", "row", "reduced", "none"]

MOST_CUTS = 12
MOST_TAKEN = 60


@dataclass(frozen=True, slots=True)
class Rect:
    """An area of the sample in mm: lower-left corner (x from one selvedge, y from the lower end), width and length."""

    x: Decimal
    y: Decimal
    width: Decimal
    length: Decimal


@dataclass(frozen=True, slots=True)
class Cut:
    """One square specimen in mm: lower-left corner (x from one selvedge, y from the lower end) and side."""

    x: Decimal
    y: Decimal
    side: Decimal

    @property
    def area(self) -> Rect:
        """The cloth it takes."""
        return Rect(self.x, self.y, self.side, self.side)


@dataclass(frozen=True, slots=True)
class CuttingPlan:
    """The pattern found, its cuts from the selvedge outwards, and in a sentence why no better one is given."""

    pattern: Pattern
    cuts: list[Cut]
    reason: str


@own_context
def plan_cutting(
    width: Decimal,
    length: Decimal,
    side: Decimal,
    count: int = 3,
    margin_width: Decimal = Decimal("0.10"),
    margin_length: Decimal = Decimal("0.10"),
    taken: Sequence[Rect] = (),
) -> CuttingPlan:
    """The first pattern of the ladder that fits `count` (1 to 12) squares of `side`; mm, exact.

    Every cut lies within the sample less the margins (fractions of width and length, kept free on both sides) and
    clear of the `taken` areas; touching is allowed. The ladder: "diagonal", no two cuts share a lengthwise or a
    widthwise yarn; "ell", two share none and all lie in an L (for three cuts any place where two share none);
    "row", all fit, side by side or in a block; "reduced", the most that fit; "none". Where nothing is taken the
    cuts are spread evenly. For up to four cuts between up to a dozen taken areas no better pattern exists; with more
    of both the search is bounded (well under a second) and may settle for less. LayoutError for a size that is not
    above zero, a margin outside 0..0.5 (0.5 excluded), a count outside 1..12, or more than 60 taken areas.
    """
    if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MOST_CUTS:
        raise LayoutError(f"Ask for 1 to {MOST_CUTS} cuts.", code="count")
    if len(taken) > MOST_TAKEN:
        raise LayoutError(f"More than {MOST_TAKEN} areas are already cut. Start a new sample.", code="too_many_taken")
    grid = _Grid(
        (_size(width, "The width of the sample"), _size(length, "The length of the sample")),
        _size(side, "The side of a cut"),
        (_margin(margin_width, "across the width"), _margin(margin_length, "along the length")),
        [_checked(rect) for rect in taken],
    )
    field = grid.field(count)
    pattern, spots = _first_that_fits(field, count, grid.millimetre)
    cuts = [grid.cut(spot) for spot in sorted(spots)]
    return CuttingPlan(pattern, cuts, _reason(pattern, cuts, count, grid))


def _margin(fraction: Decimal, where: str) -> Decimal:
    margin = _short(number(fraction, f"The margin {where}", LayoutError), f"The margin {where}")
    if not 0 <= margin < Decimal("0.5"):
        raise LayoutError(f"The margin {where} must be a fraction from 0 to below 0.5, not {margin}.", code="margin")
    return margin


def _checked(rect: Rect) -> Rect:
    place, name = "The place of an area already cut", "The size of an area already cut"
    x, y = (_short(number(n, place, LayoutError), place) for n in (rect.x, rect.y))
    return Rect(x, y, _size(rect.width, name), _size(rect.length, name))


def _size(value: Decimal, name: str) -> Decimal:
    return _short(positive(value, name, LayoutError), name)


def _short(value: Decimal, name: str) -> Decimal:
    # Keeps products and sums of sizes and margins exact in the working precision.
    if _exponent(value) < -40:
        raise LayoutError(f"{name} has more than 40 decimals. Round it first.", code="out_of_range")
    return value


class _Grid:
    """The sample in whole numbers: the finest decimal that occurs is one."""

    def __init__(
        self, size: tuple[Decimal, Decimal], side: Decimal, margins: tuple[Decimal, Decimal], taken: list[Rect]
    ) -> None:
        self.size, self.side, self.taken = size, side, taken
        self.borders = (size[0] * margins[0], size[1] * margins[1])
        numbers = [*size, side, *self.borders, *(n for r in taken for n in (r.x, r.y, r.width, r.length))]
        self.decimals = max(0, *(-_exponent(n) for n in numbers))
        self.millimetre = 10**self.decimals

    def field(self, count: int) -> Field:
        (width, length), (beside, below) = self.size, self.borders
        area = self._box(beside, below, width - beside, length - below)
        boxes = [self._box(r.x, r.y, r.x + r.width, r.y + r.length) for r in self.taken]
        return Field(area, self._whole(self.side), count, boxes)

    def cut(self, spot: Spot) -> Cut:
        x, y = (_plain(Decimal(n).scaleb(-self.decimals)) for n in spot)
        return Cut(x, y, self.side)

    def usable(self) -> tuple[Decimal, Decimal]:
        (width, length), (beside, below) = self.size, self.borders
        return _plain(width - 2 * beside), _plain(length - 2 * below)

    def _box(self, *edges: Decimal) -> Box:
        left, bottom, right, top = (self._whole(edge) for edge in edges)
        return left, bottom, right, top

    def _whole(self, value: Decimal) -> int:
        return int(value.scaleb(self.decimals))


def _exponent(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int)  # only finite numbers come here
    return exponent


def _plain(value: Decimal) -> Decimal:
    """Without trailing zeros, and without an exponent."""
    short = value.normalize()
    return short.quantize(Decimal(1)) if _exponent(short) > 0 else short


def _first_that_fits(field: Field, count: int, millimetre: int) -> tuple[Pattern, list[Spot]]:
    spots = _best_of(field, count, millimetre)
    if spots is not None:
        return spots
    fewer = packing.most(field, count)
    if len(fewer) == count:
        return "row", fewer
    if not fewer:
        return "none", []
    better = _best_of(field, len(fewer), millimetre)
    return "reduced", fewer if better is None else better[1]


def _best_of(field: Field, count: int, millimetre: int) -> tuple[Pattern, list[Spot]] | None:
    """Diagonal, ell or line: spread evenly where that is free, else as the search finds it."""
    for spread in _diagonals(field, count, millimetre):
        if field.all_free(spread):
            return "diagonal", spread
    spots = packing.diagonal(field, count)
    if spots is not None:
        return "diagonal", spots
    for spread in _ells(field, count, millimetre):
        if field.all_free(spread):
            return "ell", spread
    spots = packing.ell(field, count)
    if spots is not None:
        return "ell", spots
    for spread in _lines_and_blocks(field, count, millimetre):
        if field.all_free(spread):
            return "row", spread
    spots = packing.line(field, count)
    return None if spots is None else ("row", spots)


def _diagonals(field: Field, count: int, millimetre: int) -> list[list[Spot]]:
    if min(field.across, field.along) < count:
        return []
    left, bottom, right, top = field.area
    xs = evenly(left, right, field.side, count, millimetre)
    ys = evenly(bottom, top, field.side, count, millimetre)
    return [list(zip(xs, ys, strict=True)), list(zip(xs, reversed(ys), strict=True))]


def _ells(field: Field, count: int, millimetre: int) -> list[list[Spot]]:
    """An L with its corner cut in each corner of the area, the arms as equal as they can be."""
    if count < 3 or min(field.across, field.along) < 2 or field.across + field.along - 1 < count:
        return []
    row = min(field.across, max(ceil((count + 1) / 2), count + 1 - field.along))
    left, bottom, right, top = field.area
    xs = evenly(left, right, field.side, row, millimetre)
    ys = evenly(bottom, top, field.side, count + 1 - row, millimetre)
    return [
        [*((x, corner_y) for x in xs), *((corner_x, y) for y in ys if y != corner_y)]
        for corner_y in (ys[0], ys[-1])
        for corner_x in (xs[0], xs[-1])
    ]


def _lines_and_blocks(field: Field, count: int, millimetre: int) -> list[list[Spot]]:
    left, bottom, right, top = field.area
    shapes = []
    if field.across >= count and field.along >= 1:
        shapes.append((count, 1))
    if field.along >= count and field.across >= 1:
        shapes.append((1, count))
    # As square as possible: in a long row every cut shares its yarns with every other.
    nearest = sorted(range(1, min(field.across, count) + 1), key=lambda n: (max(n, ceil(count / n)), -n))
    shapes += [(n, ceil(count / n)) for n in nearest if ceil(count / n) <= field.along]
    blocks = []
    for columns, rows in shapes:
        xs = evenly(left, right, field.side, columns, millimetre)
        ys = evenly(bottom, top, field.side, rows, millimetre)
        blocks.append([(x, y) for y in ys for x in xs][:count])
    return blocks


def _reason(pattern: Pattern, cuts: list[Cut], count: int, grid: _Grid) -> str:
    if pattern == "none":
        width, length = grid.usable()
        size = f"between the margins the sample is {width} mm wide and {length} mm long"
        if min(width, length) >= grid.side:
            return f"No cut of {grid.side} mm fits: {size}, and what is already cut leaves no room."
        return f"No cut of {grid.side} mm fits: {size}."
    shared = shared_yarns(cuts)
    if pattern == "diagonal":
        return "There is room for the cut." if count == 1 else f"The {count} cuts lie apart: {shared}."
    if pattern == "ell":
        return f"No diagonal fits, so the {count} cuts lie in an L: {shared}."
    if pattern == "row":
        shape = "side by side" if _in_line(cuts) else "in a block"
        missing = "No diagonal fits" if count == 2 else "Neither a diagonal nor an L fits"
        return f"{missing}, so the {count} cuts lie {shape}: {shared}."
    only = f"Only {len(cuts)} of {count} cuts fit"
    return f"{only}." if len(cuts) == 1 else f"{only}: {shared}."


def _in_line(cuts: list[Cut]) -> bool:
    return len({cut.x for cut in cuts}) == 1 or len({cut.y for cut in cuts}) == 1


def shared_yarns(cuts: list[Cut]) -> str:
    """Which cuts, numbered in their order, share lengthwise (same x) and widthwise (same y) yarns."""
    numbered = list(combinations(enumerate(cuts, 1), 2))
    sharing = {
        "lengthwise": [(i, j) for (i, a), (j, b) in numbered if abs(a.x - b.x) < a.side],
        "widthwise": [(i, j) for (i, a), (j, b) in numbered if abs(a.y - b.y) < a.side],
    }
    parts = []
    for yarns, pairs in sharing.items():
        if not pairs:
            continue
        if len(pairs) == len(numbered):
            parts.append(f"all share {yarns} yarns")
        elif len(pairs) <= 4:
            named = ", ".join(f"{i} and {j}" for i, j in pairs)
            parts.append(f"{named} share {yarns} yarns")
        else:
            parts.append(f"{len(pairs)} of {len(numbered)} pairs share {yarns} yarns")
    return "; ".join(parts) or "no two share a lengthwise or a widthwise yarn"
