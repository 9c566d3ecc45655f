"""Skew of a marked square, from its diagonals or its displaced edges, and the twist of a garment's seam."""

from decimal import Decimal

from .errors import SkewError
from .exact import number, own_context, positive, settle


@own_context
def from_diagonals(ac: Decimal, bd: Decimal) -> Decimal:
    """100 x 2 (AC - BD) / (AC + BD) in percent, unrounded; the sign tells the direction.

    `ac` and `bd` are the diagonals of one marked square after washing, same unit. A square whose upper edge moved
    sideways by 5 % of its height gives 4.997. On a 250 mm square one millimetre of one diagonal is 0.28 %. AATCC TM179,
    option 1 (from memory; the geometry is checked). SkewError unless both are finite and above zero.
    """
    one = positive(ac, "The diagonal AC", SkewError)
    other = positive(bd, "The diagonal BD", SkewError)
    return settle(200 * (one - other) / (one + other))


@own_context
def from_displacement(aa: Decimal, dd: Decimal, ab: Decimal, cd: Decimal) -> Decimal:
    """100 x (AA' + DD') / (AB + CD) in percent, unrounded.

    A line square to the marked edge is drawn on the washed cloth; `aa` and `dd` are how far its ends lie from the
    corners A and D, `ab` and `cd` the edges between which it was drawn; same unit. The two displacements carry their
    direction as a sign; one to each side cancels. AATCC TM179, option 2 (formula from memory). SkewError unless the
    edges are above zero and longer than the displacements.
    """
    moved = _moved(aa, "AA'") + _moved(dd, "DD'")
    edges = positive(ab, "The edge AB", SkewError) + positive(cd, "The edge CD", SkewError)
    if abs(moved) >= edges:
        raise SkewError("The displacements are not shorter than the edges. Check which is which.", code="too_far")
    return settle(100 * moved / edges)


@own_context
def garment_twist(aa: Decimal, ab: Decimal) -> Decimal:
    """100 x AA' / AB in percent, unrounded: how far a vertical seam has wandered for its length.

    `aa` runs along the lower edge from the seam A to the natural fold A', 0 when the seam lies on the fold, with the
    direction as its sign; `ab` from A up to 25 mm below the next seam; same unit. AATCC TM207, before and after
    washing (formula from memory); a seam's own displacement over its length is also the trade's spirality. Seams of
    different make must not be averaged. SkewError unless AB is above zero and longer than AA'.
    """
    moved, seam = _moved(aa, "AA'"), positive(ab, "The seam length AB", SkewError)
    if abs(moved) >= seam:
        raise SkewError("The displacement AA' is not shorter than the seam AB. Check which is which.", code="too_far")
    return settle(100 * moved / seam)


def _moved(distance: Decimal, name: str) -> Decimal:
    return number(distance, f"The displacement {name}", SkewError)
