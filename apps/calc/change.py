"""Dimensional change: 100 (after - before) / before, so shrinkage is negative and growth positive.

Formula and sign: AATCC TM135 and ISO 5077 (from trade pages and memory, the paid texts were not read).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from .errors import ChangeError
from .exact import mean_and_variance, own_context, positive, root, settle

Averaging = Literal["ratio_of_means", "mean_of_changes"]


@dataclass(frozen=True, slots=True)
class Pair:
    """One benchmark pair of one specimen: its length `before` washing and `after`, in the same unit."""

    specimen: str
    before: Decimal
    after: Decimal


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
    changes, so a specimen that lost a pair weighs as much as the others. The order of the pairs changes nothing but
    the order of `per_specimen`. ChangeError for no pairs, an unknown averaging, or a length that is not finite and
    above zero.
    """
    if averaging not in ("ratio_of_means", "mean_of_changes"):
        raise ChangeError('The averaging must be "ratio_of_means" or "mean_of_changes".', code="averaging")
    if not pairs:
        raise ChangeError("There is no pair with readings before and after washing yet.", code="no_pairs")
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
