"""Whether a specimen may be read now, and where it goes when the last reading due is in."""

from datetime import datetime

from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.models import Request, Specimen
from apps.laundering.models import CycleLog
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.queries import not_due

Stage = Specimen.Stage


def ensure_due(specimen: Specimen, stage: int, request: Request) -> None:
    if sentence := not_due(specimen, stage, request):
        raise Refusal(sentence, code="not_due")


def check_read_at(at: datetime, specimens: list[Specimen], stage: int) -> None:
    """A reading is not older than the marks, or than the cycle it follows."""
    before = [specimen.stage_since for specimen in specimens]
    if stage:
        done = CycleLog.objects.filter(specimen__in=specimens, ordinal=stage, voided_at__isnull=True)
        before = list(done.values_list("done_at", flat=True)) or before
    clock.check_moment(at, after=max(before, default=None), what="The reading")


def next_step(specimen: Specimen, stage: int, request: Request) -> tuple[Stage, datetime] | None:
    """Where a specimen goes, and since when, once every reading due is in; None while one is missing.

    It may be washed, or is done after the last cycle.
    """
    due = [pair.pk for pair in BenchmarkPair.objects.filter(specimen=specimen) if pair.is_due_at(stage)]
    read = dict(Reading.objects.in_force().filter(pair__in=due, stage=stage).values_list("pair", "at"))
    if len(read) < len(due):
        return None
    last = stage > 0 and specimen.cycles_valid == request.cycles
    return Stage.DONE if last else Stage.READY, max([specimen.stage_since, *read.values()])
