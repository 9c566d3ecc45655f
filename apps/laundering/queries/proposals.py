"""Loads that the laundry could make up next: the fewest, what is due first in the first. The balance decides."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from apps.calc.loads import Waiting, group_queue
from apps.intake.models import Job
from apps.laundering.models import Load, LoadPiece
from apps.methods.models import LaunderingProcedure

SQ_MM = Decimal(1_000_000)
JOBS_SHOWN = 6  # of a proposal; the rest is counted


@dataclass(frozen=True)
class WaitingPiece:
    """A piece that waits, with what a proposal needs of it. `mass_g` is expected, or not known."""

    pk: int
    code: str
    due: date | None
    urgent: bool
    mass_g: Decimal | None

    @property
    def short_code(self) -> str:
        return self.code.rsplit("-", 1)[1]

    @property
    def job(self) -> str:
        return self.code.rsplit("-", 1)[0]


@dataclass(frozen=True)
class Before:
    """A load that a piece went through, and who lay in it."""

    load: Load
    specimens: frozenset[int]

    @property
    def each_g(self) -> Decimal:
        return self.load.specimen_mass_g / len(self.specimens)


@dataclass(frozen=True)
class Proposal:
    """Pieces for one drum. `before`: exactly these were washed together last, with that ballast."""

    pieces: Sequence[WaitingPiece]
    procedure: LaunderingProcedure
    today: date
    before: Load | None = None
    too_heavy: bool = False

    @property
    def mass_g(self) -> Decimal | None:
        """Expected; None when it is not known of every piece."""
        masses = [piece.mass_g for piece in self.pieces]
        return None if None in masses else sum(masses, Decimal(0)).quantize(Decimal(1))

    @property
    def keys(self) -> str:
        """The pieces in one word, as the page sends them back."""
        return "-".join(str(piece.pk) for piece in self.pieces)

    @property
    def due(self) -> date | None:
        return min((piece.due for piece in self.pieces if piece.due), default=None)

    @property
    def late(self) -> bool:
        return self.due is not None and self.due < self.today

    @property
    def urgent(self) -> bool:
        return any(piece.urgent for piece in self.pieces)

    @property
    def jobs(self) -> dict[str, list[str]]:
        """`26-00147N` -> A1, A2: the first jobs of it."""
        jobs: dict[str, list[str]] = {}
        for piece in self.pieces:
            if piece.job in jobs or len(jobs) < JOBS_SHOWN:
                jobs.setdefault(piece.job, []).append(piece.short_code)
        return jobs

    @property
    def more(self) -> int:
        return len(self.pieces) - sum(map(len, self.jobs.values()))


def expected_mass_g(side_mm: Decimal | None, gsm: Decimal | None) -> Decimal | None:
    """Mass per area times area; serves the proposal only."""
    return side_mm * side_mm / SQ_MM * gsm if side_mm and gsm else None


def washed_before(specimen_ids: Collection[int]) -> dict[int, Before]:
    """The last load that each of these specimens went through, in three queries."""
    through = LoadPiece.objects.filter(specimen__in=specimen_ids, outcome=LoadPiece.Outcome.TICKED)
    last = dict(through.order_by("pk").values_list("specimen_id", "load_id"))
    loads = Load.objects.in_bulk(set(last.values()))
    held: dict[int, set[int]] = {}
    inside = LoadPiece.objects.filter(load__in=loads).exclude(outcome=LoadPiece.Outcome.OUT)
    for load_id, specimen_id in inside.values_list("load_id", "specimen_id"):
        held.setdefault(load_id, set()).add(specimen_id)
    of_load = {pk: Before(load, frozenset(held[pk])) for pk, load in loads.items()}
    return {specimen: of_load[load] for specimen, load in last.items()}


def proposals(
    procedure: LaunderingProcedure, pieces: Iterable[WaitingPiece], before: dict[int, Before], today: date
) -> list[Proposal]:
    """The fewest loads for pieces that may share a drum, the most urgent first.

    Specimens are at most half of the load where the method says so. What no mass is known of goes by itself: nobody
    can say beforehand how much of it a drum holds.
    """
    pieces = list(pieces)
    capacity = procedure.load_mass_g / 2 if procedure.specimens_at_most_half else procedure.load_mass_g
    by_pk = {str(piece.pk): piece for piece in pieces}
    queue = [Waiting(str(p.pk), (), p.mass_g, p.due or date.max) for p in pieces if p.mass_g]
    plan = group_queue(queue, capacity)
    drums = [[by_pk[piece.name] for piece in load.pieces] for load in plan.loads]
    heavy = [[by_pk[piece.name]] for piece in plan.too_heavy]
    unknown = [piece for piece in pieces if not piece.mass_g]
    made = [Proposal(drum, procedure, today, _same(drum, before)) for drum in [*drums, unknown] if drum]
    made += [Proposal(drum, procedure, today, too_heavy=True) for drum in heavy]
    return sorted(made, key=lambda one: one.due or date.max)


def _same(drum: Sequence[WaitingPiece], before: dict[int, Before]) -> Load | None:
    last = {before.get(piece.pk) for piece in drum}
    one = next(iter(last)) if len(last) == 1 else None
    return one.load if one and one.specimens == {piece.pk for piece in drum} else None


URGENT = Job.Priority.URGENT
COLUMNS = (
    *("pk", "code", "cycles_valid", "due", "request__sample__job__priority"),
    *("request__method__specimen_side_mm", "request__sample__mass_gsm"),
)


def light(rows: Iterable[tuple], before: dict[int, Before]) -> list[WaitingPiece]:
    """Rows of COLUMNS as pieces. Where mass per area is not known, the last load they went through tells."""
    made = []
    for pk, code, _, due, priority, side, gsm in rows:
        mass = expected_mass_g(side, gsm)
        if mass is None and pk in before:
            mass = before[pk].each_g
        made.append(WaitingPiece(pk, code, due, priority == URGENT, mass))
    return made
