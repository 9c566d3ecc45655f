"""The trail in plain words: one sentence a kind of act, made from the facts it carries."""

from typing import Any

from apps.trail.models import TrailEntry

WORDS: dict[str, str] = {
    "job.received": "Job received with sample(s) {samples}",
    "job.corrected": "Job details corrected: {reason}",
    "sample.added": "Sample {code} added",
    "sample.corrected": "Sample {code} corrected: {reason}",
    "sample.moved": "Sample {code} put to {place}",
    "request.added": "Way of testing {ordinal} added to {code}",
    "request.changed": "Request {ordinal} of {code} changed: {reason}",
    "request.sent_back": "Request {request} sent back to the {to}: {reason}",
    "request.answered": "Request {request} answered: {answer}",
    "specimens.cut": "Specimens cut: {specimens}",
    "specimen.set_aside": "Specimen {specimen} set aside: {reason}",
    "specimens.marked": "Specimens marked: {specimens}",
    "readings.entered": "Read {when}: {of} ({count} values)",
    "reading.corrected": "{what} corrected from {old} to {new}: {reason}",
    "mark.lost": "{what}: mark lost, {reason}",
    "deviation.written": "Deviation: {text}",
    "deviation.judged": "Deviation judged: {judgement}",
}


class _Facts(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "–"


def sentence(entry: TrailEntry) -> str:
    """What happened, for the timeline. A list in the facts is told with commas."""
    facts = _Facts(
        {name: ", ".join(map(str, value)) if isinstance(value, list) else value for name, value in entry.facts.items()}
    )
    words = WORDS.get(entry.kind)
    return words.format_map(facts) if words else entry.kind.replace(".", " ").replace("_", " ").capitalize()
