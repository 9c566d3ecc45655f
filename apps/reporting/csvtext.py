"""The results and readings of a report as CSV, made from its facts. One header, one row a result or a reading."""

import csv
from collections.abc import Iterator, Mapping
from io import StringIO
from typing import Any

from apps.core.csvtext import FORMULA
from apps.reporting.facts.reader import Facts

COLUMNS = (
    *("report", "row", "sample", "request", "method", "specimen", "direction", "pair", "cycle"),
    *("reported_percent", "change_percent", "standard_uncertainty_percent", "lower_limit_percent"),
    *("upper_limit_percent", "verdict", "specimens", "pairs"),
    *("read", "unit", "mm", "read_by", "read_at", "in_force", "remark", "place"),
)


class Figure(str):
    """A number out of the facts: it stays a number, whatever it begins with."""


def csv_of(facts: Facts) -> str:
    """UTF-8 text with CRLF line ends (RFC 4180). Figures have an ASCII minus and a point; texts are never formulas."""
    out = StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, restval="")
    writer.writeheader()
    for row in rows(facts):
        writer.writerow({name: cell(value) for name, value in row.items()})
    return out.getvalue()


def cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, Figure | int):
        return str(value)
    text = "".join(character for character in str(value) if character.isprintable() or character in "\t\r\n")
    return f"'{text}" if text.startswith(FORMULA) else text


def _figure(text: str | None) -> Figure | None:
    return None if text is None else Figure(text)


def rows(facts: Facts) -> Iterator[dict[str, Any]]:
    """Results and readings by column; figures are `Figure`, the rest is text."""
    for request in facts.data["requests"]:
        common = {
            "report": facts.number,
            "sample": request["sample"],
            "request": request["code"],
            "method": request["method"]["name"],
        }
        for result in request["results"]:
            yield common | _result(result)
        for figure in request.get("extras", {}).get("figures", []):
            yield common | _extra(figure)
        for specimen in request["specimens"]:
            for pair in specimen["pairs"]:
                of_pair = common | {
                    "specimen": specimen["code"],
                    "direction": pair["direction"],
                    "pair": pair["number"],
                    "place": pair["place"],
                }
                for reading in pair["readings"]:
                    remark = f"specimen set aside: {specimen['set_aside']}" if specimen["set_aside"] else ""
                    yield of_pair | _reading(reading) | {"in_force": "yes", "remark": remark}
                for reading in pair["superseded"]:
                    yield of_pair | _reading(reading) | {"in_force": "no", "remark": reading["reason"]}


def _result(result: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "row": "result",
        "direction": result.get("along") or result["direction"],
        "place": result["direction"] if result.get("along") not in (None, "", result["direction"]) else "",
        "cycle": result["stage"],
        "reported_percent": _figure(result["reported"]),
        "change_percent": _figure(result["change"]),
        "standard_uncertainty_percent": _figure(result["u"]),
        "lower_limit_percent": _figure(result["lower"]),
        "upper_limit_percent": _figure(result["upper"]),
        "verdict": result["verdict"]["state"].replace("_", " ") if result["verdict"] else "",
        "specimens": result["specimens"],
        "pairs": result["pairs"],
        "remark": result["no_verdict"],
    }


def _extra(figure: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "row": "extra",
        "specimen": figure["specimen"],
        "direction": figure["measurement"],
        "place": figure["side"],
        "cycle": figure["stage"],
        "reported_percent": _figure(figure["shown"]),
        "change_percent": _figure(figure["change"]),
        "read": f"{figure['first']}; {figure['second']}",
        "unit": figure["unit"],
        "read_by": figure["by"],
        "read_at": figure["at"],
        "in_force": "yes",
    }


def _reading(reading: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "row": "reading",
        "cycle": reading["stage"],
        "change_percent": _figure(reading["change"]),
        "read": reading["text"],
        "unit": reading["unit"],
        "mm": _figure(reading["mm"]),
        "read_by": reading["by"],
        "read_at": reading["at"],
    }
