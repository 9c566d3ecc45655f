"""Issued reports held against their files, the job's trail and what they rest on."""

import json
from collections.abc import Iterator

from django.db.models import Exists, OuterRef

from apps.core.faults import Fault
from apps.core.jsontext import sha256
from apps.intake.models import Request
from apps.reporting.facts import freeze
from apps.reporting.facts.marks import rests_on_other
from apps.reporting.models import Amendment, Report, ReportRequest
from apps.trail.models import TrailEntry


def issued_faults() -> Iterator[Fault]:
    """Every report in turn, then what the trail tells of reports, files, amendments and withdrawals that are gone."""
    for report in Report.objects.select_related("job").order_by("pk").iterator(chunk_size=20):
        yield from _of_report(report)
    yield from _of_locks()
    yield from _told_and_gone()


def _of_report(report: Report) -> Iterator[Fault]:
    where = f"report {report.number}"
    entries = TrailEntry.objects.filter(stream=report.job.stream)
    issued = entries.filter(kind="report.issued", facts__report=report.number).first()
    if sha256(report.facts) != report.facts_sha256:
        yield Fault("facts_changed", where, "its facts are not those of its SHA-256")
    if issued is None:
        yield Fault("report_untold", where, "the job's trail tells of no such report")
    elif issued.facts["facts_sha256"] != report.facts_sha256:
        yield Fault("facts_other", where, "the trail has the SHA-256 of other facts")
    anchor = entries.filter(seq=report.chain_seq).first()
    if anchor is None or anchor.hash != report.chain_head or anchor.hash not in report.facts:
        yield Fault(
            "anchor", where, f"the job's trail no longer runs through the entry that it carries ({report.chain_seq})"
        )
    yield from _of_files(report, where)
    yield from _of_ground(report, where)


def _of_files(report: Report, where: str) -> Iterator[Fault]:
    told = TrailEntry.objects.filter(
        stream=report.job.stream, kind="report.file_made", facts__report=report.number
    ).values_list("facts__kind", "facts__sha256")
    files = dict(report.files.values_list("kind", "blob_id"))
    for kind, wanted in told:
        if files.get(kind) != wanted:
            yield Fault("file_other", f"{where}, {kind}", "the file is not the one that was made")
    for kind in files.keys() - {kind for kind, _ in told}:
        yield Fault("file_untold", f"{where}, {kind}", "the trail tells of no such file")


def _of_ground(report: Report, where: str) -> Iterator[Fault]:
    """While its requests are locked, what is frozen and what the tables say are one."""
    requests = list(Request.objects.filter(covered_by__report=report))
    facts = json.loads(report.facts)
    if sorted(map(str, requests)) != sorted(facts["report"]["covers"]):
        yield Fault("covers", where, "it does not cover the requests that it names")
        return
    newest = not Report.objects.filter(replaces=report).exists()
    if newest and all(request.lock == Request.Lock.LOCKED for request in requests):
        for part in _moved(facts, freeze(requests)):
            yield Fault("ground_moved", f"{where}, {part}", "the tables no longer say what the report says")


def _moved(frozen: dict, now: dict) -> list[str]:
    """The requests whose ground is another than the report's, or the job's details."""
    if not rests_on_other(frozen, now):
        return []
    whole = {**frozen, "requests": []}, {**now, "requests": []}
    found = ["job details, samples, runs or deviations"] if rests_on_other(*whole) else []
    for old, new in zip(frozen["requests"], now["requests"], strict=False):
        if rests_on_other({**frozen, "requests": [old]}, {**frozen, "requests": [new]}):
            found.append(old["code"])
    return found or ["requests"]


def _of_locks() -> Iterator[Fault]:
    """The lock of a request, held against the reports that should have set it."""
    covered = ReportRequest.objects.filter(request=OuterRef("pk"))
    being_amended = Amendment.objects.still_open().filter(report__covers__request=OuterRef("pk"))
    rows = Request.objects.annotate(reported=Exists(covered), opened=Exists(being_amended)).select_related("sample")
    for request in rows.exclude(reported=False, lock=Request.Lock.OPEN).iterator():
        wanted = Request.Lock.AMENDING if request.opened else Request.Lock.LOCKED
        if not request.reported or request.lock != wanted:
            right = wanted if request.reported else Request.Lock.OPEN
            yield Fault("lock", f"request {request}", f"it is {request.lock} and should be {right}")


def _told_and_gone() -> Iterator[Fault]:
    """What the trail tells of and no table holds."""
    reports = set(Report.objects.values_list("number", flat=True))
    withdrawn = set(Report.objects.exclude(withdrawal=None).values_list("number", flat=True))
    opened = list(Amendment.objects.values_list("report__number", "reason"))
    kinds = ("report.issued", "report.withdrawn", "amendment.opened")
    for entry in TrailEntry.objects.filter(kind__in=kinds).order_by("stream", "seq").iterator():
        number = entry.facts["report"]
        if entry.kind == "report.issued" and number not in reports:
            yield Fault("report_gone", f"report {number}", "it was issued and is gone")
        elif entry.kind == "report.withdrawn" and number not in withdrawn:
            yield Fault("withdrawal_gone", f"report {number}", "it was withdrawn, and its withdrawal is gone")
        elif entry.kind == "amendment.opened" and (number, entry.facts["reason"]) not in opened:
            yield Fault("amendment_gone", f"report {number}", "it was opened for an amendment that is gone")
