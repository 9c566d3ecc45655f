"""What the readings of a sheet come to: one row a sample, direction and stage, and what is to be said about it."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from apps.calc.change import Pair
from apps.sheets.figures import Asked, Counted, Figures, figures_of
from apps.sheets.readings import Readings, combine
from apps.sheets.values import WHOLE

FAR_APART = 2.0  # points of percent between two specimens of one group that ask for a second look: a habit of the house
MOST_NAMED = 200
BOTH = "before washing and after"


class Row(NamedTuple):
    """One result. `change`, `sd` and `reported` are plain decimals in percent. `curve` is the reported change over the
    pairs read at every stage, None where there is no such pair; `flags` say what asks for a second look."""

    sample: str
    direction: str
    stage: int
    specimens: int
    pairs: int
    change: str
    sd: str
    reported: str
    curve: str | None = None
    flags: tuple[str, ...] = ()


@dataclass
class Results:
    """The rows in sheet order, and notes for the person: what was left out, what is missing, what was not used."""

    asked: Asked
    columns: tuple[list[Any], ...] = ((), (), (), (), (), (), (), ())  # as the fields of Row, without curve and flags
    notes: list[str] = field(default_factory=list)
    curve: list[str | None] = field(default_factory=list)
    flags: dict[int, tuple[str, ...]] = field(default_factory=dict)  # by place of the row
    through_calc: int = 0

    def __len__(self) -> int:
        return len(self.columns[0])

    def rows(self) -> list[Row]:
        curve = self.curve or [None] * len(self)
        return [
            Row(*columns, change, self.flags.get(place, ()))
            for place, (columns, change) in enumerate(zip(zip(*self.columns, strict=True), curve, strict=True))
        ]


class Sheet:
    """The readings with their pairs and groups numbered. A group is a sample, direction and stage after washing."""

    def __init__(self, readings: Readings) -> None:
        self.readings = readings
        self.way, self.ways, self.pair, self.pairs = readings.way, readings.ways, readings.pair, readings.pairs
        self.way_of_pair = np.empty(self.pairs, dtype=np.int64)
        self.way_of_pair[self.pair] = self.way
        self._originals()
        self.washed = np.flatnonzero(readings.stage > 0)
        stage = readings.stage[self.washed]
        group, groups = pd.factorize(self.way[self.washed] * 1000 + stage)
        self.group, self.way_of_group, self.stage = group, groups // 1000, groups % 1000
        self.counts = self.has_original[self.pair[self.washed]]
        self.first_row = np.empty(self.ways, dtype=np.int64)
        self.first_row[self.way[::-1]] = np.arange(len(readings) - 1, -1, -1)

    def _originals(self) -> None:
        """The length before washing of each pair; a percent scale brings its own."""
        readings = self.readings
        rows = np.flatnonzero(readings.stage == 0)
        self.before = np.zeros(self.pairs, dtype=np.int64)
        self.row_before = np.full(self.pairs, -1)
        self.row_before[self.pair[rows]] = rows
        self.before[self.pair[rows]] = readings.value[rows]
        self.before[self.pair[readings.percent]] = WHOLE
        self.has_original = self.before > 0
        self.rough = np.zeros(self.pairs, dtype=bool)  # a reading finer than a nanometre
        if readings.exact:
            self.rough[self.pair[list(readings.exact)]] = True
            self.has_original |= self.rough & (self.row_before >= 0)

    def names(self, column: str, ways: np.ndarray) -> list[str]:
        """The sample or the direction of each way."""
        found = self.readings.columns[column]
        return np.array(found.labels, dtype=object)[found.codes[self.first_row[ways]]].tolist()

    def name(self, way: int) -> str:
        return " ".join(self.names(column, np.array([way]))[0] for column in ("sample", "direction"))

    def counted(self, keep: np.ndarray) -> tuple[Counted, np.ndarray]:
        """The pairs of the rows to keep (of the washed ones), and the groups they fall in."""
        rows = self.washed[keep]
        group, groups = pd.factorize(self.group[keep])
        specimens = self.readings.columns["specimen"]
        specimen, found = pd.factorize(combine([(group, len(groups)), (specimens.codes[rows], len(specimens.labels))]))
        pair = self.pair[rows]
        percent, hard = (np.zeros(len(groups), dtype=bool) for _ in range(2))
        percent[group] = self.readings.percent[rows]
        group_of = np.empty(len(found), dtype=np.int64)
        group_of[specimen] = group
        if self.rough.any():
            hard = np.bincount(group, self.rough[pair], len(groups)) > 0

        def pair_of_row(row: int) -> Pair:
            original = self.row_before[pair[row]]
            whole = self.readings.percent[rows[row]]
            before = Decimal(WHOLE) if whole else self.readings.exact_value(int(original))
            name = specimens.labels[specimens.codes[rows[row]]]
            return Pair(name, before, self.readings.exact_value(int(rows[row])))

        before, after = np.maximum(self.before[pair], 1), self.readings.value[rows]  # a rough one may be under 1
        return Counted(group, specimen, before, after, percent, group_of, hard, pair_of_row), groups


def results_of(readings: Readings, asked: Asked, *, curve: bool = False) -> Results:
    """The results of a sheet. With `curve` also the changes over the pairs common to all stages, and the flags."""
    sheet = Sheet(readings)
    if not sheet.counts.any():
        nothing = f"No pair was read both {BOTH} washing: there is no result."
        return Results(asked, notes=[*readings.notes, nothing])
    counted, groups = sheet.counted(sheet.counts)
    figures = figures_of(counted, asked)
    # groups are numbered by their first row that counts; the sheet's order is that of all its rows
    order = np.argsort(groups, kind="stable")
    ways = sheet.way_of_group[groups[order]]
    told = (figures.specimens, figures.pairs, figures.change, figures.sd, figures.reported)
    columns = (
        *(sheet.names(column, ways) for column in ("sample", "direction")),
        sheet.stage[groups[order]].tolist(),
        *(column[order].tolist() for column in told),
    )
    left_out = _left_out(sheet)
    notes = [*readings.notes, *_averaging_note(counted, asked), *_gaps(sheet), *_left_out_notes(sheet, left_out)]
    results = Results(asked, columns, notes, through_calc=figures.hard)
    if curve:
        changes = _common(sheet, asked, figures, groups)
        results.curve = [changes.get(group) for group in groups[order].tolist()]
        place = np.empty(len(groups), dtype=np.int64)
        place[order] = np.arange(len(groups))
        results.flags = {int(place[group]): flags for group, flags in _flags(figures, left_out[groups]).items()}
    return results


def _common(sheet: Sheet, asked: Asked, figures: Figures, groups: np.ndarray) -> dict[int, str]:
    """By group, the reported change over the pairs that were read at every stage of their direction."""
    changes = dict(zip(groups.tolist(), figures.reported.tolist(), strict=True))
    stages = np.bincount(sheet.way_of_group[groups], minlength=sheet.ways)
    times = np.bincount(sheet.pair[sheet.washed], sheet.counts, sheet.pairs)
    everywhere = times == stages[sheet.way_of_pair]
    partly = np.zeros(sheet.ways, dtype=bool)
    partly[sheet.way_of_pair[(times > 0) & ~everywhere]] = True
    if not partly.any():
        return changes
    for group in groups[partly[sheet.way_of_group[groups]]].tolist():
        del changes[group]
    pair = sheet.pair[sheet.washed]
    keep = sheet.counts & everywhere[pair] & partly[sheet.way_of_pair[pair]]
    if keep.any():
        counted, found = sheet.counted(keep)
        changes |= zip(found.tolist(), figures_of(counted, asked).reported.tolist(), strict=True)
    return changes


def _left_out(sheet: Sheet) -> np.ndarray:
    """Of each group, how many pairs of its direction do not count."""
    pairs = np.bincount(sheet.way_of_pair, minlength=sheet.ways)
    counting = np.bincount(sheet.group, sheet.counts, len(sheet.stage)).astype(np.int64)
    return pairs[sheet.way_of_group] - counting


def _flags(figures: Figures, left_out: np.ndarray) -> dict[int, tuple[str, ...]]:
    """By group, what asks for a second look."""
    from apps.calc.spread import grubbs

    apart = figures.high - figures.low
    limits = {count: np.inf for count in np.unique(figures.specimens).tolist()}
    for count in limits:
        if count > 3:  # among three, hardly anything can stand out
            limits[count] = float(grubbs([Decimal(i) for i in range(count)]).critical)
    limit = pd.Series(figures.specimens).map(limits).to_numpy()
    flags = {}
    for group in np.flatnonzero((left_out > 0) | (apart > FAR_APART) | (figures.furthest > limit)).tolist():
        told = []
        if count := int(left_out[group]):
            told.append(f"{count} pair{'s' if count > 1 else ''} left out")
        if apart[group] > FAR_APART:
            told.append(f"specimens lie {apart[group]:.1f} apart")
        if figures.furthest[group] > limit[group]:
            told.append("one specimen stands out (Grubbs, 5 %)")
        flags[group] = tuple(told)
    return flags


def _averaging_note(counted: Counted, asked: Asked) -> list[str]:
    if asked.averaging == "ratio_of_means" and counted.percent.any():
        return ["What is read in percent is averaged as a mean of changes."]
    return []


def _gaps(sheet: Sheet) -> list[str]:
    """Directions without a stage that another direction of their sample has, or without any."""
    sample = sheet.readings.columns["sample"].codes[sheet.first_row]
    size = int(sample.max()) + 1
    has = pd.Series(sheet.stage).groupby(sample[sheet.way_of_group]).nunique().reindex(range(size), fill_value=0)
    own = np.bincount(sheet.way_of_group, minlength=sheet.ways)
    short = np.flatnonzero((own < has.to_numpy()[sample]) | (own == 0))
    notes = []
    if len(short):
        stages = pd.Series(sheet.stage).groupby(sheet.way_of_group).agg(set).to_dict()
        of_sample = pd.Series(sheet.stage).groupby(sample[sheet.way_of_group]).agg(set).to_dict()
        for way in short[:MOST_NAMED].tolist():
            missing = sorted(of_sample.get(int(sample[way]), set()) - stages.get(way, set()))
            when = f"after cycle {', '.join(map(str, missing))}" if missing else "after washing"
            notes.append(f"{sheet.name(way)} has no reading {when}.")
    return notes + _more(len(short) - MOST_NAMED, "more directions with no reading at some stage.")


def _left_out_notes(sheet: Sheet, left_out: np.ndarray) -> list[str]:
    """Which pairs do not count, group by group, and what they lack."""
    groups = np.flatnonzero(left_out > 0)
    named = groups[:MOST_NAMED]
    if not len(named):
        return []
    ways = np.unique(sheet.way_of_group[named])
    pairs: dict[int, list[int]] = {}
    for pair in np.flatnonzero(np.isin(sheet.way_of_pair, ways)).tolist():
        pairs.setdefault(int(sheet.way_of_pair[pair]), []).append(pair)
    rows = np.flatnonzero(np.isin(sheet.group, named))
    read: dict[int, set[int]] = {}
    for group, pair in zip(sheet.group[rows].tolist(), sheet.pair[sheet.washed[rows]].tolist(), strict=True):
        read.setdefault(group, set()).add(pair)
    row_of_pair = np.empty(sheet.pairs, dtype=np.int64)
    row_of_pair[sheet.pair] = np.arange(len(sheet.pair))
    notes = []
    for group in named.tolist():
        way = int(sheet.way_of_group[group])
        told = []
        for pair in pairs[way]:
            if sheet.has_original[pair] and pair in read[group]:
                continue
            lacks = f"read after cycle {sheet.stage[group]}" if sheet.has_original[pair] else "original"
            told.append(f"{_pair_name(sheet, int(row_of_pair[pair]))} (no {lacks.replace('read', 'reading')})")
        shown = ", ".join(told[:10]) + (f" and {len(told) - 10} more" if len(told) > 10 else "")
        result = "" if len(told) < len(pairs[way]) else "; there is no result"
        notes.append(f"{sheet.name(way)}, cycle {sheet.stage[group]}: left out {shown}{result}.")
    return notes + _more(len(groups) - MOST_NAMED, "more groups with pairs left out.")


def _pair_name(sheet: Sheet, row: int) -> str:
    specimen, pair = (sheet.readings.columns[name] for name in ("specimen", "pair"))
    return f"{specimen.labels[specimen.codes[row]]} pair {pair.labels[pair.codes[row]]}"


def _more(count: int, words: str) -> list[str]:
    return [f"… and {count} {words}"] if count > 0 else []
