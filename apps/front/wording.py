"""The trail in plain words: one sentence a kind of act, made from the facts it carries."""

from collections.abc import Iterable
from itertools import groupby
from typing import Any

from apps.trail.models import TrailEntry

WORDS: dict[str, str] = {
    "job.received": "Job received with sample(s) {samples}",
    "job.delay_told": "The customer was told that it is late",
    "job.corrected": "Job details corrected: {reason}",
    "sample.added": "Sample {code} added",
    "sample.corrected": "Sample {code} corrected: {reason}",
    "sample.moved": "Sample {code} put to {place}",
    "request.added": "Way of testing {ordinal} added to {code}",
    "request.changed": "Request {ordinal} of {code} changed: {reason}",
    "request.sent_back": "Request {request} sent back to the {to}: {reason}",
    "request.answered": "Request {request} answered: {answer}",
    "photo.kept": "Photo of {code} kept, {kind}",
    "photos.chosen": "Photos for the report on {request} chosen: {count}",
    "specimens.cut": "Specimens cut: {specimens}",
    "specimen.set_aside": "Specimen {specimen} set aside: {reason}",
    "specimens.marked": "Specimens marked: {specimens}",
    "readings.entered": "Read {when}: {of} ({count} values)",
    "readings.sent": "Readings came by the token {token}: {of} ({count} values)",
    "extras.entered": "Skew or twist read {when}: {of}",
    "reading.corrected": "{what} corrected from {old} to {new}: {reason}",
    "specimens.on_rack": "On the rack: {of} ({where})",
    "conditioning.rule": "Rule of conditioning: air out of limits {excursions}, pause of the log {gaps}, early {early}",
    "specimen.weighed": "{what} weighed: {mass_g} g",
    "mark.lost": "{what}: mark lost, {reason}",
    "deviation.written": "Deviation: {text}",
    "deviation.judged": "Deviation judged: {judgement}",
    "request.reviewed": "Contract review of request {ordinal} of {code} brought up to date",
    "load.made_up": "Load {load} made up with {pieces}",
    "load.piece_out": "{pieces} taken out of load {load}: {reason}",
    "load.wash_started": "Load {load} in {washer}: {pieces}, water {water_temp_c} °C",
    "load.washed": "Load {load} washed: {pieces}",
    "load.void": "Load {load} void ({pieces}): {reason}",
    "load.corrected": "Record of load {load} corrected, revision {revision}: {reason}",
    "drying.started": "Drying {drying} begun: {pieces}, {procedure}",
    "drying.ended": "Drying {drying} ended: {pieces}",
    "drying.void": "Drying {drying} void ({pieces}): {reason}",
    "cycle.ticked": "Cycle ticked off: {pieces}",
    "tap.kept": "A tap that no longer fitted is kept for the manager ({what}): {refusal}",
    "tap.judged": "A kept tap is judged ({what}): {judgement}",
    "load.piece_in": "{pieces} added to load {load}",
    "void.judged": "Interrupted cycle judged ({pieces}, {decision}): {text}",
    "drying.corrected": "Record of drying {drying} corrected, revision {revision}: {reason}",
    "parcel.announced": "Parcel announced: {what}",
    "parcel.withdrawn": "Announcement withdrawn: {what}",
    "report.approved": "Report {report} {meaning}",
    "report.issued": "Report {report} issued; what it rests on is locked",
    "report.interim": "Interim report {report} {meaning}",
    "report.interim_issued": "Interim report {report} issued; the work goes on",
    "report.file_made": "File of report {report} made",
    "report.withdrawn": "Report {report} withdrawn: {reason}",
    "amendment.opened": "Report {report} opened for an amendment: {reason}",
    "retest.ordered": "Retest of {first} ordered as {request}, asked for by {asked_by}: {reason}",
    "cycles.changed": "{request}: {to} cycles instead of {from}, {agreed_with} agreed: {reason}",
    "request.cancelled": "Cancelled: {requests}, asked for by {asked_by}: {reason}",
    "nonconformity.recorded": "Record {nonconformity} opened: {title}",
    "nonconformity.noted": "Record {nonconformity}, {kind}: {text}",
    "external_result.added": "Result of {laboratory} on {sample}: {test}, {result}",
    "external_result.voided": "Result of another laboratory on {sample} void: {reason}",
    "signatory.granted": "{person} signs for {method}",
    "signatory.ended": "{person} signs for {method} no more: {reason}",
    "amendment.closed": "Amendment of report {report} closed, nothing changed: {reason}",
}


class _Facts(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "–"


def lines(entries: Iterable[TrailEntry]) -> list[dict[str, Any]]:
    """What happened, newest first: the cells of one sheet, saved one by one by one person, are told as one."""
    told = []
    for _, group in groupby(entries, key=_sheet):
        alike = list(group)
        text = sentence(alike[0]) if len(alike) == 1 else _read(alike)
        told.append({"at": alike[0].at, "who": alike[0].actor_name, "text": text})
    return told


def _sheet(entry: TrailEntry) -> tuple[Any, ...]:
    if entry.kind != "readings.entered":
        return (entry.pk,)
    return entry.kind, entry.actor_id, entry.facts.get("request"), entry.facts.get("stage")


def _read(entries: list[TrailEntry]) -> str:
    of = dict.fromkeys(name for entry in reversed(entries) for name in entry.facts.get("of", []))
    count = sum(entry.facts.get("count", 0) for entry in entries)
    return WORDS["readings.entered"].format_map({**entries[0].facts, "of": ", ".join(sorted(of)), "count": count})


def sentence(entry: TrailEntry) -> str:
    """What happened, for the timeline."""
    words = WORDS.get(entry.kind)
    if words is None:
        return entry.kind.replace(".", " ").replace("_", " ").capitalize()
    return words.format_map(_Facts({name: _told(value) for name, value in entry.facts.items()}))


def _told(value: Any) -> Any:
    """Lists with commas; pieces and their cycles as "A1 (cycle 2)"."""
    if isinstance(value, list):
        return ", ".join(map(str, value))
    if isinstance(value, dict):
        return ", ".join(f"{code.rsplit('-', 1)[-1]} (cycle {cycle})" for code, cycle in sorted(value.items()))
    return value
