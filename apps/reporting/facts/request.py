"""One request of a report: its figures, curve, readings and record, ready to print."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import cached_property
from typing import Any

from apps.calc.rounding import format_change
from apps.core.cloth_drawing import Area, cloth, mm_text
from apps.core.drawing import Drawing, curve
from apps.reporting.facts import wording
from apps.reporting.facts.resting import rest_lines
from apps.reporting.facts.told import (
    Cell,
    CycleLine,
    Figure,
    PairLine,
    SpecimenTable,
    Superseded,
    mm,
    one_decimal,
    percent_read,
    significant,
    span,
    stage_told,
    tidy,
    when,
)

STAGES_A_TABLE = 4


def _name(pair: Mapping[str, Any]) -> str:
    """What a pair is called: length 2; at a measuring point its place alone."""
    if pair.get("point"):
        return pair["place"]
    if pair["place"] and pair.get("group") == pair["place"]:
        return f"{pair['place']} {pair['number']}"
    return f"{pair['direction']} {pair['number']}" + (f" ({pair['place']})" if pair["place"] else "")


class RequestFacts:
    """One request of a report with its results, readings and record."""

    def __init__(self, data: Mapping[str, Any], sample: Mapping[str, Any]) -> None:
        self.data, self.sample = data, sample
        self.code, self.method = data["code"], data["method"]
        self.procedure, self.drying = data["procedure"], data["drying"]
        self.cycles, self.measured_after = data["cycles"], data["measured_after"]

    @property
    def short(self) -> str:
        """A/1 of 26-00147N-A/1."""
        return self.code.rsplit("-", 1)[1]

    @cached_property
    def figures(self) -> list[Figure]:
        return [self._figure(result) for result in self.data["results"]]

    @property
    def final(self) -> list[Figure]:
        return [figure for figure in self.figures if figure.is_final]

    @property
    def has_limits(self) -> bool:
        return self.data["has_limits"]

    def _figure(self, result: Mapping[str, Any]) -> Figure:
        state = result["verdict"]["state"] if result["verdict"] else ""
        return Figure(
            direction=result["direction"],
            stage=result["stage"],
            change=format_change(Decimal(result["reported"])),
            limits=wording.limits_told(result["lower"], result["upper"]),
            verdict=state,
            verdict_told=wording.VERDICTS.get(state, "No verdict" if result["no_verdict"] else ""),
            u=significant(result["u"]),
            sd=significant(result["sd"]),
            specimens=result["specimens"],
            pairs=result["pairs"],
            note=" ".join(
                part for part in (result["no_verdict"], result["warning"], result.get("fewer_pairs")) if part
            ),
            is_final=result["stage"] == self.cycles,
            per_specimen=[
                (self.short_of(code), format_change(Decimal(change))) for code, change in result["per_specimen"].items()
            ],
        )

    @property
    def notes(self) -> list[str]:
        """What is to be said beside the figures, each once."""
        return list(dict.fromkeys(figure.note for figure in self.figures if figure.note))

    @cached_property
    def specimen_names(self) -> dict[str, str]:
        return {specimen["code"]: specimen["short"] for specimen in self.data["specimens"]}

    def short_of(self, code: str) -> str:
        return self.specimen_names.get(code, code)

    @property
    def specimens_told(self) -> str:
        return ", ".join(self.specimen_names.values())

    @property
    def readings_told(self) -> str:
        return wording.studies_told(self.data["results"])

    @property
    def read_to(self) -> str:
        """How finely the rule was read, in mm: what the uncertainty takes for its division."""
        steps = [result["division_mm"] for result in self.data["results"] if result.get("division_mm")]
        coarsest = max(map(Decimal, steps), default=Decimal(self.method["reading_resolution_mm"]))
        return tidy(f"{coarsest:.1f}", "mm")

    @property
    def performed(self) -> str:
        return span(self.data["performed"])

    @property
    def limits(self) -> list[tuple[str, str]]:
        return [(d, wording.limits_told(b["lower"], b["upper"])) for d, b in sorted(self.data["limits"].items())]

    def drawing(self) -> Drawing | None:
        """The curve over the cycles; None when only one cycle was measured."""
        points = {
            direction: [(stage, Decimal(change)) for stage, change in row]
            for direction, row in sorted(self.data["curve"].items())
        }
        if len(self.measured_after) < 2 or not points or self.points:
            return None  # of garments each place has its own change: the table tells it better
        limits: dict[tuple[str, str], list[str]] = {}
        for direction, bounds in sorted(self.data["limits"].items()):
            for end in ("lower", "upper"):
                if direction in points and bounds[end] is not None:
                    limits.setdefault((end, bounds[end]), []).append(direction)
        told = [
            (f"{end} limit" if len(of) == len(points) else f"{' '.join(of)} {end} limit", one_decimal(value))
            for (end, value), of in limits.items()
        ]
        return curve(points, told, title=f"Change in percent over the wash cycles, {self.code}")

    @property
    def cutting(self) -> Mapping[str, Any] | None:
        """Where the specimens lay; None where no plan was kept, as in reports of before."""
        return self.data.get("cutting")

    def cut_rows(self) -> list[tuple[str, str, str]]:
        """Specimen, its lengthwise yarns from the left selvedge, its widthwise yarns from the lower end, in mm."""
        side = Decimal(self.cutting["side_mm"])
        bands = [(cut["short"], Decimal(cut["x_mm"]), Decimal(cut["y_mm"])) for cut in self.cutting["cuts"]]
        return [
            (short, f"{mm_text(x)}–{mm_text(x + side)}", f"{mm_text(y)}–{mm_text(y + side)}") for short, x, y in bands
        ]

    def cut_drawing(self) -> Drawing:
        told = self.cutting
        side = Decimal(told["side_mm"])
        areas = [Area(cut["short"], Decimal(cut["x_mm"]), Decimal(cut["y_mm"]), side) for cut in told["cuts"]]
        size = Decimal(told["width_mm"]), Decimal(told["length_mm"])
        return cloth(*size, areas, title=f"Where the specimens of {self.code} lay")

    @property
    def photos(self) -> list[Mapping[str, Any]]:
        """What the report shows of the sample and its specimens; nothing in reports of before."""
        return self.data.get("photos", [])

    @property
    def curve_note(self) -> str:
        return self.data["curve_note"]

    def tables(self) -> Iterator[SpecimenTable]:
        """The readings of each specimen; more stages than fit side by side go into a further table."""
        for specimen in self.data["specimens"]:
            read = {r["stage"] for pair in specimen["pairs"] for r in pair["readings"]} - {0}
            after = sorted(read | set(self.measured_after))
            for first in range(0, len(after), STAGES_A_TABLE):
                yield self._table(specimen, [0, *after[first : first + STAGES_A_TABLE]])

    def _table(self, specimen: Mapping[str, Any], stages: list[int]) -> SpecimenTable:
        lines = []
        for pair in specimen["pairs"]:
            readings = {reading["stage"]: reading for reading in pair["readings"]}
            lines.append(
                PairLine(
                    name=_name(pair),
                    cells=[self._cell(readings.get(stage), pair, stage) for stage in stages],
                    changes=[self._change(readings.get(stage)) for stage in stages[1:]],
                )
            )
        results = {
            (result["direction"], result["stage"]): result["per_specimen"].get(specimen["code"])
            for result in self.data["results"]
        }
        told = [
            (direction, [self._shown(results.get((direction, stage))) for stage in stages[1:]])
            for direction in self._together(specimen)
        ]
        return SpecimenTable(
            specimen["short"],
            specimen["code"],
            specimen["set_aside"],
            stages,
            lines,
            [] if specimen["set_aside"] else told,
        )

    @staticmethod
    def _together(specimen: Mapping[str, Any]) -> list[str]:
        """What a specimen has a change of its own for: where more than one pair makes it up."""
        groups = [pair.get("group", pair["direction"]) for pair in specimen["pairs"]]
        alone = {pair["group"] for pair in specimen["pairs"] if pair.get("point")}
        return [group for group in dict.fromkeys(groups) if group not in alone]

    @property
    def points(self) -> list[Mapping[str, Any]]:
        """Where the garments were measured; nothing for cloth."""
        return self.data.get("points", [])

    @property
    def extra_means(self) -> list[tuple[str, str, str, str, str]]:
        """Skew and twist as printed: what, after which cycle, which side, the mean, of how many specimens."""
        means = self.data.get("extras", {}).get("means", [])
        return [
            (
                f"{row['title']} ({row['measurement']})",
                stage_told(row["stage"]),
                row["side"],
                format_change(Decimal(row["shown"])),
                str(row["specimens"]),
            )
            for row in means
        ]

    @property
    def extra_figures(self) -> list[tuple[str, str, str, str, str, str]]:
        """Each specimen's: what, specimen and side, stage, the two distances, the figure, since before washing."""
        figures = self.data.get("extras", {}).get("figures", [])
        return [
            (
                row["measurement"],
                f"{self.short_of(row['specimen'])} {row['side']}".strip(),
                stage_told(row["stage"]),
                f"{row['first']}; {row['second']} {row['unit']}".replace("-", "\N{MINUS SIGN}"),
                format_change(Decimal(row["shown"])),
                self._shown(row["change"]),
            )
            for row in figures
        ]

    @property
    def conditioning_told(self) -> str:
        rows = self.data.get("conditioning", [])
        if not rows:
            return wording.NOT_RECORDED
        lacking = [stage for stage in (0, *self.measured_after) if stage not in {row["stage"] for row in rows}]
        lines = rest_lines(rows, self.short_of)
        return "\n".join([*lines, *(f"{stage_told(stage).capitalize()}: not recorded" for stage in lacking)])

    @property
    def points_told(self) -> str:
        told = [
            f"{point['number']} {point['name']}{', left and right' if point['left_and_right'] else ''}"
            f" ({point['direction']}): {point['sentence']}"
            for point in self.points
        ]
        return "\n".join(told)

    @staticmethod
    def _cell(reading: Mapping[str, Any] | None, pair: Mapping[str, Any], stage: int) -> Cell:
        if reading is None:
            lost = pair["lost"] and stage >= pair["lost"]["from_stage"]
            return Cell("mark lost" if lost else "")
        if reading["unit"] == "mm":
            return Cell(mm(reading["mm"]))
        if reading["unit"] == "pct":
            return Cell(percent_read(reading["text"]) if stage else "template")
        return Cell(f"{reading['text'].strip()} {reading['unit']}", mm(reading["mm"]))

    @staticmethod
    def _shown(change: str | None) -> str:
        return "" if change is None else format_change(Decimal(change))

    def _change(self, reading: Mapping[str, Any] | None) -> str:
        return self._shown(reading["change_shown"]) if reading else ""

    @cached_property
    def superseded(self) -> list[Superseded]:
        """Readings that were put right, with why."""
        return [
            Superseded(
                where=f"{specimen['short']} {_name(pair)}, {stage_told(reading['stage'])}",
                text=percent_read(reading["text"])
                if reading["unit"] == "pct"
                else f"{reading['text']} {reading['unit']}",
                mm=mm(reading["mm"]),
                who=f"{reading['by']}, {when(reading['at'])}",
                voided=f"{reading['voided_by']}, {when(reading['voided_at'])}",
                reason=reading["reason"],
            )
            for specimen in self.data["specimens"]
            for pair in specimen["pairs"]
            for reading in pair["superseded"]
        ]

    @cached_property
    def lost(self) -> list[str]:
        """Marks that could no longer be read."""
        return [
            f"{specimen['short']} {_name(pair)}: no reading from "
            f"{stage_told(pair['lost']['from_stage'])} on, {pair['lost']['reason']}"
            for specimen in self.data["specimens"]
            for pair in specimen["pairs"]
            if pair["lost"]
        ]

    @property
    def read_by(self) -> list[tuple[str, str]]:
        """Who read when, stage by stage."""
        told: dict[int, list[tuple[str, str]]] = {}
        for specimen in self.data["specimens"]:
            for pair in specimen["pairs"]:
                for reading in pair["readings"]:
                    told.setdefault(reading["stage"], []).append((reading["at"], reading["by"]))
        rows = []
        for stage, acts in sorted(told.items()):
            names = ", ".join(dict.fromkeys(name for _, name in acts))
            rows.append((stage_told(stage), f"{names}, {span({'first': min(acts)[0], 'last': max(acts)[0]})}"))
        return rows

    @cached_property
    def cycle_lines(self) -> list[CycleLine]:
        """Which specimens went together through a cycle, in which load and drying."""
        groups: dict[tuple[int, int, int | None], list[Mapping[str, Any]]] = {}
        for row in self.data["cycle_log"]:
            groups.setdefault((row["cycle"], row["load"], row["drying"]), []).append(row)
        return [
            CycleLine(
                cycle=cycle,
                specimens=", ".join(self.short_of(row["specimen"]) for row in rows),
                load=str(load),
                drying="" if drying is None else str(drying),
                done=f"{rows[-1]['done_by']}, {when(max(row['done_at'] for row in rows))}",
            )
            for (cycle, load, drying), rows in sorted(groups.items(), key=lambda item: (item[0][0], item[0][1]))
        ]

    @property
    def rule_told(self) -> str:
        """How pass and fail were decided; by the guarded rule with the limits that the results were held against."""
        if not self.has_limits:
            return "no limits agreed, so no statement of conformity is made"
        moved = [
            f"{result['direction']} after cycle {result['stage']} {self._moved(result['verdict'])}"
            for result in self.data["results"]
            if result["verdict"] and self.data["decision_rule"] == "guarded"
        ]
        return self.data["decision_told"] + (f" Moved limits in percent: {'; '.join(moved)}." if moved else "")

    @staticmethod
    def _moved(verdict: Mapping[str, Any]) -> str:
        ends = (verdict["lower_limit"], verdict["upper_limit"])
        return wording.limits_told(*(None if end is None else round(Decimal(end), 2) for end in ends))

    @property
    def retest_told(self) -> str:
        """A sentence when this tests anew what another request has tested."""
        retest = self.data.get("retest")
        if not retest:
            return ""
        cause = f" Cause found for the first result: {retest['cause']}." if retest["cause"] else ""
        return (
            f"{self.short} tests {retest['of'].rsplit('-', 1)[1]} anew with new specimens, asked for by "
            f"{retest['asked_by']}: {retest['reason']}.{cause} The first result stays."
        )

    @property
    def fewer_than_asked(self) -> bool:
        return bool(self.data["fewer_reason"])

    @property
    def unconfirmed(self) -> dict[str, tuple[str, ...]]:
        """Catalogue numbers that the lab has not yet held against its own copy of the standard, by whose they are."""
        names = {"method": self.method["name"], "procedure": self.procedure["name"], "drying": self.drying["name"]}
        told: dict[str, list[str]] = {}
        for figure in self.data["unconfirmed"]:
            name = names[figure["owner"].split(":", 1)[0]]
            told.setdefault(name, []).append(f"{figure['name']} {figure['value']}".strip())
        return {name: tuple(numbers) for name, numbers in told.items()}

    @property
    def unconfirmed_told(self) -> str:
        """The same for the paper: how many, and those by name that the work itself went by."""
        figures = self.data["unconfirmed"]
        if not figures:
            return ""
        used = "; ".join(f"{f['name']} {f['value']}".strip() for f in figures if f["used"])
        told = f"{len(figures)} are not yet held against the standard by the laboratory"
        return f"{told}, among them: {used}" if used else told
