"""Skew from the diagonals of a marked square."""

from decimal import Decimal

from .errors import SkewError
from .exact import own_context, positive, settle


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
