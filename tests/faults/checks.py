"""What must be true when the house stands again, as sentences about what is not."""

from collections.abc import Iterable

from apps.accounts.models import Outgoing
from apps.core.jsontext import sha256
from apps.intake.models import Job, Specimen
from apps.laundering.models import CycleLog, LoadPiece
from apps.measuring.models import BenchmarkPair, Reading
from apps.reporting.models import FileDue, Report, ReportFile
from apps.trail.models import TrailEntry
from apps.trail.queries import broken_link, timeline
from tests.faults.work import Work

Stage = Specimen.Stage


def of_work(work: Work) -> list[str]:
    """Everything that was acknowledged is there, once; and what follows from it agrees."""
    wrong = [*_keys(work), *_cells(work), *_ticks(work)]
    for job in work.jobs:
        wrong += _chain(job)
    for specimen in Specimen.objects.filter(request__sample__job__in=work.jobs).select_related("request"):
        wrong += of_specimen(specimen)
    return wrong


def _keys(work: Work) -> list[str]:
    missing = work.writes - len(work.keys)
    wrong = [f"{missing} acts were never acknowledged"] if missing else []
    for key, what in work.keys.items():
        found = TrailEntry.objects.filter(key=key).count()
        if found != 1:
            wrong.append(f"{what} was acknowledged, and the trail has {found} entries under its key")
    for kind, expected in (("readings.entered", len(work.cells)), ("cycle.ticked", len(work.ticks))):
        streams = [work.sheet.sample.job.stream] if kind == "readings.entered" else [job.stream for job in work.jobs]
        found = TrailEntry.objects.filter(stream__in=streams, kind=kind).count()
        if found != expected:
            wrong.append(f"the trail has {found} {kind} instead of {expected}")
    return wrong


def _cells(work: Work) -> list[str]:
    wrong = []
    for pair, text in work.cells.items():
        rows = list(Reading.objects.filter(pair=pair, stage=0))
        if [(row.text, row.voided_at) for row in rows] != [(text, None)]:
            wrong.append(f"pair {pair} was read {text} once, and {[row.text for row in rows]} are there")
    return wrong


def _ticks(work: Work) -> list[str]:
    wrong = []
    for specimen, ordinal in work.ticks.items():
        found = CycleLog.objects.filter(specimen=specimen, ordinal=ordinal).count()
        if found != 1:
            wrong.append(f"cycle {ordinal} of specimen {specimen} was ticked once, and {found} are there")
    return wrong


def _chain(job: Job) -> list[str]:
    link = broken_link(job.stream)
    return [] if link is None else [f"the chain of {job.stream} is broken at entry {link}"]


def of_specimen(specimen: Specimen) -> list[str]:
    """Stage and counts against the rows that they were made from, reckoned here anew."""
    pieces = LoadPiece.objects.filter(specimen=specimen)
    told = (specimen.stage, specimen.cycles_valid, specimen.times_wetted)
    cycles = CycleLog.objects.filter(specimen=specimen, voided_at=None).count()
    true = (_stage(specimen, cycles), cycles, pieces.filter(outcome__in=["ticked", "void"]).count())
    return [] if told == true else [f"{specimen} is said to be {told}, and the facts say {true}"]


def _stage(specimen: Specimen, cycles: int) -> str:
    pairs = BenchmarkPair.objects.filter(specimen=specimen)

    def read(stage: int) -> bool:
        return Reading.objects.in_force().filter(pair__in=pairs, stage=stage).count() == len(pairs)

    if not pairs:
        return Stage.CUT
    if LoadPiece.objects.filter(specimen=specimen, open=True).exists():
        return Stage.IN_LOAD
    if not read(0):
        return Stage.MARKED
    if cycles in specimen.request.measured_cycles and not read(cycles):
        return Stage.OWED
    return Stage.DONE if cycles == specimen.request.cycles else Stage.READY


def of_reports(reports: Iterable[Report]) -> list[str]:
    """Each has exactly one file, whole, told once in the trail; and nothing is due any more."""
    wrong = []
    for report in reports:
        files = list(ReportFile.objects.filter(report=report).select_related("blob"))
        if len(files) != 1:
            wrong.append(f"{report} has {len(files)} files")
        for file in files:
            content = bytes(file.blob.content)
            if sha256(content) != file.blob_id or not content.rstrip().endswith(b"%%EOF"):
                wrong.append(f"the file of {report} is not whole")
        told = timeline(report.job.stream).filter(kind="report.file_made").count()
        letters = Outgoing.objects.filter(subject__contains=report.number).count()
        if (told, letters) != (1, 1):
            wrong.append(f"that the file of {report} was made is told {told} times, in {letters} letters")
        if FileDue.objects.filter(report=report, done_at=None).exists():
            wrong.append(f"the file of {report} is still due")
        wrong += _chain(report.job)
    return wrong
