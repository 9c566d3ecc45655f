"""Dimensional change: 100 (after - before) / before, so shrinkage is negative and growth positive.

Formula and sign: AATCC TM135 and ISO 5077 (from trade pages and memory, the paid texts were not read).
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from .errors import ChangeError
from .exact import mean_and_variance, number, own_context, positive, root, settle

Averaging = Literal["ratio_of_means", "mean_of_changes"]
Kind = Literal["length", "percent"]

HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Pair:
    """One benchmark pair of one specimen: its length `before` washing and `after`, in the same unit.

    `kind` is "percent" for a direct reading p of a shrinkage scale, which is a pair of 100 and 100 + p.
    """

    specimen: str
    before: Decimal
    after: Decimal
    kind: Kind = "length"


@dataclass(frozen=True, slots=True)
class Track:
    """One benchmark pair through the test: the `original`, and under n what was read after cycle n (same unit).

    Only readings in force belong here. A pair read in percent has the original 100 and readings of 100 + p.
    """

    specimen: str
    original: Decimal
    readings: Mapping[int, Decimal]
    kind: Kind = "length"


@dataclass(frozen=True, slots=True)
class Summary:
    """The change of one direction in percent, unrounded.

    `per_specimen` keeps the order in which the specimens were first named; `sd` is the sample standard deviation
    (n - 1) of the specimen results, None under two specimens.
    """

    change: Decimal
    per_specimen: dict[str, Decimal]
    sd: Decimal | None
    n_specimens: int
    n_pairs: int


@dataclass(frozen=True, slots=True)
class Curve:
    """The change after each cycle, all points over the same `n_pairs` pairs; `left_out` pairs lack a reading."""

    points: dict[int, Summary]
    n_pairs: int
    left_out: int


@own_context
def dimensional_change(before: Decimal, after: Decimal) -> Decimal:
    """The change from `before` to `after` (same unit) in percent, unrounded (50 significant digits).

    ChangeError unless both are finite and above zero.
    """
    return settle(_percent(*_checked(before, after, "")))


@own_context
def summarize(pairs: Sequence[Pair], averaging: Averaging) -> Summary:
    """The change of one direction over all its pairs, and of each specimen.

    "ratio_of_means": 100 (sum of afters - sum of befores) / sum of befores, over all pairs, and over a specimen's
    pairs for its own result. "mean_of_changes": the mean of the specimens' means, each the mean of its pairs'
    changes, so a specimen that lost a pair weighs as much as the others. Readings in percent are always averaged so,
    whatever `averaging` says: they have no lengths to add up. The order of the pairs changes nothing but the order of
    `per_specimen`. ChangeError for no pairs, an unknown averaging, lengths and percents together, or a length that is
    not finite and above zero.
    """
    if averaging not in ("ratio_of_means", "mean_of_changes"):
        raise ChangeError('The averaging must be "ratio_of_means" or "mean_of_changes".', code="averaging")
    if not pairs:
        raise ChangeError("There is no pair with readings before and after washing yet.", code="no_pairs")
    if _kind_of(pairs) == "percent":
        averaging = "mean_of_changes"
    groups: dict[str, list[tuple[Fraction, Fraction]]] = {}
    for pair in pairs:
        groups.setdefault(pair.specimen, []).append(_checked(pair.before, pair.after, f" of specimen {pair.specimen}"))
    of_group = _ratio_of_sums if averaging == "ratio_of_means" else _mean_change
    results = {specimen: of_group(group) for specimen, group in groups.items()}
    if averaging == "ratio_of_means":
        overall = _ratio_of_sums([lengths for group in groups.values() for lengths in group])
    else:
        overall = sum(results.values(), Fraction(0)) / len(results)
    return Summary(
        change=settle(overall),
        per_specimen={specimen: settle(result) for specimen, result in results.items()},
        sd=root(mean_and_variance(list(results.values()))[1]) if len(results) > 1 else None,
        n_specimens=len(results),
        n_pairs=len(pairs),
    )


@own_context
def percent_pair(specimen: str, percent: Decimal) -> Pair:
    """The pair that stands for a direct reading in percent: 100 and 100 + p. ChangeError at -100 % or less."""
    reading = number(percent, f"The reading in percent of specimen {specimen}", ChangeError)
    if reading <= -HUNDRED:
        raise ChangeError(f"Specimen {specimen} cannot have shrunk by {-reading} %. Check the reading.", code="percent")
    return Pair(specimen, HUNDRED, HUNDRED + reading, "percent")


@own_context
def curve(tracks: Sequence[Track], averaging: Averaging, cycles: Collection[int] | None = None) -> Curve:
    """The change of one direction after each of the `cycles`, over the pairs that were read after every one of them.

    Without `cycles`, every cycle after which anything was read. Points over different pairs would show a step where
    only a pair was lost, so a pair that lacks a reading is left out of all points; the points can therefore differ
    from the results of their cycles. ChangeError when no pair was read after every cycle, for a cycle that is no whole
    number from 1, and as `summarize`.
    """
    wanted = sorted({cycle for track in tracks for cycle in track.readings} if cycles is None else set(cycles))
    for cycle in wanted:
        if isinstance(cycle, bool) or not isinstance(cycle, int) or cycle < 1:
            raise ChangeError("Cycles are counted from 1.", code="cycle")
    common = [track for track in tracks if all(cycle in track.readings for cycle in wanted)]
    if not wanted or not common:
        raise ChangeError("No pair has been read after every one of these cycles yet.", code="no_common_pairs")
    points = {}
    for cycle in wanted:
        pairs = [Pair(t.specimen, t.original, t.readings[cycle], t.kind) for t in common]
        points[cycle] = summarize(pairs, averaging)
    return Curve(points, len(common), len(tracks) - len(common))


def _kind_of(pairs: Sequence[Pair]) -> Kind:
    """The one kind of all pairs."""
    kinds = {pair.kind for pair in pairs}
    if not kinds <= {"length", "percent"}:
        raise ChangeError('A pair is of the kind "length" or "percent".', code="kind")
    if len(kinds) > 1:
        raise ChangeError(
            "Some pairs were read as lengths and some in percent. Read all pairs of a direction the same way.",
            code="mixed",
        )
    kind = kinds.pop()
    if kind == "percent" and any(pair.before != HUNDRED for pair in pairs):
        raise ChangeError("A pair read in percent begins at 100. Give it as 100 and 100 + p.", code="percent")
    return kind


def _checked(before: Decimal, after: Decimal, of_what: str) -> tuple[Fraction, Fraction]:
    return (
        Fraction(positive(before, f"The length before washing{of_what}", ChangeError)),
        Fraction(positive(after, f"The length after washing{of_what}", ChangeError)),
    )


def _percent(before: Fraction, after: Fraction) -> Fraction:
    return 100 * (after - before) / before


def _ratio_of_sums(group: list[tuple[Fraction, Fraction]]) -> Fraction:
    return _percent(sum((a for a, _ in group), Fraction(0)), sum((b for _, b in group), Fraction(0)))


def _mean_change(group: list[tuple[Fraction, Fraction]]) -> Fraction:
    return sum((_percent(before, after) for before, after in group), Fraction(0)) / len(group)
