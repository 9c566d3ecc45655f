"""Wash loads and drying runs, ready to print."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from apps.reporting.facts.told import day, tidy, when


@dataclass(frozen=True)
class LoadLine:
    number: str
    washer: str
    mass: str
    ballast: str
    detergent: str
    bath: str
    washed: str
    corrected: str
    void: str


@dataclass(frozen=True)
class DryingLine:
    number: str
    procedure: str
    dryer: str
    exhaust: str
    lint: str
    dried: str
    by: str
    corrected: str = ""


def load_lines(loads: Iterable[Mapping[str, Any]]) -> list[LoadLine]:
    return [
        LoadLine(
            number=str(load["number"]),
            washer=_told(load["washer"], load.get("programme", "")),
            mass=_told(_mass(load), load.get("balance", "")),
            ballast=_told(load["ballast"], _pieces(load["ballast_pieces"])),
            detergent=_told(load["detergent"], tidy(load["detergent_g"], "g"), _named("lot", load["detergent_lot"])),
            bath=_bath(load),
            washed=_told(_span(load), load["washed_by"], "" if load["spun"] in (None, True) else "not spun"),
            corrected=_corrected(load["corrected"]),
            void=_void(load.get("void", ())),
        )
        for load in loads
    ]


def drying_lines(runs: Iterable[Mapping[str, Any]]) -> list[DryingLine]:
    return [
        DryingLine(
            number=str(run["number"]),
            procedure=run["procedure"],
            dryer=run["dryer"] or run["kind"],
            exhaust=tidy(run["exhaust_c"], "°C"),
            lint="cleaned" if run["lint_filter_cleaned"] else "",
            dried=_dried(run),
            by=_told(run["by"], run["remark"]),
            corrected=_corrected(run.get("corrected")),
        )
        for run in runs
    ]


def _told(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def _mass(load: Mapping[str, Any]) -> str:
    total = tidy(load["total_mass_g"], "g")
    return f"{tidy(load['specimen_mass_g'])} + {tidy(load['ballast_mass_g'])} = {total}"


def _bath(load: Mapping[str, Any]) -> str:
    """What was measured in the water and with what. Facts of old say less."""
    measured_with = load.get("thermometer", "")
    if relied := load.get("verification"):
        measured_with = _told(day(relied["done_on"]), relied["certificate"])
    source = f"{load['temp_source']} ({measured_with})" if measured_with else load["temp_source"]
    level, hardness = (load.get(name, "") for name in ("water_level", "water_hardness"))
    rinse = _named("rinse", tidy(load["rinse_temp_c"], "°C"))
    water = (_named("water level", level), _named("hardness", hardness))
    return _told(tidy(load["water_temp_c"], "°C"), source, rinse, *water)


def _dried(run: Mapping[str, Any]) -> str:
    longer = run.get("longer_minutes")
    cooled = "cool-down broken off" if run["cooled_down"] is False else ""
    return _told(_span(run), f"{longer} minutes longer" if longer else "", cooled, run.get("dryness", ""))


def _pieces(number: int | None) -> str:
    return "" if number is None else f"{number} pieces"


def _named(name: str, text: str) -> str:
    return f"{name} {text}" if text else ""


def _span(run: Mapping[str, Any]) -> str:
    """ "4 Mar 2026, 09:00 to 09:48": only the hour when the run ended on the day it began."""
    start, end = run["started_at"], run["ended_at"]
    if not end:
        return f"{when(start)}, end not recorded"
    return f"{when(start)} to {when(end).rsplit(', ', 1)[1] if start and start[:10] == end[:10] else when(end)}"


def _void(pieces: Iterable[Mapping[str, Any]]) -> str:
    """ "no cycle counted for A1, A2: power cut" of a run that wetted cloth in vain."""
    return "; ".join(
        f"no cycle counted for {', '.join(code.rsplit('-', 1)[1] for code in row['specimens'])}: {row['reason']}"
        + _judged(row.get("judgement"))
        for row in pieces
    )


def _judged(judged: Mapping[str, Any] | None) -> str:
    if not judged:
        return ""
    who = f"{judged['by']}, {when(judged['at'])}"
    return f" ({judged['decision_told']}. Judged by {who}: {judged['text']})"


def _corrected(corrected: Mapping[str, Any] | None) -> str:
    if not corrected:
        return ""
    return f"record put right by {corrected['by']}, {when(corrected['at'])}: {corrected['reason']}"
