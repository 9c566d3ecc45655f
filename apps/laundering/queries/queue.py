"""What the laundry's first page shows: loads in hand with their next step, and what waits for a wash."""

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import BooleanField, Case, Count, F, IntegerField, Q, QuerySet, Value, When
from django.db.models.expressions import Combinable

from apps.accounts.models import Lab, User
from apps.accounts.queries import the_lab
from apps.intake.models import Job, Request, Specimen
from apps.laundering.models import Drying, Load, LoadPiece
from apps.laundering.queries.proposals import COLUMNS, Proposal, light, proposals, washed_before
from apps.laundering.queries.timing import Pace, Timer
from apps.methods.models import DryingProcedure, LaunderingProcedure

Kind = DryingProcedure.Kind
WITHOUT_SPIN = (Kind.DRIP_LINE, Kind.DRIP_FLAT)
PLANNED = 90  # pieces of a group, the most urgent ones, that loads are proposed for
OFFERED = 2  # loads of a group on the overview; its own page has them all
WITH_JOB = ("request__sample__job", "request__procedure", "request__drying")
CLASSES = {"woven": "woven", "knit": "knit", "mixed": "garments of woven and knit", "": "woven and knit"}
KEY = re.compile(r"(\d{1,9})-(woven|knit|mixed|any)-(spun|drip)-(\d{1,9})", re.ASCII)


@dataclass(frozen=True)
class GroupKey:
    """What pieces must agree in to share a drum: wash, woven or knit, spin, and the sample where one may bleed."""

    procedure: int
    construction: str
    without_spin: bool
    bleeding: int

    def __str__(self) -> str:
        spin = "drip" if self.without_spin else "spun"
        return f"{self.procedure}-{self.construction or 'any'}-{spin}-{self.bleeding}"

    @classmethod
    def read(cls, text: str) -> "GroupKey | None":
        if not (match := KEY.fullmatch(text)):
            return None
        construction = "" if match[2] == "any" else match[2]
        return cls(int(match[1]), construction, match[3] == "drip", int(match[4]))


@dataclass(frozen=True)
class WaitingRow:
    """A piece that waits, as its row says it."""

    specimen: Specimen
    late: bool

    @property
    def job(self) -> Job:
        return self.specimen.request.sample.job

    @property
    def urgent(self) -> bool:
        return self.job.priority == Job.Priority.URGENT

    @property
    def void_runs(self) -> int:
        """How often it was wetted without a cycle that counts."""
        return self.specimen.times_wetted - self.specimen.cycles_valid


@dataclass
class Group:
    """Pieces that may share a drum, the oldest due date first."""

    key: GroupKey
    procedure: LaunderingProcedure
    waiting: int
    today: date
    first: list[int] = field(default_factory=list)  # the requests of the pieces that are due first
    pieces: list[Specimen] = field(default_factory=list)
    loads: list[Proposal] = field(default_factory=list)

    @property
    def next_loads(self) -> list[Proposal]:
        return self.loads[:OFFERED]

    @property
    def rows(self) -> list[WaitingRow]:
        return [
            WaitingRow(piece, late=due is not None and due < self.today)
            for piece in self.pieces
            for due in (piece.request.sample.job.due_on,)
        ]

    @property
    def cloth(self) -> str:
        return CLASSES[self.key.construction]

    @property
    def spin(self) -> str:
        return "dripping, out before the last spin" if self.key.without_spin else "spun"

    @property
    def more(self) -> int:
        """How many wait beyond the loads that are offered first."""
        return self.waiting - sum(len(load.pieces) for load in self.next_loads)


def waiting(user: User, lab: Lab | None = None) -> QuerySet[Specimen]:
    """Pieces that may be washed now, each with what decides whom it shares a drum with."""
    return (
        Specimen.objects.visible_to(user)
        .filter(stage=Specimen.Stage.READY, request__lock=Request.Lock.OPEN, cycles_valid__lt=F("request__cycles"))
        .annotate(**_drum(lab or the_lab(), "request__"), due=F("request__sample__job__due_on"))
    )


def _drum(lab: Lab, request: str = "") -> dict[str, Combinable]:
    """The drum of a request, or of what hangs on one; `request` says how."""
    together = lab.mix_rule == Lab.MixRule.WARN
    return {
        "drum_procedure": F(f"{request}procedure"),
        "drum_construction": Value("") if together else F(f"{request}sample__construction"),
        "drum_without_spin": Case(
            When(**{f"{request}drying__kind__in": WITHOUT_SPIN}, then=Value(True)),
            default=Value(False),
            output_field=BooleanField(),
        ),
        "drum_bleeding": Case(
            When(**{f"{request}sample__bleeds_or_sheds": True}, then=F(f"{request}sample_id")),
            default=Value(0),
            output_field=IntegerField(),
        ),
    }


DRUM = ("drum_procedure", "drum_construction", "drum_without_spin", "drum_bleeding")
OLDEST_DUE = (F("due").asc(nulls_last=True), "request__sample__job__number", "request_id", "number")


def groups(user: User, lab: Lab, today: date) -> list[Group]:
    """The groups of all waiting pieces, the one with the oldest due date first; without their pieces yet.

    Counted request by request, which are a third of the pieces: of each group the first requests are remembered.
    """
    ready = Specimen.objects.visible_to(user).filter(stage=Specimen.Stage.READY).order_by()
    counted: dict[int, list[tuple[int, int]]] = {}
    for request, done, number in ready.values_list("request_id", "cycles_valid").annotate(number=Count("pk")):
        counted.setdefault(request, []).append((done, number))
    requests = (
        Request.objects.visible_to(user)
        .filter(lock=Request.Lock.OPEN)
        .annotate(**_drum(lab))
        .order_by(F("sample__job__due_on").asc(nulls_last=True), "sample__job__number", "pk")
        .values_list(*DRUM, "pk", "cycles")
    )
    found: dict[tuple, Group] = {}
    for *drum, request, cycles in requests:
        if number := sum([number for done, number in counted.get(request, ()) if done < cycles]):
            if not (group := found.get(key := tuple(drum))):
                group = found[key] = Group(GroupKey(*key), None, 0, today)
            if group.waiting < PLANNED:
                group.first.append(request)
            group.waiting += number
    procedures = LaunderingProcedure.objects.in_bulk({group.key.procedure for group in found.values()})
    for group in found.values():
        group.procedure = procedures[group.key.procedure]
    return list(found.values())


def of_group(pieces: QuerySet[Specimen], key: GroupKey, first: Collection[int] = ()) -> QuerySet[Specimen]:
    """All pieces of one group; those that are ticked already come `first`."""
    ticked = Case(When(pk__in=first, then=Value(0)), default=Value(1), output_field=IntegerField())
    return pieces.filter(_in_drum(key)).select_related(*WITH_JOB).order_by(ticked, *OLDEST_DUE)


def drum_of(user: User, specimen_ids: Sequence[int]) -> tuple[GroupKey | None, list[int]]:
    """The group that these waiting pieces stand in, with those of them that do; of several the one due first."""
    rows = list(waiting(user).filter(pk__in=specimen_ids).order_by(*OLDEST_DUE))
    keys = [GroupKey(*(getattr(row, name) for name in DRUM)) for row in rows]
    return (keys[0], [row.pk for row, key in zip(rows, keys, strict=True) if key == keys[0]]) if keys else (None, [])


def chosen_elsewhere(
    pieces: QuerySet[Specimen], shown: Iterable[Specimen], chosen: Collection[int]
) -> QuerySet[Specimen] | list[Specimen]:
    """Ticked pieces that still wait but stand on another page: a refusal shows them ticked all the same."""
    rest = set(chosen) - {piece.pk for piece in shown}
    return pieces.filter(pk__in=rest).select_related(*WITH_JOB).order_by(*OLDEST_DUE) if rest else []


def with_proposals(pieces: QuerySet[Specimen], shown: Sequence[Group]) -> Sequence[Group]:
    """Each of these groups with the loads that could be made up next: so many queries, however many wait."""
    by_key = {group.key: group for group in shown}
    if not by_key:
        return shown
    first = [request for group in shown for request in group.first]
    found = list(pieces.filter(request__in=first).order_by(*OLDEST_DUE).values_list(*DRUM, *COLUMNS))
    drum, washed = len(DRUM), COLUMNS.index("cycles_valid")
    before = washed_before({row[drum] for row in found if row[drum + washed]})
    of_group: dict[GroupKey, list[tuple]] = {}
    for row in found:
        of_group.setdefault(GroupKey(*row[:drum]), []).append(row[drum:])
    for key, group in by_key.items():
        planned = of_group.get(key, [])[:PLANNED]
        group.loads = proposals(group.procedure, light(planned, before), before, group.today)
    return shown


def _in_drum(key: GroupKey) -> Q:
    """A group's pieces. Said of the columns themselves, so that the database need not reckon it out for each row."""
    wanted = Q(request__procedure=key.procedure)
    drips = Q(request__drying__kind__in=WITHOUT_SPIN)
    wanted &= drips if key.without_spin else ~drips
    if key.construction:
        wanted &= Q(request__sample__construction=key.construction)
    bleeding = Q(request__sample__bleeds_or_sheds=True, request__sample=key.bleeding)
    return wanted & (bleeding if key.bleeding else Q(request__sample__bleeds_or_sheds=False))


@dataclass
class InHand:
    """A load that still holds pieces: what is next, since when, and which pieces, job by job."""

    load: Load
    pieces: list[LoadPiece]
    pace: Pace

    @property
    def jobs(self) -> dict[str, list[str]]:
        """`26-00147N` -> A1, A2."""
        jobs: dict[str, list[str]] = {}
        for piece in self.pieces:
            jobs.setdefault(piece.specimen.request.sample.job.number, []).append(piece.specimen.short_code)
        return jobs

    @property
    def to_tick(self) -> int:
        return sum(piece.drying is not None and piece.drying.state == Drying.State.DRIED for piece in self.pieces)

    @property
    def to_dry(self) -> int:
        return sum(piece.drying is None for piece in self.pieces) if self.load.state == Load.State.WASHED else 0

    @property
    def tick_words(self) -> str:
        return f"{self.to_tick} to tick off"

    @property
    def dry_words(self) -> str:
        return f"{self.to_dry} wet, to dry"

    @property
    def wash_timer(self) -> Timer | None:
        return self.pace.of_wash(self.load) if self.load.state == Load.State.WASHING else None

    @property
    def drying_timers(self) -> list[tuple[Drying, Timer]]:
        return [(drying, self.pace.of_drying(drying)) for drying in self.dryings]

    @property
    def is_over(self) -> bool:
        """A run of it has taken as long as it should: it is to be unloaded now."""
        return any(timer and timer.over for timer in (self.wash_timer, *(timer for _, timer in self.drying_timers)))

    @property
    def dryings(self) -> list[Drying]:
        running = {p.drying_id: p.drying for p in self.pieces if p.drying and p.drying.state == Drying.State.RUNNING}
        return list(running.values())

    @property
    def since(self) -> datetime:
        return self.load.wash_ended_at or self.load.wash_started_at or self.load.made_up_at

    @property
    def urgency(self) -> tuple:
        """Wet cloth and finished work first, what runs by itself after it, what is still dry last."""
        order = (self.to_tick > 0, self.to_dry > 0, self.load.state == Load.State.WASHING, bool(self.dryings))
        return (*(not step for step in order), self.since)


def in_hand(user: User, pace: Pace) -> list[InHand]:
    """Every load with pieces in it, in two queries at most."""
    rows = (
        LoadPiece.objects.visible_to(user)
        .filter(open=True)
        .select_related("specimen__request__sample__job", "load__washer", "load__procedure")
        .select_related("drying__dryer", "drying__procedure")
        .order_by("load_id", "specimen_id")
    )
    loads: dict[int, InHand] = {}
    for row in rows:
        loads.setdefault(row.load_id, InHand(row.load, [], pace)).pieces.append(row)
    return sorted(loads.values(), key=lambda one: one.urgency)
