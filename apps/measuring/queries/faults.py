"""Bench and laundry held against themselves: stages, counts, and what the trail tells of readings."""

from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal

from django.db.models import Prefetch

from apps.core.faults import Fault
from apps.intake.models import Specimen
from apps.laundering.models import CycleLog, LoadPiece
from apps.measuring.models import BenchmarkPair, Reading
from apps.trail.models import TrailEntry

Stage = Specimen.Stage


def work_faults() -> Iterator[Fault]:
    """Every specimen in turn: its cycles, how often it was wetted, its stage; then its readings against the trail."""
    pairs = BenchmarkPair.objects.prefetch_related(
        Prefetch("readings", Reading.objects.filter(voided_at=None), to_attr="standing")
    )
    rows = Specimen.objects.select_related("request__sample__job").prefetch_related(
        Prefetch("pairs", pairs, to_attr="all_pairs"),
        Prefetch("cycle_logs", CycleLog.objects.filter(voided_at=None).order_by("ordinal"), to_attr="valid_cycles"),
        Prefetch("pieces", LoadPiece.objects.all(), to_attr="all_pieces"),
    )
    told: dict[str, dict] = {}
    stream = ""
    for specimen in rows.order_by("request__sample__job_id", "pk").iterator(chunk_size=200):
        yield from _of_counts(specimen)
        yield from _of_stage(specimen)
        if specimen.request.sample.job.stream != stream:
            stream = specimen.request.sample.job.stream
            told = _told_of(stream)
        yield from _of_readings(specimen, told)


def _of_counts(specimen: Specimen) -> Iterator[Fault]:
    where = f"specimen {specimen.code}"
    ordinals = [cycle.ordinal for cycle in specimen.valid_cycles]
    if ordinals != list(range(1, len(ordinals) + 1)):
        yield Fault("cycles_gap", where, f"its cycles are {ordinals}, with a gap or a repeat")
    if specimen.cycles_valid != len(ordinals):
        yield Fault("cycles_count", where, f"it counts {specimen.cycles_valid} cycles, the log {len(ordinals)}")
    wet = sum(piece.outcome in (LoadPiece.Outcome.TICKED, LoadPiece.Outcome.VOID) for piece in specimen.all_pieces)
    if specimen.times_wetted != wet:
        yield Fault("wetted_count", where, f"it counts {specimen.times_wetted} times wetted, the loads {wet}")


def _of_stage(specimen: Specimen) -> Iterator[Fault]:
    wanted = _stage_of(specimen)
    if specimen.stage != Stage.SET_ASIDE and specimen.stage != wanted:
        yield Fault("stage", f"specimen {specimen.code}", f"it is “{specimen.stage}” and should be “{wanted}”")


def _stage_of(specimen: Specimen) -> str:
    """Where a specimen stands by its pairs, readings and loads alone."""
    if not specimen.all_pairs:
        return Stage.CUT
    if any(piece.open for piece in specimen.all_pieces):
        return Stage.IN_LOAD
    done = len(specimen.valid_cycles)
    if _missing(specimen, done) and (done == 0 or done in specimen.request.measured_cycles):
        return Stage.OWED if done else Stage.MARKED
    return Stage.DONE if done and done >= specimen.request.cycles else Stage.READY


def _missing(specimen: Specimen, stage: int) -> bool:
    due = [pair for pair in specimen.all_pairs if pair.is_due_at(stage)]
    return any(all(reading.stage != stage for reading in pair.standing) for pair in due)


def _told_of(stream: str) -> dict[str, dict]:
    """What a job's trail says was read last, by specimen: (direction, number, stage) -> (text, unit)."""
    told: dict[str, dict] = defaultdict(dict)
    entries = TrailEntry.objects.filter(stream=stream, kind__in=("readings.entered", "reading.corrected"))
    for entry in entries.order_by("seq"):
        rows = entry.facts["readings"] if entry.kind == "readings.entered" else [entry.facts["now"]]
        for row in rows:
            at = row["direction"], row["number"], entry.facts["stage"]
            told[row["specimen"]][at] = row["text"], row["unit"], row["mm"]
    return told


def _of_readings(specimen: Specimen, told: dict[str, dict]) -> Iterator[Fault]:
    """The readings in force are those that the trail tells of, neither more nor less nor others."""
    held = {
        (pair.direction, pair.number, reading.stage): reading
        for pair in specimen.all_pairs
        for reading in pair.standing
    }
    said = told.get(specimen.code, {})
    for at in sorted(held.keys() | said.keys()):
        direction, number, stage = at
        where = f"reading {specimen.code} {direction} {number}, stage {stage}"
        if at not in said:
            yield Fault("reading_untold", where, "the trail tells of no such reading")
        elif at not in held:
            yield Fault("reading_gone", where, "it was entered and is gone")
        elif (held[at].text, held[at].unit) != said[at][:2] or f"{held[at].mm:.6f}" != f"{Decimal(said[at][2]):.6f}":
            yield Fault(
                "reading_other", where, f"it says {held[at].text} {held[at].unit}, the trail {' '.join(said[at][:2])}"
            )
