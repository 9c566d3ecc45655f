"""Changes of many groups at once, exact: sums in whole nanometres, quotients rounded as whole numbers.

What whole numbers cannot settle (a result within a hair of half a printed digit, a reading finer than a nanometre, a
sum too large) goes through calc, group by group. A test compares every group with calc.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import get_args

import numpy as np
import pandas as pd

from apps.calc.change import Averaging, Pair, summarize
from apps.calc.exact import own_context
from apps.calc.rounding import Tie, round_to
from apps.core.errors import Refusal

DIGITS = Decimal("0.0001")  # of change and sd as printed; ties to the even digit
PER_DIGIT = 10_000
STEP = re.compile(r"[0-9]{1,3}(?:\.[0-9]{1,4})?")
SAFE = 2.0**53  # whole numbers are exact in floating point up to here
LARGEST = 2.0**62  # of a 64-bit whole number, with room
HAIR, HAIR_A_PAIR = 1e-11, 1e-15  # far more than floating point loses on the way to a percentage of size one


@dataclass(frozen=True)
class Asked:
    """How the sheet is to be averaged and rounded. `step` in percent, with the decimals it is printed with."""

    averaging: Averaging = "ratio_of_means"
    tie: Tie = "even"
    step: Decimal = Decimal("0.1")

    @classmethod
    def of(cls, averaging: str, tie: str, step: str) -> "Asked":
        """What a person asked for. Refusal for what cannot be."""
        if averaging not in get_args(Averaging):
            raise Refusal("Choose ratio_of_means or mean_of_changes.", code="averaging", field="averaging")
        if tie not in get_args(Tie):
            raise Refusal("Choose even or away.", code="tie", field="tie")
        width = step.strip().replace(",", ".")
        if not STEP.fullmatch(width) or not 0 < Decimal(width) <= 100:
            sentence = "The rounding step is a number above 0 and at most 100, with up to four decimals, such as 0.1."
            raise Refusal(sentence, code="step", field="step")
        return cls(averaging, tie, Decimal(width))

    @property
    def step_digits(self) -> int:
        return max(0, -int(self.step.as_tuple().exponent))


@dataclass
class Counted:
    """The pairs that count: one row a pair and stage. `group` and `specimen` (within the group) are numbered from 0;
    lengths are whole nanometres."""

    group: np.ndarray
    specimen: np.ndarray
    before: np.ndarray
    after: np.ndarray
    percent: np.ndarray  # of each group: read in percent
    group_of: np.ndarray  # of each specimen
    hard: np.ndarray  # of each group: holds a reading finer than a nanometre
    pair_of_row: Callable[[int], Pair]


@dataclass
class Figures:
    """One entry a group, in the order of the groups. Texts are plain decimals; no spread under two specimens."""

    specimens: np.ndarray
    pairs: np.ndarray
    change: np.ndarray
    sd: np.ndarray
    reported: np.ndarray
    low: np.ndarray  # lowest and highest specimen result and the furthest from the mean, in sd: for the eye only
    high: np.ndarray
    furthest: np.ndarray
    hard: int = 0  # how many groups went through calc


def figures_of(counted: Counted, asked: Asked) -> Figures:
    """Change, spread and reported change of every group."""
    groups, specimens = len(counted.percent), len(counted.group_of)
    before, after, group = counted.before, counted.after, counted.group
    pairs_of = np.bincount(counted.specimen, minlength=specimens)
    specimens_of = np.bincount(counted.group_of, minlength=groups)
    sum_before, sum_after = (sums(counted.specimen, values, specimens) for values in (before, after))
    by_ratio = ~counted.percent & (asked.averaging == "ratio_of_means")
    hard = counted.hard.copy()

    # of each specimen, in floating point
    results = 100.0 * (sum_after - sum_before) / sum_before
    if not by_ratio.all():
        changes = np.bincount(counted.specimen, 100.0 * (after - before) / before, specimens) / pairs_of
        results = np.where(by_ratio[counted.group_of], results, changes)
    sd, low, high, furthest = _spread(results, counted.group_of, specimens_of)
    pairs = np.bincount(group, minlength=groups)
    # how far floating point may be off, in percent
    off = np.maximum(np.maximum(np.abs(low), np.abs(high)), 1) * (HAIR + HAIR_A_PAIR * pairs)

    # of each group, as a quotient of whole numbers where there is one
    over, under, whole = _quotients(counted, by_ratio, sum_before, sum_after, pairs_of, specimens_of)
    change, change_hard = _rounded(over, under, PER_DIGIT, 1, "even")
    places = 10**asked.step_digits
    reported, reported_hard = _rounded(over, under, places, int(asked.step * places), asked.tie)
    hard |= whole & (change_hard | reported_hard)
    if not whole.all():
        plain = np.bincount(counted.group_of, results, groups) / specimens_of
        step = float(asked.step)
        hard |= ~whole & (_near_half(plain, 1 / PER_DIGIT, off) | _near_half(plain, step, off))
        change = np.where(whole, change, _nearest(plain * PER_DIGIT))
        reported = np.where(whole, reported, _nearest(plain / step))
    hard |= _near_half(sd, 1 / PER_DIGIT, off) & (specimens_of > 1)

    figures = Figures(
        specimens_of,
        pairs,
        decimals(change, 4),
        np.where(specimens_of > 1, decimals(_nearest(sd * PER_DIGIT), 4), ""),
        decimals(reported * int(asked.step * places), asked.step_digits),
        low,
        high,
        furthest,
        int(hard.sum()),
    )
    if hard.any():
        _through_calc(figures, counted, asked, hard)
    return figures


def sums(codes: np.ndarray, values: np.ndarray, size: int) -> np.ndarray:
    """Exact sums of whole numbers by code."""
    if not len(values) or float(values.max()) * float(np.bincount(codes).max()) < SAFE:
        return np.bincount(codes, values, size).astype(np.int64)
    sums = np.zeros(size, dtype=np.int64)
    np.add.at(sums, codes, values)
    return sums


def _spread(results: np.ndarray, group: np.ndarray, count: np.ndarray) -> tuple[np.ndarray, ...]:
    """Sample standard deviation of the specimens' results, the lowest, the highest, the furthest in sd."""
    mean = np.bincount(group, results, len(count)) / count
    apart = results - mean[group]
    sd = np.sqrt(np.bincount(group, apart**2, len(count)) / np.maximum(count - 1, 1))
    order = np.argsort(group, kind="stable")
    starts = np.concatenate([[0], np.cumsum(count)[:-1]])
    low, high = (reduce.reduceat(results[order], starts) for reduce in (np.minimum, np.maximum))
    furthest = np.maximum.reduceat(np.abs(apart)[order], starts) / np.where(sd > 0, sd, 1)
    return sd, low, high, furthest


def _quotients(
    counted: Counted,
    by_ratio: np.ndarray,
    sum_before: np.ndarray,
    sum_after: np.ndarray,
    pairs_of: np.ndarray,
    specimens_of: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(over, under, whether so): the change of a group is over / under, both whole.

    A mean of changes is such a quotient where all pairs of the group were equally long before washing, as on percent
    scales and between template marks; those are also where exact ties are common.
    """
    groups, of = len(by_ratio), counted.group_of
    total_before, total_after = sums(of, sum_before, groups), sums(of, sum_after, groups)
    over, under, whole = total_after - total_before, total_before, by_ratio.copy()
    if not by_ratio.all():
        first = np.empty(groups, dtype=np.int64)
        first[counted.group[::-1]] = counted.before[::-1]
        alike = np.bincount(counted.group, counted.before != first[counted.group], groups) == 0
        common = int(np.lcm.reduce(np.unique(pairs_of))) if pairs_of.max() <= 12 else 0
        if common and float(np.abs(sum_after - sum_before).max()) * common * specimens_of.max() < SAFE:
            changes = _sums_of_signed(of, (sum_after - sum_before) * (common // pairs_of), groups)
            alike &= ~by_ratio & (first.astype(float) * specimens_of * common < LARGEST)
            over = np.where(alike, changes, over)
            under = np.where(alike, first * specimens_of * common, under)
            whole |= alike
    return over, under, whole


def _sums_of_signed(codes: np.ndarray, values: np.ndarray, size: int) -> np.ndarray:
    return np.rint(np.bincount(codes, values, size)).astype(np.int64)


def _rounded(over: np.ndarray, under: np.ndarray, places: int, step: int, tie: Tie) -> tuple[np.ndarray, np.ndarray]:
    """100 over / under in multiples of step / places, rounded as calc rounds; and where the numbers are too large."""
    large = (np.abs(over).astype(float) * 200 * places > LARGEST) | (under.astype(float) * step * 2 > LARGEST)
    size = np.where(large, 0, np.abs(over)) * 100 * places
    width = np.where(large, 1, under) * step
    multiples, rest = np.divmod(size, width)
    half = 2 * rest == width
    up = (2 * rest > width) | half & (True if tie == "away" else multiples % 2 == 1)
    multiples += up
    return np.where(over < 0, -multiples, multiples), large


def _near_half(values: np.ndarray, step: float, off: np.ndarray) -> np.ndarray:
    """Whether values that may be `off` by so much cannot be told apart from half way between two steps."""
    return np.abs(np.abs(values) / step % 1 - 0.5) <= off / step


def _nearest(values: np.ndarray) -> np.ndarray:
    return np.rint(np.clip(values, -LARGEST, LARGEST)).astype(np.int64)


def decimals(numbers: np.ndarray, digits: int) -> np.ndarray:
    """Whole numbers as texts with a decimal point before the last `digits`: -24889 -> "-2.4889"."""
    codes, distinct = pd.factorize(numbers)
    power = 10**digits
    texts = []
    for number in distinct.tolist():
        whole, part = divmod(abs(number), power)
        sign = "-" if number < 0 else ""
        texts.append(f"{sign}{whole}.{part:0{digits}d}" if digits else f"{sign}{whole}")
    return np.array(texts, dtype=object)[codes]


def _through_calc(figures: Figures, counted: Counted, asked: Asked, hard: np.ndarray) -> None:
    pairs: dict[int, list[Pair]] = {}
    for row in np.flatnonzero(hard[counted.group]).tolist():
        pairs.setdefault(int(counted.group[row]), []).append(counted.pair_of_row(row))
    for group, found in pairs.items():
        averaging = "mean_of_changes" if counted.percent[group] else asked.averaging
        texts = told_by_calc(found, averaging, asked)
        figures.change[group], figures.sd[group], figures.reported[group] = texts


@own_context
def told_by_calc(pairs: list[Pair], averaging: Averaging, asked: Asked) -> tuple[str, str, str]:
    """Change, sd and reported change of a group as printed: what this module must give for every group."""
    summary = summarize(pairs, averaging)
    change = round_to(summary.change, DIGITS)
    sd = "" if summary.sd is None else f"{round_to(summary.sd, DIGITS):f}"
    return f"{change:f}", sd, f"{round_to(summary.change, asked.step, asked.tie):f}"
