"""What the results rest on: items, methods, curve, laundering, readings, deviations, statements, records."""

from collections.abc import Iterable, Mapping
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Paragraph, Table

from apps.core.ink import (
    BOLD,
    CELL,
    CELL_RIGHT,
    SMALL,
    STATEMENT,
    SUBSECTION,
    UNPRINTABLE,
    labelled,
    markup,
    say,
)
from apps.core.paper import OnPaper
from apps.reporting.facts import Facts
from apps.reporting.facts.reader import RequestFacts
from apps.reporting.facts.request import STAGES_A_TABLE
from apps.reporting.facts.told import Cell, SpecimenTable, day, tidy, when
from apps.reporting.facts.wording import CONTRADICTS, SUPPLIED, UNCERTAINTY
from apps.reporting.pdf.parts import bare, gap, grid, headed, pairs, section
from apps.reporting.pdf.sheet import WIDTH


def items(facts: Facts) -> list[Flowable]:
    told: list[Flowable] = []
    for sample in facts.samples:
        requests = [request for request in facts.requests if request.sample["code"] == sample["code"]]
        told.append(KeepTogether([say(sample["code"], SUBSECTION), pairs(item_rows(sample, requests))]))
    return section("Items tested", *told)


def item_rows(sample: Mapping[str, Any], requests: Iterable[RequestFacts]) -> list[tuple[str, str]]:
    size = " × ".join(part for part in (tidy(sample["width_mm"], "mm"), tidy(sample["length_mm"], "mm")) if part)
    return [
        (f"Item {SUPPLIED}", sample["description"]),
        ("Kind", f"{sample['kind']}, {sample['construction_told']}"),
        (f"Fibre content {SUPPLIED}", sample["fibre"]),
        (f"Mass per area {SUPPLIED}", tidy(sample["mass_gsm"], "g/m²")),
        (f"Colour {SUPPLIED}", sample["colour"]),
        (f"Size {SUPPLIED}", sample["size"]),
        ("Care label says", sample["care_label"]),
        ("Width and length on hand", size),
        ("Condition on receipt", sample["condition"] or "nothing noted"),
        ("Anything wrong with it", sample["fault"]),
        ("Colour bleed or lint risk", "noted at receipt" if sample["bleeds_or_sheds"] else ""),
        ("Specimens", "; ".join(f"{request.short}: {request.specimens_told}" for request in requests)),
    ]


def methods(facts: Facts) -> list[Flowable]:
    """Requests tested in the very same way are told together."""
    alike: dict[tuple[tuple[str, str], ...], list[RequestFacts]] = {}
    for request in facts.requests:
        alike.setdefault(tuple(method_rows(request, facts.claims_scope)), []).append(request)
    told: list[Flowable] = [
        KeepTogether([say(", ".join(request.code for request in requests), SUBSECTION), pairs(rows)])
        for rows, requests in alike.items()
    ]
    return section("Methods and test conditions", *told)


def method_rows(request: RequestFacts, claims_scope: bool) -> list[tuple[str, str]]:
    method, procedure, drying, data = request.method, request.procedure, request.drying, request.data
    scope = ("within the scope" if method["in_scope"] else "outside the scope") if claims_scope else ""
    side = tidy(method["specimen_side_mm"], "mm")
    marks = f"{method['pairs_per_direction']} pairs in each direction, {tidy(method['benchmark_mm'], 'mm')} apart"
    told = method["averaging_told"]
    if request.points:
        marks, told = "at the measuring points", "each point on its own, over the garments"
    bath = f"{tidy(procedure['wash_temp_c'])} ± {tidy(procedure['wash_temp_tolerance_c'])} °C"
    load = f"{tidy(procedure['load_mass_g'])} ± {tidy(procedure['load_tolerance_g'])} g"
    return [
        ("Method", f"{method['name']}, {method['title']}"),
        ("Accreditation", scope),
        ("Specimens", f"{method['specimens']} asked for, " + (f"{side} square" if side else "each a whole garment")),
        ("Fewer specimens", data["fewer_reason"]),
        ("Marks", f"{marks}, read to {request.read_to} or finer"),
        ("Measuring points", request.points_told),
        ("Conditioning", request.conditioning_told),
        ("Result", f"{told}; reported to the nearest {tidy(method['rounding_step'])} %"),
        ("Washing", f"{procedure['name']}, {procedure['title']} ({procedure['source']})"),
        ("Machine and bath", f"{procedure['machine_kind']}, {procedure['programme']}, {bath}, load {load}"),
        ("Ballast and detergent", f"as the procedure allows: {procedure['ballast']}; {procedure['detergent']}"),
        ("Drying", f"{drying['name']}: {drying['instruction']} ({drying['source']})"),
        ("Cycles", f"{request.cycles}, measured after {', '.join(str(n) for n in request.measured_after)}"),
        ("Order reviewed", f"{data['review']['by']}, {day(data['review']['at'])} {_remark(data['review'])}".strip()),
        ("Care label", CONTRADICTS if data["review"].get("against_label") else ""),
        ("Tested", request.performed),
        ("Catalogue numbers", request.unconfirmed_told),
    ]


def _remark(review: Mapping[str, Any]) -> str:
    agreed = "" if review["agreed"] else "(method, limits and rule not recorded as agreed)"
    return " ".join(part for part in (agreed, review["remark"]) if part)


def cutting(facts: Facts) -> list[Flowable]:
    """Where the specimens lay in the cloth: drawn small, with the measures beside it."""
    told: list[Flowable] = []
    for request in facts.requests:
        if not request.cutting:
            continue
        heads = ["Specimen", "mm from the left selvedge", "mm from the lower end"]
        rows = [[short, say(x, CELL_RIGHT), say(y, CELL_RIGHT)] for short, x, y in request.cut_rows()]
        measures = grid(heads, rows, [16, 26, 26], figures=(1, 2), width=WIDTH * 0.62)
        reason = f"{request.cutting['pattern_told'].capitalize()}. {request.cutting['reason']}"
        drawing = request.cut_drawing()
        small = OnPaper(drawing, min(WIDTH * 0.3, 165 * float(drawing.width) / float(drawing.height)), text=1.4)
        beside = Table([[small, [say(reason, CELL), gap(3), measures]]], colWidths=[WIDTH * 0.36, WIDTH * 0.64])
        beside.setStyle(bare(("RIGHTPADDING", (1, 0), (1, 0), 0)))
        told.append(KeepTogether([say(request.code, SUBSECTION), beside]))
    return section("Where the specimens were cut", *told)


def curves(facts: Facts) -> list[Flowable]:
    told: list[Flowable] = []
    for request in facts.requests:
        if drawing := request.drawing():
            note = say(request.curve_note, SMALL)
            told.append(KeepTogether([say(request.code, SUBSECTION), OnPaper(drawing, WIDTH * 0.8), note]))
    return section("Change over the cycles", *told)


def laundering(facts: Facts) -> list[Flowable]:
    told: list[Flowable] = []
    for request in facts.requests:
        rows = [
            [str(line.cycle), line.specimens, line.load, line.drying or "–", line.done] for line in request.cycle_lines
        ]
        heads = ["Cycle", "Specimens", "Load", "Drying", "Finished"]
        told += headed(say(request.code, SUBSECTION), grid(heads, rows, [14, 62, 18, 18, 66]))
    if facts.loads:
        told += headed(say("Wash loads", SUBSECTION), _loads(facts))
        told += [say(f"Load {load.number}: {load.corrected}", SMALL) for load in facts.load_lines if load.corrected]
        told += [say(f"Load {load.number}: {load.void}", SMALL) for load in facts.load_lines if load.void]
    if facts.dryings:
        told += headed(say("Drying runs", SUBSECTION), _dryings(facts))
        told += [say(f"Drying {run.number}: {run.corrected}", SMALL) for run in facts.drying_lines if run.corrected]
    return section("Laundering record", *told)


def _loads(facts: Facts) -> Flowable:
    rows = [
        [load.number, load.washer, load.mass, load.ballast, load.detergent, load.bath, load.washed]
        for load in facts.load_lines
    ]
    heads = ["Load", "Washer", "Specimens + ballast", "Ballast", "Detergent", "Measured in the bath", "Washed"]
    return grid(heads, rows, [11, 17, 30, 31, 31, 29, 33])


def _dryings(facts: Facts) -> Flowable:
    rows = [
        [run.number, run.procedure, run.dryer, run.exhaust or "–", run.lint or "–", run.dried, run.by]
        for run in facts.drying_lines
    ]
    heads = ["Run", "Drying", "Dryer", "Hottest exhaust", "Lint filter", "Dried", "By"]
    return grid(heads, rows, [11, 38, 24, 20, 20, 38, 32])


def readings(facts: Facts) -> list[Flowable]:
    told: list[Flowable] = []
    for request in facts.requests:
        told += headed(say(request.code, SUBSECTION), *(_readings(table) for table in request.tables()))
        told += _extras(request)
        told += [labelled(stage, who, SMALL) for stage, who in request.read_by]
        told += [say(f"Mark lost: {lost}", SMALL) for lost in request.lost]
        for old in request.superseded:
            text = f"{old.where}: {old.text}, read by {old.who}; put right by {old.voided}: {old.reason}"
            told.append(labelled("Superseded reading", text, SMALL))
    note = "Distances as read, in mm; where another unit was read, the same in mm below it. Changes in percent."
    return section("Readings", *headed(say(note, SMALL), *told))


def _extras(request: RequestFacts) -> list[Flowable]:
    """Skew and twist of the same specimens: the means, and what they rest on."""
    if not request.extra_means:
        return []
    means = grid(
        ["Beside the distances", "Stage", "Side", "Mean, %", "Specimens"],
        [[*map(say_cell, row)] for row in request.extra_means],
        [78, 36, 22, 24, 22],
    )
    figures = grid(
        ["Measurement", "Specimen", "Stage", "Read", "Figure, %", "Since before"],
        [[*map(say_cell, row)] for row in request.extra_figures],
        [58, 24, 34, 40, 22, 22],
    )
    return [means, gap(4), figures, gap(6)]


def say_cell(text: str) -> Paragraph:
    return say(text or "–", CELL)


NAME, FIGURE = 34, 20  # shares of the sheet
LONG_NAME = 14  # measuring points of garments have names


def _readings(table: SpecimenTable) -> Flowable:
    after = table.after
    heads = [table.short, "before", *(f"after {n}" for n in after), *(f"change {n}" for n in after)]
    rows: list[list[Flowable | str]] = [
        [line.name, *(_cell(cell) for cell in line.cells), *(say(c, CELL_RIGHT) for c in line.changes)]
        for line in table.lines
    ]
    for direction, changes in table.results:
        rows.append(
            [
                Paragraph(f'<font name="{BOLD}">{markup(table.short)} {direction}</font>', CELL),
                *("" for _ in table.stages),
                *(Paragraph(f'<font name="{BOLD}">{markup(change)}</font>', CELL_RIGHT) for change in changes),
            ]
        )
    widths = [NAME, *(FIGURE for _ in heads[1:])]
    rest = NAME + (2 * STAGES_A_TABLE + 1) * FIGURE - sum(widths)  # columns of one width in all tables
    if any(len(line.name) > LONG_NAME for line in table.lines):
        widths[0] += rest
    elif rest:
        heads, rows, widths = [*heads, ""], [[*row, ""] for row in rows], [*widths, rest]
    made = grid(heads, rows, widths, figures=range(1, len(heads)))
    aside = f"{table.short} was set aside and does not count: {table.set_aside}"
    return KeepTogether([*([say(aside, SMALL)] if table.set_aside else []), made, gap(6)])


def _cell(cell: Cell) -> Paragraph:
    text = markup(cell.text) + (f"<br/><font size='7'>{cell.mm}</font>" if cell.mm else "")
    return Paragraph(text or "–", CELL_RIGHT)


def deviations(facts: Facts) -> list[Flowable]:
    title = "Deviations, additions and exclusions"
    if not facts.deviations:
        return section(title, say("None: no deviation, addition or exclusion was recorded."))
    told: list[Flowable] = []
    for row in facts.deviations:
        risk = " (done at risk)" if row["at_risk"] else ""
        told.append(
            labelled(f"{row['where']}, {row['kind_told']}{risk}", f"{row['text']} – {row['by']}, {row['when']}")
        )
        if row["judgement"]:
            judged = f"{row['judgement']} – {row['judged_by']}, {when(row['judged_at'])}"
            told.append(labelled("Judged", judged, SMALL))
        told.append(gap(3))
    return section(title, *told)


def decision(facts: Facts) -> list[Flowable]:
    alike: dict[str, list[str]] = {}
    for request in facts.requests:
        alike.setdefault(_decision(request), []).append(request.short)
    told: list[Flowable] = [labelled(", ".join(codes), text) for text, codes in alike.items()]
    told += [say(UNCERTAINTY, SMALL)]
    studies = {request.readings_told for request in facts.requests if request.readings_told}
    told += [say(each, SMALL) for each in sorted(studies)]
    told += [say(f"Rounding: {facts.lab['tie_told']}.", SMALL)]
    return section("Limits, decision rule and uncertainty", *told)


def _decision(request: RequestFacts) -> str:
    if not request.has_limits:
        return request.rule_told
    limits = "; ".join(f"{direction} {text} %" for direction, text in request.limits)
    source = f" Limits from: {request.data['limits_source']}." if request.data["limits_source"] else ""
    return f"{limits}.{source} {request.rule_told}"


def statements(facts: Facts, *, boxes: bool) -> list[Flowable]:
    told = list(facts.statements)
    if boxes:
        told.append(
            f"{UNPRINTABLE} stands for a character that the typeface of this file does not have; the records keep it."
        )
    return section("Statements", *(say(text, STATEMENT) for text in told))


def records(facts: Facts) -> list[Flowable]:
    chain = facts.report["chain"]
    people = "; ".join(f"{person['name']}: {', '.join(person['did'])}" for person in facts.people)
    return section(
        "Records",
        pairs(
            [
                ("People", people),
                ("Times", f"the laboratory's own, {facts.lab['time_zone']}"),
                ("Record of the job", f"{chain['stream']}, entry {chain['seq']}, {chain['hash']}"),
                ("SHA-256 of these data", facts.sha256),
            ],
            label=0.2,
        ),
    )
