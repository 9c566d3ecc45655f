"""Sheets for tests, and what calc says of them group by group: the plain way that the quick one must equal."""

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal

from apps.calc.change import Pair, summarize
from apps.calc.lengths import parse_length, parse_percent
from apps.calc.rounding import round_to
from apps.sheets import services
from apps.sheets.cells import COLUMNS
from apps.sheets.figures import Asked
from apps.sheets.results import Results
from apps.sheets.wrong import WrongRows

HEAD = ",".join(COLUMNS)
Line = Sequence[str]


def as_csv(lines: Iterable[Line], head: Sequence[str] = COLUMNS, **style) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, **{"lineterminator": "\n", **style}).writerows([head, *lines])
    return out.getvalue().encode()


def of_text(text: str) -> list[Line]:
    """Lines of a sheet written down with spaces: "A 1 length 1 0 250 mm"."""
    return [line.split() for line in text.strip().splitlines()]


def calculate(sheet: bytes, averaging="ratio_of_means", tie="even", step="0.1", **more) -> Results:
    asked = Asked.of(averaging, tie, step)
    return services.calculate(file=io.BytesIO(sheet), workbook=sheet.startswith(b"PK"), asked=asked, **more)


def rows(results: Results) -> list[tuple]:
    return [tuple(row) for row in zip(*results.columns, strict=True)]


def wrong(sheet: bytes) -> list[str]:
    """All that is wrong with a sheet, as the command prints it."""
    try:
        calculate(sheet)
    except WrongRows as refusal:
        assert refusal.total == len(refusal.rows)
        return [str(one) for one in refusal.rows]
    raise AssertionError("nothing is wrong with this sheet")


def by_calc(lines: Iterable[Line], averaging="ratio_of_means", tie="even", step="0.1") -> list[tuple]:
    """The rows that calc gives: pairs with both readings, group by group, in the order of the sheet."""
    read: dict[tuple, dict[int, Decimal]] = {}
    groups: dict[tuple, bool] = {}
    for sample, specimen, direction, pair, stage, text, unit in lines:
        percent = unit == "pct"
        value = 100 + parse_percent(text) if percent else None
        mark = read.setdefault((sample, specimen, direction, pair), {0: Decimal(100)} if percent else {})
        mark[int(stage)] = value if percent else parse_length(text, unit)
        if int(stage):
            groups[sample, direction, int(stage)] = percent
    found = []
    for (sample, direction, stage), percent in groups.items():
        pairs = [
            Pair(key[1], mark[0], mark[stage])
            for key, mark in read.items()
            if (key[0], key[2]) == (sample, direction) and 0 in mark and stage in mark
        ]
        if not pairs:
            continue
        summary = summarize(pairs, "mean_of_changes" if percent else averaging)
        digits = Decimal("0.0001")
        sd = "" if summary.sd is None else f"{round_to(summary.sd, digits):f}"
        reported = f"{round_to(summary.change, Decimal(step), tie):f}"
        change = f"{round_to(summary.change, digits):f}"
        found.append((sample, direction, stage, summary.n_specimens, summary.n_pairs, change, sd, reported))
    return found
