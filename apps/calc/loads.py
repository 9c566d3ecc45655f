"""How much ballast goes to the specimens of a wash load."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from .errors import LoadError
from .exact import number, own_context, positive


@dataclass(frozen=True, slots=True)
class MakeUp:
    """`pieces` of ballast weighing `ballast_g`; the whole load weighs `total_g`, `within` the tolerance or not."""

    pieces: int
    ballast_g: Decimal
    total_g: Decimal
    within: bool


@own_context
def make_up(masses_g: Sequence[Decimal], target_g: Decimal, tolerance_g: Decimal, piece_g: Decimal) -> MakeUp:
    """The number of ballast pieces of `piece_g` each that brings the specimens nearest to the target; grams.

    Two numbers equally near: the fewer. A proposal; the weighed total is the record. LoadError for no specimens, a
    mass that is not above zero, a negative tolerance, or specimens that alone exceed target + tolerance.
    """
    masses = [positive(mass, f"The mass of specimen {i}", LoadError) for i, mass in enumerate(masses_g, 1)]
    target = positive(target_g, "The mass of the load", LoadError)
    piece = positive(piece_g, "The mass of a ballast piece", LoadError)
    tolerance = number(tolerance_g, "The tolerance of the load", LoadError)
    if tolerance < 0:
        raise LoadError(f"The tolerance of the load must not be negative, but is {tolerance} g.", code="tolerance")
    if not masses:
        raise LoadError("There is no specimen in this load. Add the specimens first.", code="no_specimens")
    specimens = sum(masses, Decimal(0))
    if specimens > target + tolerance:
        raise LoadError(
            f"The specimens alone weigh {specimens} g, more than {target} g + {tolerance} g. "
            "Split them over more loads or take the larger load.",
            code="too_heavy",
        )
    pieces, rest = divmod(max(target - specimens, Decimal(0)), piece)
    if 2 * rest > piece:
        pieces += 1
    ballast = pieces * piece
    total = specimens + ballast
    return MakeUp(int(pieces), ballast, total, abs(total - target) <= tolerance)
