"""What is out of the ordinary in a draft: the manager reads this before the figures."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from apps.calc.errors import CalcError
from apps.calc.rounding import format_change
from apps.calc.spread import grubbs
from apps.reporting.facts.reader import Facts
from apps.reporting.facts.request import RequestFacts
from apps.reporting.facts.told import stage_told
from apps.reporting.facts.wording import CONTRADICTS


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
    for run in facts.dryings:
        if run.get("corrected"):
            text = f"{run['corrected']['reason']} ({run['corrected']['by']})"
            told.append(Notice(f"drying {run['number']}", "record corrected", text))
    first = facts.data["performed"]["first"]
    if first and datetime.fromisoformat(facts.job["received_at"]) > datetime.fromisoformat(first):
        told.append(
            Notice("whole job", "dates", "The receipt is later than the first work on it. One of the two is wrong.")
        )
    return told + list(_of_catalogue(facts))


@dataclass(frozen=True)
class Outlier:
    """What Grubbs' test says of the pairs of one result. A finding is a reason to look, never to drop a value."""

    is_outlier: bool
    sentence: str


def outliers(request: RequestFacts) -> Iterator[Outlier]:
    """Grubbs' test (5 %, two-sided) over the changes of the pairs that made each result."""
    for result in request.data["results"]:
        pairs = [
            (f"{specimen['short']} {pair['number']}", Decimal(reading["change"]))
            for specimen in request.data["specimens"]
            if not specimen["set_aside"]
            for pair in specimen["pairs"]
            if pair.get("group", pair["direction"]) == result["direction"]
            for reading in pair["readings"]
            if reading["stage"] == result["stage"] and reading["change"] is not None
        ]
        what = f"{result['direction']} {stage_told(result['stage'])}"
        try:
            found = grubbs([change for _, change in pairs])
        except CalcError as fault:
            yield Outlier(False, f"{what}: {fault.sentence}")
            continue
        name, change = pairs[found.index]
        if found.is_outlier:
            far = f"{what}: {name} with {format_change(round(change, 1))} % lies far from the others"
            yield Outlier(True, f"{far} (Grubbs, {len(pairs)} values). {found.note}".strip())
        else:
            yield Outlier(False, f"{what}: none among {len(pairs)} values. {found.note}".strip())


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
    for told in outliers(request):
        if told.is_outlier:
            yield Notice(where, "outlier", told.sentence)
    for note in request.notes:
        yield Notice(where, "verdict", note)
    if request.has_limits and not data["limits_source"]:
        yield Notice(where, "limits", "It is not written down where the limits come from.")
    if data["review"].get("against_label"):
        yield Notice(where, "care label", CONTRADICTS)
    if data["review"]["remark"]:
        yield Notice(where, "order review", data["review"]["remark"])
