"""What the page prints, made ready: templates neither reckon nor ask."""

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.core.paginator import Paginator

from apps.core.drawing import Drawing, curve
from apps.sheets.wrong import WrongRows

if TYPE_CHECKING:
    from apps.sheets.results import Results, Row

SAMPLES, ROWS, LINES, NOTES, WRONG = 10, 60, 4, 50, 200
NAME = 9  # characters of a direction that fit beside its line


@dataclass(frozen=True)
class SamplePage:
    """A sample with its results; `more` rows are only in the download."""

    name: str
    rows: list["Row"]
    more: int
    drawing: Drawing | None
    about_curve: str


def of_results(results: "Results", number: object) -> dict[str, object]:
    """One page of samples in the order of the sheet, and what holds for all of them."""
    samples: dict[str, list[Row]] = {}
    for row in results.rows():
        samples.setdefault(row.sample, []).append(row)
    page = Paginator(list(samples), SAMPLES).get_page(number)
    return {
        "results": results,
        "page": page,
        "samples": [_sample(name, samples[name]) for name in page],
        "count": len(samples),
        "notes": results.notes[:NOTES],
        "more_notes": max(0, len(results.notes) - NOTES),
    }


def of_wrong(refusal: WrongRows | None) -> dict[str, object]:
    """What is wrong, row by row, as far as a page can show it."""
    if refusal is None:
        return {}
    shown = refusal.rows[:WRONG]
    return {"wrong_rows": shown, "more_wrong": refusal.total - len(shown)}


def _sample(name: str, rows: list["Row"]) -> SamplePage:
    lines: dict[str, list[tuple[int, Decimal]]] = {}
    for row in rows:
        if row.curve is not None:
            lines.setdefault(row.direction, []).append((row.stage, Decimal(row.curve)))
    drawn = dict(list(lines.items())[:LINES])
    drawing = curve(_named(drawn), title=f"Change of {name} in percent over the cycles") if drawn else None
    return SamplePage(name, rows[:ROWS], max(0, len(rows) - ROWS), drawing, _about_curve(rows, lines))


def _named(lines: dict[str, list[tuple[int, Decimal]]]) -> dict[str, list[tuple[int, Decimal]]]:
    """Lines under names that fit beside them, still all different."""
    named: dict[str, list[tuple[int, Decimal]]] = {}
    for number, (name, points) in enumerate(lines.items(), start=1):
        short = name if len(name) <= NAME else f"{name[: NAME - 3]}… {number}"
        named[short if short not in named else f"{number}"] = points
    return named


def _about_curve(rows: list["Row"], lines: dict[str, list[tuple[int, Decimal]]]) -> str:
    told = []
    if any(row.curve not in (None, row.reported) for row in rows):
        told.append("The curve rests on the pairs read at every stage, the figures on all pairs read at theirs.")
    without = list(dict.fromkeys(row.direction for row in rows if row.direction not in lines))
    if without:
        told.append(f"Not drawn, as no pair was read at every stage: {', '.join(without[:LINES])}.")
    if len(lines) > LINES:
        told.append(f"The first {LINES} of {len(lines)} directions are drawn.")
    return " ".join(told)
