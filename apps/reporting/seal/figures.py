"""The figures of a report, reckoned anew from the readings in its attachment."""

import csv
from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal
from io import StringIO
from typing import Any

from apps.calc.change import Pair, summarize
from apps.calc.lengths import parse_length
from apps.calc.rounding import round_to
from apps.reporting.csvtext import cell
from apps.reporting.facts import Facts

LENGTHS = ("mm", "cm", "in")


def differences(facts: Facts, readings: str) -> tuple[int, list[str]]:
    """How many results there are, and what of them the readings do not give."""
    rows = list(csv.DictReader(StringIO(readings)))
    read = _in_force(row for row in rows if row["row"] == "reading")
    told = {_result_key(row): row for row in rows if row["row"] == "result"}
    wrong = [
        f"{row['specimen']} {row['read']} {row['unit']} is not {row['mm']} mm" for row in rows if not _converts(row)
    ]
    count = 0
    for request in facts.data["requests"]:
        pairs = _pairs(request, read)
        for result in request["results"]:
            count += 1
            wrong += _differs(request, result, pairs, told, facts.lab["tie"])
    if len(told) != count:
        wrong.append(f"{len(told)} results are attached, {count} are reported")
    return count, wrong


def _in_force(rows: Iterable[Mapping[str, str]]) -> dict[tuple[str, ...], dict[int, Decimal]]:
    """A pair -> stage -> mm. What was corrected or set aside does not count."""
    found: dict[tuple[str, ...], dict[int, Decimal]] = defaultdict(dict)
    for row in rows:
        if row["in_force"] == "yes" and not row["remark"]:
            key = (row["specimen"], row["direction"], row["pair"], row["place"])
            found[key][int(row["cycle"])] = Decimal(row["mm"])
    return found


def _pairs(
    request: Mapping[str, Any], read: Mapping[tuple[str, ...], dict[int, Decimal]]
) -> dict[str, list[tuple[str, dict[int, Decimal]]]]:
    """What belongs together in one result (a direction, or a place of a garment) -> (specimen, its readings)."""
    found = defaultdict(list)
    for specimen in request["specimens"]:
        for pair in specimen["pairs"]:
            key = (specimen["code"], pair["direction"], str(pair["number"]), cell(pair["place"]))
            if key in read:
                found[pair.get("group", pair["direction"])].append((specimen["code"], read[key]))
    return found


def _result_key(row: Mapping[str, str]) -> tuple[str, str, str, int]:
    return row["request"], row["direction"], row["place"], int(row["cycle"])


def _converts(row: Mapping[str, str]) -> bool:
    """What was typed is the length that it was taken for."""
    if row["row"] != "reading" or row["unit"] not in LENGTHS:
        return True
    return abs(parse_length(row["read"].lstrip("'"), row["unit"]) - Decimal(row["mm"])) < Decimal("0.000001")


def _differs(request: Mapping[str, Any], result: Mapping[str, Any], read: Any, told: Any, tie: str) -> list[str]:
    group, stage = result["direction"], result["stage"]
    what = f"{request['code']} {group} after cycle {stage}"
    pairs = [
        Pair(specimen, stages[0], stages[stage]) for specimen, stages in read[group] if 0 in stages and stage in stages
    ]
    change = summarize(pairs, request["method"]["averaging"]).change
    reported = round_to(change, Decimal(request["method"]["rounding_step"]).normalize(), tie)
    along = result.get("along") or group
    row = told.get((request["code"], along, cell(group) if group != along else "", stage))
    if row is None:
        return [f"{what} is not attached"]
    if abs(change - Decimal(row["change_percent"])) > Decimal("1e-9") or len(pairs) != result["pairs"]:
        return [f"{what} is {change:.6f} %, not {row['change_percent']} %"]
    if reported != Decimal(row["reported_percent"]) or reported != Decimal(result["reported"]):
        return [f"{what} rounds to {reported} %, not {row['reported_percent']} %"]
    return []
