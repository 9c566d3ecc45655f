"""One load with all that its page shows: pieces and their state, what is next, what deviated, what was corrected."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from django.db.models import QuerySet

from apps.accounts.models import User
from apps.intake.models import Deviation, Specimen
from apps.laundering.models import (
    CycleLog,
    Drying,
    DryingConditions,
    Load,
    LoadCorrection,
    LoadPiece,
    VoidJudgement,
    WashConditions,
)
from apps.laundering.queries.proposals import washed_before
from apps.laundering.queries.record import USED, dried_of, judgement_of
from apps.methods.models import DryingProcedure, LaunderingProcedure

Outcome = LoadPiece.Outcome
PIECE = (
    *("specimen__request__sample__job", "specimen__request__drying", "specimen__request__method"),
    *("drying__dryer", "drying__procedure", "load", "judgement__by"),
)


@dataclass(frozen=True)
class PieceRow:
    """A piece of a load as a row says it: code of its state, and the words."""

    piece: LoadPiece
    cycle: CycleLog | None = None

    @property
    def specimen(self) -> Specimen:
        return self.piece.specimen

    @property
    def code(self) -> str:
        return self._state[0]

    @property
    def words(self) -> str:
        return self._state[1]

    @property
    def _state(self) -> tuple[str, str]:
        piece, load = self.piece, self.piece.load
        if piece.outcome == Outcome.TICKED:
            return "done", f"cycle {piece.ordinal} ticked off"
        if piece.outcome == Outcome.OUT:
            return "open", piece.get_outcome_display()
        if piece.outcome:
            return "void", piece.get_outcome_display()
        if load.state != Load.State.WASHED:
            return load.state, load.get_state_display()
        if piece.drying is None:
            return "due", "wet, waits for drying"
        if piece.drying.state == Drying.State.RUNNING:
            return "running", "drying"
        return "due", "dry, to tick off"

    @property
    def judgement(self) -> VoidJudgement | None:
        return judgement_of(self.piece)

    @property
    def to_judge(self) -> bool:
        """Wetted without a cycle, and the manager has not said what becomes of it."""
        void, aside = self.piece.outcome == Outcome.VOID, self.specimen.stage == Specimen.Stage.SET_ASIDE
        return void and not aside and self.judgement is None

    @property
    def to_tick(self) -> bool:
        piece = self.piece
        return piece.open and piece.drying is not None and piece.drying.state == Drying.State.DRIED

    @property
    def may_leave(self) -> bool:
        """It can be taken out by itself: dry before the wash, or after it when no drying runs."""
        piece = self.piece
        if not piece.open or piece.load.state not in (Load.State.MADE_UP, Load.State.WASHED):
            return False
        return piece.drying is None or piece.drying.state != Drying.State.RUNNING


@dataclass(frozen=True)
class ToDry:
    """Washed pieces with one drying procedure, and those of other loads that could share the run."""

    procedure: DryingProcedure
    pieces: Sequence[LoadPiece]
    others: Sequence[LoadPiece]


class LoadWhole:
    """Everything about one load, in a number of queries that does not grow with its pieces."""

    def __init__(self, load: Load, user: User) -> None:
        self.load = load
        self.pieces = list(LoadPiece.objects.filter(load=load).select_related(*PIECE).order_by("specimen_id"))
        cycles = CycleLog.objects.filter(piece__in=self.pieces, voided_at__isnull=True).select_related("done_by")
        self._cycles = {cycle.piece_id: cycle for cycle in cycles}
        self._user = user

    @cached_property
    def rows(self) -> list[PieceRow]:
        return [PieceRow(piece, self._cycles.get(piece.pk)) for piece in self.pieces]

    @property
    def to_judge(self) -> list[PieceRow]:
        return [row for row in self.rows if row.to_judge]

    @property
    def to_tick(self) -> list[PieceRow]:
        return [row for row in self.rows if row.to_tick]

    @property
    def running(self) -> list[Drying]:
        """Dryings that pieces of this load are in now."""
        found = {p.drying_id: p.drying for p in self.pieces if p.open and p.drying}
        return [drying for drying in found.values() if drying.state == Drying.State.RUNNING]

    @cached_property
    def dryings(self) -> list[Drying]:
        """All dryings of its pieces, the void ones too, in the order in which they began."""
        links = LoadPiece.void_dryings.through.objects.filter(loadpiece__in=self.pieces)
        ids = {piece.drying_id for piece in self.pieces} | set(links.values_list("drying_id", flat=True))
        rows = Drying.objects.filter(pk__in=ids - {None}).select_related("procedure", "dryer", "by")
        return list(rows.order_by("started_at", "pk"))

    @property
    def dried(self) -> list[tuple[Drying, DryingConditions]]:
        """Each of its dryings with what is now held of it."""
        held = dried_of(self.dryings)
        return [(drying, held[drying.pk]) for drying in self.dryings]

    @cached_property
    def to_dry(self) -> list[ToDry]:
        """Wet pieces by how they dry, with those of other loads that wait for the same."""
        if self.load.state != Load.State.WASHED:
            return []
        by_procedure: dict[int, list[LoadPiece]] = {}
        for piece in self.pieces:
            if piece.open and piece.drying is None:
                by_procedure.setdefault(piece.specimen.request.drying_id, []).append(piece)
        others: dict[int, list[LoadPiece]] = {}
        if by_procedure:
            for piece in wet_elsewhere(self.load, by_procedure):
                others.setdefault(piece.specimen.request.drying_id, []).append(piece)
        return [
            ToDry(pieces[0].specimen.request.drying, pieces, others.get(procedure, []))
            for procedure, pieces in by_procedure.items()
        ]

    @cached_property
    def corrections(self) -> list[LoadCorrection]:
        return list(self.load.corrections.select_related(*USED, "by").order_by("revision"))

    @property
    def conditions(self) -> WashConditions:
        """What is now held to be true: the newest correction, or the load itself."""
        return self.corrections[-1] if self.corrections else self.load

    @property
    def revision(self) -> int:
        return self.corrections[-1].revision if self.corrections else 0

    @cached_property
    def deviations(self) -> list[Deviation]:
        """What was written under this load's number, once each: every job in the load carries its own copy."""
        jobs = {piece.specimen.request.sample.job_id for piece in self.pieces}
        rows = Deviation.objects.filter(job__in=jobs, load_number=self.load.pk).select_related("by")
        return list({(row.kind, row.text): row for row in rows}.values())

    @property
    def constructions(self) -> set[str]:
        return {piece.specimen.request.sample.construction for piece in self.pieces if piece.open}


def wet_elsewhere(load: Load, dryings: Iterable[int]) -> QuerySet[LoadPiece]:
    """Washed pieces of other loads that wait for one of these drying procedures."""
    return (
        LoadPiece.objects.filter(open=True, drying=None, load__state=Load.State.WASHED)
        .filter(specimen__request__drying__in=list(dryings))
        .exclude(load=load)
        .select_related(*PIECE)
        .order_by("load_id", "specimen_id")[:100]
    )


def weighed_before(pieces: Sequence[LoadPiece]) -> Load | None:
    """The last wash of exactly these pieces together: the same ballast goes with them again."""
    specimens = frozenset(piece.specimen_id for piece in pieces)
    before = set(washed_before(specimens).values())
    same = next(iter(before)) if len(before) == 1 else None
    return same.load if same and same.specimens == specimens else None


def last_of_procedure(procedure: LaunderingProcedure) -> Load | None:
    """The last load washed by this procedure: its ballast and lots are most likely the ones at hand."""
    return Load.objects.filter(procedure=procedure).exclude(ballast="").order_by("-pk").first()
