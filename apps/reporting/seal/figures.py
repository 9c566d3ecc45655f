"""The figures of a report, reckoned anew from the readings in its attachment."""

import csv
from collections import defaultdict
from collections.abc import Mapping
from decimal import Decimal
from io import StringIO
from typing import Any

from apps.calc.change import Pair, summarize
from apps.calc.lengths import parse_length
from apps.calc.rounding import round_to
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
        for result in request["results"]:
            count += 1
            wrong += _differs(request, result, read, told, facts.lab["tie"])
    if len(told) != count:
        wrong.append(f"{len(told)} results are attached, {count} are reported")
    return count, wrong


def _in_force(rows: Any) -> dict[tuple[str, str], dict[tuple[str, str], dict[int, Decimal]]]:
    """(request, direction) -> (specimen, pair) -> stage -> mm. What was corrected or set aside does not count."""
    found: dict = defaultdict(lambda: defaultdict(dict))
    for row in rows:
        if row["in_force"] == "yes" and not row["remark"]:
            pair = found[row["request"], row["direction"]][row["specimen"], row["pair"]]
            pair[int(row["cycle"])] = Decimal(row["mm"])
    return found


def _result_key(row: Mapping[str, str]) -> tuple[str, str, int]:
    return row["request"], row["direction"], int(row["cycle"])


def _converts(row: Mapping[str, str]) -> bool:
    """What was typed is the length that it was taken for."""
    if row["row"] != "reading" or row["unit"] not in LENGTHS:
        return True
    return abs(parse_length(row["read"].lstrip("'"), row["unit"]) - Decimal(row["mm"])) < Decimal("0.000001")


def _differs(request: Mapping[str, Any], result: Mapping[str, Any], read: Any, told: Any, tie: str) -> list[str]:
    direction, stage = result["direction"], result["stage"]
    what = f"{request['code']} {direction} after cycle {stage}"
    pairs = [
        Pair(specimen, stages[0], stages[stage])
        for (specimen, _), stages in read[request["code"], direction].items()
        if 0 in stages and stage in stages
    ]
    change = summarize(pairs, request["method"]["averaging"]).change
    reported = round_to(change, Decimal(request["method"]["rounding_step"]).normalize(), tie)
    row = told.get((request["code"], direction, stage))
    if row is None:
        return [f"{what} is not attached"]
    if abs(change - Decimal(row["change_percent"])) > Decimal("1e-9") or len(pairs) != result["pairs"]:
        return [f"{what} is {change:.6f} %, not {row['change_percent']} %"]
    if reported != Decimal(row["reported_percent"]) or reported != Decimal(result["reported"]):
        return [f"{what} rounds to {reported} %, not {row['reported_percent']} %"]
    return []
