"""How much ballast goes to the specimens of a wash load, and how a queue makes the fewest loads."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import lcm

from .bins import Bins
from .errors import LoadError
from .exact import number, own_context, positive


@dataclass(frozen=True, slots=True)
class MakeUp:
    """`pieces` of ballast weighing `ballast_g`; the whole load weighs `total_g`, `within` the tolerance or not."""

    pieces: int
    ballast_g: Decimal
    total_g: Decimal
    within: bool


@dataclass(frozen=True, slots=True)
class Waiting:
    """A piece in the queue: its dry mass, when it is due, and the `key` of what it may share a load with.

    Only pieces of equal keys share. The key holds all that must be kept apart (procedure, detergent, spin, woven or
    knit, lint risk), and the due date too where a lab wants each day's work by itself.
    """

    name: str
    key: tuple[str, ...]
    mass_g: Decimal
    due: date


@dataclass(frozen=True, slots=True)
class Batch:
    """Pieces that are washed together, the earliest due first; `mass_g` without ballast."""

    key: tuple[str, ...]
    pieces: tuple[Waiting, ...]
    mass_g: Decimal

    @property
    def due(self) -> date:
        """When the most urgent piece is due."""
        return self.pieces[0].due


@dataclass(frozen=True, slots=True)
class QueuePlan:
    """The loads in the order to run them, and the pieces that alone are `too_heavy` for one.

    `fewest` tells that it is proven that fewer loads cannot do; where it is not, the search was cut short.
    """

    loads: list[Batch]
    too_heavy: list[Waiting]
    fewest: bool


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


@own_context
def group_queue(queue: Sequence[Waiting], capacity_g: Decimal, most_pieces: int | None = None) -> QueuePlan:
    """The fewest loads of at most `capacity_g` specimens (and `most_pieces`) for the queue; a proposal.

    Among all ways that need the fewest, each piece, the earliest due first, goes into the earliest load of its key
    that still leaves the others their places; pieces due the same day keep their order in the queue. The loads run in
    the order of their most urgent pieces. LoadError for a mass or a capacity not above zero, or `most_pieces` under 1.
    """
    capacity = positive(capacity_g, "The mass that a load may hold", LoadError)
    if most_pieces is not None and (isinstance(most_pieces, bool) or most_pieces < 1):
        raise LoadError("A load must have room for at least one piece.", code="most_pieces")
    by_key: dict[tuple[str, ...], list[Waiting]] = {}
    too_heavy = []
    for piece in sorted(queue, key=lambda piece: piece.due):
        if positive(piece.mass_g, f"The mass of {piece.name}", LoadError) > capacity:
            too_heavy.append(piece)
        else:
            by_key.setdefault(piece.key, []).append(piece)
    loads, fewest = [], True
    for key, pieces in by_key.items():
        *sizes, room = _whole([*(piece.mass_g for piece in pieces), capacity])
        bins = Bins(sizes, room, most_pieces or len(pieces))
        fewest = fewest and bins.proven
        for number_of_load in range(bins.count):
            held = tuple(piece for piece, b in zip(pieces, bins.assigned, strict=True) if b == number_of_load)
            loads.append(Batch(key, held, sum((piece.mass_g for piece in held), Decimal(0))))
    loads.sort(key=lambda load: [piece.due for piece in load.pieces])
    return QueuePlan(loads, too_heavy, fewest)


def _whole(masses: Sequence[Decimal]) -> list[int]:
    """The masses in whole numbers of the finest decimal that occurs."""
    ratios = [Decimal(mass).as_integer_ratio() for mass in masses]
    finest = lcm(*(under for _, under in ratios))
    return [over * (finest // under) for over, under in ratios]
