"""Studies of repeated readings: what was read, what it comes to, and who may see it yet."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cached_property

from django.db.models import Count, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from apps.accounts.models import User
from apps.calc.errors import CalcError
from apps.calc.exact import own_context, settle
from apps.calc.repeatability import GaugeStudy, OneWay, Trial, average_and_range, crossed, one_way
from apps.control.models import Study, StudyPiece, StudyReading
from apps.methods.models import RepeatabilityFigure

PARTS = {
    "EV": "one person reading again",
    "AV": "person to person",
    "GRR": "the reading as a whole",
    "PV": "piece to piece",
}


@dataclass(frozen=True)
class Way:
    """A gauge study reckoned in one way; `refusal` says why it cannot be."""

    name: str
    source: str
    found: GaugeStudy | None
    refusal: str = ""

    @property
    def rows(self) -> list[tuple[str, Decimal, Decimal | None]]:
        """What, its standard deviation, its share of the whole in percent."""
        shares = self.found.percent_of_study() if self.found.TV else {}
        return [(words, getattr(self.found, name), shares.get(name)) for name, words in PARTS.items()]


@dataclass(frozen=True)
class Level:
    """One piece by ISO 5725-2: the people are the groups."""

    piece: StudyPiece
    found: OneWay | None
    refusal: str = ""


@dataclass(frozen=True)
class StudyWhole:
    study: Study
    pieces: Sequence[StudyPiece]
    people: Sequence[User]
    readings: Sequence[StudyReading]
    voided: Sequence[StudyReading]
    adopted: RepeatabilityFigure | None

    @property
    def expected(self) -> int:
        """Readings that one person owes."""
        return len(self.pieces) * self.study.trials

    @cached_property
    def by_cell(self) -> dict[tuple[int, int], list[StudyReading]]:
        cells: dict[tuple[int, int], list[StudyReading]] = defaultdict(list)
        for reading in self.readings:
            cells[reading.piece_id, reading.by_id].append(reading)
        return cells

    def read_by(self, person: User) -> int:
        return sum(reading.by_id == person.pk for reading in self.readings)

    @property
    def progress(self) -> list[tuple[User, int]]:
        return [(person, self.read_by(person)) for person in self.people]

    @property
    def complete(self) -> bool:
        return all(read == self.expected for _, read in self.progress)

    def is_reader(self, user: User) -> bool:
        return any(person.pk == user.pk for person in self.people)

    def may_see(self, user: User) -> bool:
        """Whoever still has to read sees nothing of the others."""
        return not self.is_reader(user) or self.read_by(user) == self.expected

    @property
    def table(self) -> list[tuple[StudyPiece, list[list[StudyReading]]]]:
        return [(piece, [self.by_cell[piece.pk, person.pk] for person in self.people]) for piece in self.pieces]

    @property
    def trials(self) -> list[Trial]:
        return [Trial(str(reading.piece_id), str(reading.by_id), reading.value) for reading in self.readings]

    @cached_property
    def ways(self) -> list[Way]:
        given = [
            ("Analysis of variance", "AIAG MSA, 4th edition", crossed),
            ("Averages and ranges", "AIAG MSA, 4th edition", average_and_range),
        ]
        found = []
        for name, source, call in given:
            try:
                found.append(Way(name, source, call(self.trials)))
            except (CalcError, ValueError) as fault:
                told = fault.sentence if isinstance(fault, CalcError) else "Nothing is read yet."
                found.append(Way(name, source, None, told))
        return found

    @cached_property
    def levels(self) -> list[Level]:
        found = []
        for piece in self.pieces:
            groups = [[reading.value for reading in self.by_cell[piece.pk, person.pk]] for person in self.people]
            try:
                found.append(Level(piece, one_way([group for group in groups if group])))
            except CalcError as fault:
                found.append(Level(piece, None, fault.sentence))
        return found

    @property
    def in_percent(self) -> tuple[Decimal, Decimal] | None:
        """Of one person and of any: the standard deviations that may be adopted."""
        gauge = self.ways[0].found
        if gauge is None or not self.complete:
            return None
        return self._percent(gauge.EV), self._percent(gauge.GRR)

    @property
    def dof(self) -> int:
        """Of one person's readings: what is left of them after a mean for each piece and person."""
        gauge = self.ways[0].found
        return gauge.table["equipment"].dof + (gauge.table["interaction"].dof if gauge.pooled else 0)

    @property
    def last_read(self) -> datetime:
        return max(reading.at for reading in self.readings)

    @own_context
    def _percent(self, sd: Decimal) -> Decimal:
        if self.study.scale == "percent":
            return sd
        mean = sum((reading.value for reading in self.readings), Decimal(0)) / len(self.readings)
        return settle(100 * sd / mean)


def study_whole(study: Study) -> StudyWhole:
    """In five queries, however much was read."""
    rows = list(
        StudyReading.objects.filter(piece__study=study)
        .select_related("piece", "by", "voided_by")
        .order_by("piece__number", "by", "trial", "pk")
    )
    return StudyWhole(
        study=study,
        pieces=list(study.pieces.all()),
        people=list(study.readers.order_by("full_name", "pk")),
        readings=[row for row in rows if row.voided_at is None],
        voided=[row for row in rows if row.voided_at],
        adopted=RepeatabilityFigure.objects.filter(study=study.pk).select_related("by").first(),
    )


def study_list() -> QuerySet[Study]:
    """The newest first, with how many readings are in and are planned."""
    figure = RepeatabilityFigure.objects.filter(study=OuterRef("pk"))
    pieces = StudyPiece.objects.filter(study=OuterRef("pk")).order_by().values("study")
    people = Study.readers.through.objects.filter(study=OuterRef("pk")).order_by().values("study")
    read = StudyReading.objects.filter(piece__study=OuterRef("pk"), voided_at=None).order_by().values("piece__study")
    return (
        Study.objects.select_related("method", "by")
        .annotate(
            read=Coalesce(Subquery(read.annotate(n=Count("pk")).values("n")), 0),
            planned_readings=Coalesce(Subquery(pieces.annotate(n=Count("pk")).values("n")), 0)
            * Coalesce(Subquery(people.annotate(n=Count("pk")).values("n")), 0)
            * F("trials"),
            adopted_percent=Subquery(figure.values("with_people")[:1]),
            adopted_at=Subquery(figure.values("at")[:1]),
        )
        .order_by("-at", "-pk")
    )
