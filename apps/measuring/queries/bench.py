"""What there is to do at the bench, in the order of work."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, Value, When
from django.utils import timezone

from apps.accounts.models import User
from apps.intake.models import Job, Request, SendBack, Specimen
from apps.measuring.queries.due import due_stages, stage_words
from apps.measuring.queries.resting import rests, stage_due
from apps.measuring.rest import Rest

Stage = Specimen.Stage

SENT_BACK, TO_CUT, ORIGINALS, AFTER_CYCLES = 1, 2, 3, 4
SECTIONS = {
    SENT_BACK: "Sent back by the manager",
    TO_CUT: "To cut and mark",
    ORIGINALS: "Original readings due",
    AFTER_CYCLES: "Readings due after washing",
}


@dataclass(frozen=True)
class Due:
    """Readings of one stage that are due: of which specimens, since when, and how they rest."""

    stage: int
    words: str
    specimens: list[Specimen]
    since: datetime
    rest: list[str]

    @property
    def names(self) -> str:
        return ", ".join(specimen.short_code for specimen in self.specimens)


@dataclass
class BenchRow:
    """One request with all that the bench owes it."""

    request: Request
    rank: int
    overdue: bool
    to_cut: bool = False
    to_mark: list[Specimen] = field(default_factory=list)
    due: list[Due] = field(default_factory=list)
    send_back: SendBack | None = None

    @property
    def section(self) -> str:
        return SECTIONS[self.rank]

    @property
    def agreed(self) -> bool:
        """Whether the desk's look before work starts said yes to everything."""
        review = getattr(self.request, "contract_review", None)
        return review is None or (review.can_do and review.enough_cloth and review.agreed)


def bench_list(user: User) -> QuerySet[Request]:
    """Requests that wait for the bench: sent back first, then by the order of work; urgent and early due ones ahead."""
    specimens = Specimen.objects.filter(request=OuterRef("pk"))
    sent_back = SendBack.objects.filter(request=OuterRef("pk"), to=SendBack.To.BENCH, answered_at__isnull=True)
    may_change = Q(lock=Request.Lock.OPEN) | Q(lock=Request.Lock.AMENDING, opened_for=Request.OpenedFor.READINGS)
    rank = Case(
        When(Exists(sent_back), then=Value(SENT_BACK)),
        When(may_change & Q(cancellation=None) & ~Exists(specimens), then=Value(TO_CUT)),
        When(may_change & Exists(specimens.filter(stage=Stage.CUT)), then=Value(TO_CUT)),
        When(may_change & Exists(specimens.filter(stage=Stage.MARKED)), then=Value(ORIGINALS)),
        When(may_change & Exists(specimens.filter(stage=Stage.OWED)), then=Value(AFTER_CYCLES)),
        output_field=IntegerField(),
    )
    urgent = Case(When(sample__job__priority=Job.Priority.URGENT, then=Value(0)), default=Value(1))
    return (
        Request.objects.visible_to(user)
        .exclude(lock=Request.Lock.LOCKED)
        .annotate(rank=rank)
        .filter(rank__isnull=False)
        .select_related("sample__job", "method", "procedure", "contract_review")
        .order_by("rank", urgent, F("sample__job__due_on").asc(nulls_last=True), "sample__job_id", "pk")
    )


def bench_rows(requests: Iterable[Request], *, at: datetime) -> list[BenchRow]:
    """These requests of the bench's list with what is owed and how it rests, in as many queries however many rows."""
    requests = list(requests)
    by_key = {request.pk: request for request in requests}
    specimens = defaultdict(list)
    for specimen in Specimen.objects.filter(request__in=requests).order_by("number"):
        specimens[specimen.request_id].append(specimen)
        specimen.request = by_key[specimen.request_id]
    due = [s for rows in specimens.values() for s in rows if s.stage in (Stage.MARKED, Stage.OWED)]
    found = rests({specimen: (stage_due(specimen), at) for specimen in due}) if due else {}
    asked = SendBack.objects.filter(request__in=requests, to=SendBack.To.BENCH, answered_at__isnull=True)
    send_backs = {row.request_id: row for row in asked.select_related("by")}
    return [_row(request, specimens[request.pk], send_backs.get(request.pk), found, at) for request in requests]


def _row(
    request: Request, specimens: list[Specimen], send_back: SendBack | None, found: dict[int, Rest], at: datetime
) -> BenchRow:
    due_on, today = request.sample.job.due_on, timezone.localdate(at)
    row = BenchRow(request, request.rank, overdue=due_on is not None and due_on < today, send_back=send_back)
    row.to_cut = not specimens
    row.to_mark = [specimen for specimen in specimens if specimen.stage == Stage.CUT]
    row.due = [
        Due(stage, stage_words(stage), those, min(specimen.stage_since for specimen in those), _rest(those, found))
        for stage, those in due_stages(specimens).items()
    ]
    return row


def _rest(specimens: list[Specimen], found: dict[int, Rest]) -> list[str]:
    """How they rest, alike ones together: "conditioned since 09:40", or "A1, A2: ..." where they differ."""
    alike: dict[str, list[str]] = {}
    for specimen in specimens:
        alike.setdefault(found[specimen.pk].words, []).append(specimen.short_code)
    return list(alike) if len(alike) == 1 else [f"{', '.join(names)}: {words}" for words, names in alike.items()]
