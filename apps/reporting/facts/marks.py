"""Two marks on facts: what the manager saw of a request, and what an amendment changed."""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from apps.calc.rounding import MINUS
from apps.core.jsontext import canonical, sha256
from apps.reporting.facts.told import mm, stage_told

DECIMAL = re.compile(r"-?[0-9]+\.[0-9]+")

# Reckoned from what is listed anyway, or the act itself: no change of its own.
NOT_TOLD = {
    *("facts_version", "report", "chain", "people", "statements", "performed", "curve", "curve_note", "missing"),
    *(
        "change",
        "change_shown",
        "text",
        "sd",
        "u",
        "p_conform",
        "superseded",
        "recorded_at",
        "division_mm",
        "lower_limit",
        "upper_limit",
        "id",
    ),
    *("against_label", "along", "asked", "conditioning", "extras", "fewer_pairs", "group", "point", "points", "side"),
    "reading",
    *("averaging_told", "decision_told", "construction_told", "kind_told", "tie_told", "times_wetted"),
}


def seen(facts: Mapping[str, Any], code: str) -> str:
    """A mark over all that the facts say about one request: it differs when anything of it has moved on."""
    request = next(request for request in facts["requests"] if request["code"] == code)
    loads = {row["load"] for row in request["cycle_log"]}
    dryings = {row["drying"] for row in request["cycle_log"]}
    specimens = {specimen["code"] for specimen in request["specimens"]}
    void = [(run["number"], set(row["specimens"])) for run in facts["loads"] for row in run.get("void", ())]
    loads |= {number for number, wetted in void if specimens & wetted}
    parts = {
        "customer": facts["customer"],
        "job": facts["job"],
        "sample": [sample for sample in facts["samples"] if sample["code"] == request["sample"]],
        "request": request,
        "loads": [load for load in facts["loads"] if load["number"] in loads],
        "dryings": [run for run in facts["dryings"] if run["number"] in dryings],
        "deviations": [
            row
            for row in facts["deviations"]
            if row["request"] == code
            or row["specimen"] in specimens
            or (not row["request"] and not row["specimen"] and (row["load"] is None or row["load"] in loads))
        ],
    }
    return sha256(canonical(parts))


# What an amendment can change of a request; the catalogue's words may move on by themselves.
RESTS_ON = ("cycles", "measured_after", "limits", "limits_source", "decision_rule", "fewer_reason")
RESTS_ON += ("specimens", "cycle_log", "results")


def rests_on_other(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    """Whether what a report rests on is no longer what its facts say. What older facts do not tell is not asked."""
    return not _agrees(_ground(old), _ground(new))


def _ground(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {
        **{name: facts[name] for name in ("job", "samples", "loads", "dryings")},
        "deviations": [row for row in facts["deviations"] if row["request"] or row["specimen"] or row["load"]],
        "requests": [{name: request[name] for name in RESTS_ON} for request in facts["requests"]],
    }


def _agrees(old: Any, new: Any) -> bool:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        return all(name in new and _agrees(value, new[name]) for name, value in old.items())
    if isinstance(old, list) and isinstance(new, list):
        return len(old) == len(new) and all(map(_agrees, old, new))
    return old == new


def changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[dict[str, str]]:
    """What differs between two revisions, leaf by leaf: `what`, `was`, `now`."""
    return [{"what": " ".join(path), "was": was, "now": now} for path, was, now in _walk((), old, new)]


def _walk(path: tuple[str, ...], old: Any, new: Any) -> Iterator[tuple[tuple[str, ...], str, str]]:
    if isinstance(old, Mapping) or isinstance(new, Mapping):
        old, new = old or {}, new or {}
        for key in dict.fromkeys([*old, *new]):
            untold = bool(old) and key not in old  # older facts do not tell it: no change of the report's
            if key not in NOT_TOLD and not untold and old.get(key) != new.get(key):
                yield from _walk((*path, *_named(key)), old.get(key), new.get(key))
    elif _is_rows(old) or _is_rows(new):
        before, after = _by_identity(old), _by_identity(new)
        for name in dict.fromkeys([*before, *after]):
            if before.get(name) != after.get(name):
                yield from _walk((*path, name), before.get(name), after.get(name))
    elif (was := _text(old)) != (now := _text(new)):
        yield path, was, now


def _is_rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], Mapping)


def _by_identity(rows: Any) -> dict[str, Any]:
    return {_identity(row): row for row in rows or []}


def _identity(row: Mapping[str, Any]) -> str:
    """What a row of a list is known by."""
    direction = row.get("direction", "")
    if "stage" in row:
        return f"{direction} {stage_told(row['stage'])}".strip()
    if "cycle" in row:
        return f"{row['specimen'].rsplit('-', 1)[1]} cycle {row['cycle']}"
    if "short" in row or "code" in row:
        return row.get("short") or row["code"]
    if "number" in row:
        return f"{direction or 'run'} {row['number']}"
    return f"{row['kind']} {row['id']}" if "id" in row else canonical(row)


PARTS = {"", "requests", "specimens", "pairs", "readings", "results", "samples", "cycle_log", "loads", "dryings"}


def _named(key: str) -> list[str]:
    return [] if key in PARTS else [key.replace("_", " ")]


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_text(item) for item in value)
    told = str(value)
    return mm(told).replace("-", MINUS) if DECIMAL.fullmatch(told) else told
