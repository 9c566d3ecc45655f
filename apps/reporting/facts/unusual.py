"""What is out of the ordinary in a draft: the manager reads this before the figures."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from apps.reporting.facts.reader import Facts
from apps.reporting.facts.request import RequestFacts


@dataclass(frozen=True)
class Notice:
    """One thing to look at. `where` is a request, specimen or load; `word` its kind; `more` can be opened."""

    where: str
    word: str
    text: str
    more: tuple[str, ...] = ()


def unusual(facts: Facts) -> list[Notice]:
    """Deviations first (those still to be judged stand apart on the page), then what the facts themselves show."""
    told = [
        Notice(row["where"], row["kind_told"], f"{row['text']} ({row['by']}, {row['when']}){_judged(row)}")
        for row in facts.deviations
        if not (row["at_risk"] and not row["judged_at"])
    ]
    for request in facts.requests:
        told += _of_request(request)
    for load in facts.loads:
        if load["corrected"]:
            text = f"{load['corrected']['reason']} ({load['corrected']['by']})"
            told.append(Notice(f"load {load['number']}", "record corrected", text))
    first = facts.data["performed"]["first"]
    if first and datetime.fromisoformat(facts.job["received_at"]) > datetime.fromisoformat(first):
        told.append(
            Notice("whole job", "dates", "The receipt is later than the first work on it. One of the two is wrong.")
        )
    return told + list(_of_catalogue(facts))


def _of_catalogue(facts: Facts) -> Iterator[Notice]:
    """Numbers that the lab has not held against its own copy, once for each method, wash and drying."""
    of: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for request in facts.requests:
        for name, numbers in request.unconfirmed.items():
            of.setdefault((name, numbers), []).append(request.short)
    for (name, numbers), where in of.items():
        text = f"{name}: {len(numbers)} not yet held against the standard"
        yield Notice(", ".join(where), "catalogue numbers", text, numbers)


def _judged(row: dict) -> str:
    return f". Judged by {row['judged_by']}: {row['judgement']}" if row["judgement"] else ""


def _of_request(request: RequestFacts) -> Iterator[Notice]:
    data, where = request.data, request.short
    for old in request.superseded:
        yield Notice(where, "superseded reading", f"{old.where}: {old.text} by {old.who}; {old.voided}: {old.reason}")
    for lost in request.lost:
        yield Notice(where, "lost mark", lost)
    for specimen in data["specimens"]:
        if specimen["set_aside"]:
            yield Notice(specimen["short"], "set aside", specimen["set_aside"])
        elif specimen["times_wetted"] > specimen["cycles_valid"]:
            text = f"wetted {specimen['times_wetted']} times for {specimen['cycles_valid']} valid cycles"
            yield Notice(specimen["short"], "interrupted cycle", text)
    for note in request.notes:
        yield Notice(where, "verdict", note)
    if request.has_limits and not data["limits_source"]:
        yield Notice(where, "limits", "It is not written down where the limits come from.")
    if data["review"]["remark"]:
        yield Notice(where, "order review", data["review"]["remark"])
