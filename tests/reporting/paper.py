"""Facts of reports made by hand, for what is printed: short and long jobs, odd texts. All invented."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from apps.calc.change import Pair, dimensional_change, summarize
from apps.calc.rounding import round_to
from apps.calc.verdict import judge
from apps.reporting.facts import wording

STEP = Decimal("0.1")
JOB = "26-00147N"


def facts(
    *,
    samples: int = 1,
    requests: int = 1,
    stages: tuple[int, ...] = (1, 3),
    limits: tuple[str | None, str | None] = ("-3.00", "1.50"),
    specimens: int = 3,
    unit: str = "mm",
    **changes: Any,
) -> dict[str, Any]:
    letters = [chr(65 + n) for n in range(samples)]
    tests = [
        _request(letter, ordinal, stages, limits, specimens, unit)
        for letter in letters
        for ordinal in range(1, requests + 1)
    ]
    loads = sorted({row["load"] for test in tests for row in test["cycle_log"]})
    made = {
        "facts_version": 1,
        "title": wording.TITLE,
        "subject": wording.SUBJECT,
        "is_demo": False,
        "report": {
            "number": f"{JOB}-01",
            "serial": 1,
            "revision": 0,
            "verification_code": "7KQM2XW4TR9H",
            "draft": False,
            "covers": [test["code"] for test in tests],
            "not_covered": [],
            "cancelled": [],
            "amends": None,
            "interim": False,
            "follows": [],
            "issued_at": "2026-03-12T15:04:00+01:00",
            "approved_by": {
                "name": "Mara Manager",
                "role": "lab manager",
                "signs_as": "signatory",
                "read_values": False,
            },
            "meaning": wording.MEANING,
            "seal": None,
            "verify_at": f"https://lab.example.com/verify/?number={JOB}-01&code=7KQM2XW4TR9H",
            "chain": {"stream": f"job:{JOB}", "seq": 148, "hash": "5fdf0b0138d68437" * 4},
        },
        "lab": {
            "name": "Walkstube Textile Laboratory",
            "address": "Weberstraße 12\n1070 Vienna",
            "email": "lab@example.com",
            "phone": "+43 1 000 00 00",
            "location": "",
            "logo": "",
            "accreditation": "",
            "tie": "even",
            "tie_told": wording.TIE["even"],
            "retention_years": 10,
            "time_zone": "Europe/Vienna",
        },
        "customer": {
            "name": "Quellbach Hemden",
            "address": "Am Quellbach 3\n4020 Linz",
            "contact": "Casey Quellbach",
            "email": "casey@example.com",
        },
        "job": {
            "number": JOB,
            "contact": "Casey Quellbach",
            "purchase_order": "PO 4711",
            "received_at": "2026-03-02T09:10:00+01:00",
            "received_by": "Fran Frontdesk",
        },
        "performed": {"first": "2026-03-03T08:20:00+01:00", "last": "2026-03-11T16:40:00+01:00"},
        "samples": [_sample(letter) for letter in letters],
        "requests": tests,
        "loads": [_load(number) for number in loads],
        "dryings": [_drying(number) for number in loads],
        "deviations": [],
        "external": [],
        "people": [
            {"name": "Fran Frontdesk", "did": ["received the job", "reviewed the order"]},
            {"name": "Bea Bench", "did": ["read the distances"]},
            {"name": "Lou Laundry", "did": ["made up wash loads", "washed", "dried", "finished wash cycles"]},
            {"name": "Mara Manager", "did": ["authorised the report (lab manager)"]},
        ],
        "statements": wording.statements(scopes={False}, is_demo=False, years=10),
    }
    made.update(changes)
    return made


def on(day: int, hour: str) -> str:
    """So many days after the third of March."""
    return f"{date(2026, 3, 3) + timedelta(day)}T{hour}:00+01:00"


def _sample(letter: str) -> dict[str, Any]:
    return {
        "code": f"{JOB}-{letter}",
        "letter": letter,
        "description": "Shirting twill, bleached",
        "kind": "fabric",
        "construction": "woven",
        "construction_told": "woven",
        "fibre": "100 % cotton",
        "colour": "white",
        "mass_gsm": "125.0",
        "size": "",
        "care_label": "",
        "width_mm": "1480.0",
        "length_mm": "3000.0",
        "condition": "dry, folded, clean",
        "fault": "",
        "bleeds_or_sheds": False,
    }


def _request(letter: str, ordinal: int, stages: tuple[int, ...], limits: tuple, specimens: int, unit: str) -> dict:
    pieces = [_specimen(letter, ordinal, n, stages, unit) for n in range(1, specimens + 1)]
    lower, upper = (None if limit is None else Decimal(limit) for limit in limits)
    results = [_result(pieces, direction, stage, lower, upper) for stage in stages for direction in ("length", "width")]
    bounds = {"lower": limits[0], "upper": limits[1]}
    return {
        "code": f"{JOB}-{letter}/{ordinal}",
        "sample": f"{JOB}-{letter}",
        "ordinal": ordinal,
        "method": {
            "name": "AATCC TM135-2018",
            "designation": "AATCC TM135",
            "edition": "2018",
            "title": "Dimensional changes of fabrics after home laundering",
            "specimens": 3,
            "pairs_per_direction": 3,
            "specimen_side_mm": "380.0",
            "benchmark_mm": "250.0",
            "averaging": "ratio_of_means",
            "averaging_told": wording.AVERAGING["ratio_of_means"],
            "rounding_step": "0.10",
            "reading_resolution_mm": "1.000",
            "in_scope": False,
        },
        "procedure": {
            "name": "AATCC LP1 (1) III",
            "title": "Normal, 49 °C",
            "source": "AATCC LP1-2018, table 1",
            "machine_kind": "top loader with agitator",
            "programme": "normal",
            "wash_temp_c": "49.0",
            "wash_temp_tolerance_c": "3.0",
            "load_mass_g": "1800.0",
            "load_tolerance_g": "60.0",
            "ballast": "type 1, cotton",
            "detergent": "standard reference detergent",
            "detergent_g": "66.0",
        },
        "drying": {
            "name": "AATCC A(i) tumble dry, normal",
            "label": "AATCC A(i)",
            "title": "tumble dry, normal",
            "source": "AATCC LP1-2018, table 6",
            "kind": "tumble",
            "instruction": "Tumble dry until dry, take out at once.",
        },
        "cycles": max(stages),
        "measured_after": list(stages),
        "limits": {"length": dict(bounds), "width": dict(bounds)},
        "has_limits": any(limit is not None for limit in limits),
        "limits_source": "purchase specification Q-7",
        "decision_rule": "simple",
        "decision_told": wording.DECISION["simple"],
        "judged_on": "reported",
        "review": {
            "can_do": True,
            "enough_cloth": True,
            "agreed": True,
            "remark": "",
            "against_label": False,
            "by": "Fran Frontdesk",
            "at": "2026-03-02T09:15:00+01:00",
        },
        "fewer_reason": "",
        "retest": None,
        "specimens": pieces,
        "cutting": _cutting(pieces),
        "photos": [],
        "cycle_log": [
            {
                "specimen": piece["code"],
                "cycle": cycle,
                "load": 10 * ordinal + cycle,
                "drying": 10 * ordinal + cycle,
                "done_at": on(cycle, "12:00"),
                "done_by": "Lou Laundry",
            }
            for piece in pieces
            for cycle in range(1, max(stages) + 1)
        ],
        "results": results,
        "points": [],
        "conditioning": [],
        "extras": {"figures": [], "means": []},
        "curve": {
            direction: [[r["stage"], r["reported"]] for r in results if r["direction"] == direction]
            for direction in ("length", "width")
        },
        "curve_note": "The curve rests on all pairs; each was read at every stage.",
        "complete": True,
        "missing": [],
        "performed": {"first": "2026-03-03T08:20:00+01:00", "last": "2026-03-11T16:40:00+01:00"},
        "unconfirmed": [],
    }


def _cutting(pieces: list) -> dict[str, Any]:
    return {
        "pattern": "diagonal",
        "pattern_told": "diagonal",
        "reason": f"The {len(pieces)} cuts lie apart: no two share a lengthwise or a widthwise yarn.",
        "width_mm": "1480.0",
        "length_mm": "3000.0",
        "side_mm": "380.0",
        "cuts": [
            {
                "specimen": piece["code"],
                "short": piece["short"],
                "x_mm": f"{148 + 400 * (n % 3)}.00",
                "y_mm": f"{300 + 700 * (n % 4)}.00",
            }
            for n, piece in enumerate(pieces)
        ],
    }


def _specimen(letter: str, ordinal: int, number: int, stages: tuple[int, ...], unit: str) -> dict[str, Any]:
    number += 3 * (ordinal - 1)
    return {
        "code": f"{JOB}-{letter}{number}",
        "short": f"{letter}{number}",
        "number": number,
        "cycles_valid": max(stages),
        "times_wetted": max(stages),
        "set_aside": "",
        "pairs": [
            _pair(direction, pair, number, stages, unit) for direction in ("length", "width") for pair in (1, 2, 3)
        ],
    }


def _pair(direction: str, pair: int, number: int, stages: tuple[int, ...], unit: str) -> dict[str, Any]:
    before = Decimal(250)
    per_cycle = Decimal("1.5") if direction == "length" else Decimal("0.5")
    lengths = {
        0: before,
        **{s: before - per_cycle * s + Decimal(pair - 2) / 2 + Decimal(number - 2) / 2 for s in stages},
    }
    if unit == "in":
        lengths = {
            stage: Decimal(round(value * 64 / Decimal("25.4"))) / 64 * Decimal("25.4")
            for stage, value in lengths.items()
        }
    return {
        "direction": direction,
        "number": pair,
        "place": "",
        "group": direction,
        "point": None,
        "side": "",
        "nominal_mm": "250.0",
        "lost": None,
        "readings": [_reading(stage, value, lengths[0], unit) for stage, value in lengths.items()],
        "superseded": [],
    }


def _reading(stage: int, value: Decimal, before: Decimal, unit: str) -> dict[str, Any]:
    change = dimensional_change(before, value) if stage else None
    text = f"{value:f}"
    if unit == "in":
        whole, parts = divmod(int(value / Decimal("25.4") * 64), 64)
        text = f"{whole} {parts}/64"
    moment = on(stage, "08:20")
    return {
        "stage": stage,
        "text": text,
        "unit": unit,
        "mm": f"{value:.6f}",
        "by": "Bea Bench",
        "at": moment,
        "recorded_at": moment,
        "change": None if change is None else f"{change:f}",
        "change_shown": None if change is None else f"{round_to(change, STEP):f}",
    }


def _result(pieces: list, direction: str, stage: int, lower: Decimal | None, upper: Decimal | None) -> dict[str, Any]:
    pairs = []
    for piece in pieces:
        for pair in piece["pairs"]:
            if pair["direction"] == direction:
                read = {r["stage"]: Decimal(r["mm"]) for r in pair["readings"]}
                pairs.append(Pair(piece["code"], read[0], read[stage]))
    summary = summarize(pairs, "ratio_of_means")
    reported = round_to(summary.change, STEP)
    u = Decimal("0.2134")
    verdict = None
    if lower is not None or upper is not None:
        judged = judge(reported, lower, upper, u, "simple")
        ends = {"lower_limit": judged.lower_limit, "upper_limit": judged.upper_limit}
        verdict = {
            "state": judged.state.replace(" ", "_"),
            **{name: None if end is None else f"{end:f}" for name, end in ends.items()},
            "p_conform": "0.990",
        }
    return {
        "direction": direction,
        "along": direction,
        "asked": len(pairs),
        "fewer_pairs": "",
        "stage": stage,
        "change": f"{summary.change:f}",
        "reported": f"{reported:f}",
        "sd": None if summary.sd is None else f"{summary.sd:f}",
        "specimens": summary.n_specimens,
        "pairs": summary.n_pairs,
        "division_mm": "1",
        "per_specimen": {code: f"{round_to(change, STEP):f}" for code, change in summary.per_specimen.items()},
        "u": f"{u:f}",
        "lower": None if lower is None else f"{lower:f}",
        "upper": None if upper is None else f"{upper:f}",
        "no_verdict": "",
        "warning": "",
        "verdict": verdict,
    }


def _load(number: int) -> dict[str, Any]:
    day = number % 10
    return {
        "number": number,
        "procedure": "AATCC LP1 (1) III",
        "washer": "W1",
        "programme": "Normal",
        "water_level": "72 L",
        "water_hardness": "5.2 °dH, 2 Mar 2026",
        "balance": "Balance 1",
        "specimen_mass_g": "540.5",
        "ballast_mass_g": "1265.0",
        "total_mass_g": "1805.5",
        "ballast": "type 1, cotton",
        "ballast_pieces": 10,
        "detergent": "standard reference detergent",
        "detergent_lot": "L-22",
        "detergent_g": "66.0",
        "water_temp_c": "49.5",
        "temp_source": "dip thermometer in the drum",
        "thermometer": "Thermometer 2",
        "verification": None,
        "rinse_temp_c": "16.0",
        "spun": True,
        "washed_by": "Lou Laundry",
        "started_at": on(day, "09:00"),
        "ended_at": on(day, "09:48"),
        "void": [],
        "corrected": None,
    }


def _drying(number: int) -> dict[str, Any]:
    day = number % 10
    return {
        "number": number,
        "procedure": "AATCC A(i) tumble dry, normal",
        "kind": "tumble dry",
        "dryer": "D1",
        "started_at": on(day, "10:00"),
        "ended_at": on(day, "10:50"),
        "prepared": True,
        "exhaust_c": "61.0",
        "lint_filter_cleaned": True,
        "cooled_down": True,
        "dryness": "dry",
        "longer_minutes": None,
        "remark": "",
        "by": "Lou Laundry",
        "corrected": None,
    }


def a_deviation(**changes: Any) -> dict[str, Any]:
    row = {
        "id": 1,
        "request": f"{JOB}-A/1",
        "specimen": "",
        "load": None,
        "kind": "wash",
        "kind_told": "wash conditions",
        "text": "Bath at 45.0 °C instead of 49 ± 3 °C; the boiler was cold.",
        "by": "Lou Laundry",
        "at": "2026-03-04T09:05:00+01:00",
        "at_risk": True,
        "judgement": "No influence on the result: the second cycle was within the tolerance.",
        "judged_by": "Mara Manager",
        "judged_at": "2026-03-12T14:50:00+01:00",
    }
    return {**row, **changes}
