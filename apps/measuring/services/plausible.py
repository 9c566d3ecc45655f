"""A second look at values that are probably slips: another unit, a lost digit, a wrong row. Rows in, sentences out."""

from dataclasses import dataclass
from decimal import Decimal

from apps.calc.exact import own_context
from apps.calc.lengths import MILLIMETRES, format_length
from apps.calc.spread import mean_and_sd

# Generous bounds: knits do grow in width, wool does felt. What lies beyond is looked at twice, never refused for good.
FROM_NOMINAL = Decimal("0.20")
FROM_ORIGINAL = Decimal("0.50")
FROM_SIBLINGS = Decimal("0.10")
# With three siblings or more their own spread says how far apart the pairs of this cloth lie.
TIMES_THEIR_SPREAD, AT_LEAST = 5, Decimal("0.05")
NEAR = Decimal("0.25")
WORDS = {"mm": "millimetres", "cm": "centimetres", "in": "inches"}


@dataclass(frozen=True)
class Looked:
    """A value with what it is held against: before washing the marked distance, or where a garment has none the same
    place of another garment; after it the original reading."""

    key: int
    group: str
    mm: Decimal
    against: Decimal
    is_original: bool
    word: str = "marked"

    @property
    def ratio(self) -> Decimal:
        return self.mm / self.against


def second_looks(typed: list[Looked], there: list[Looked], unit: str) -> dict[int, str]:
    """Key -> what is odd about it. `there` are the values of the same stage that already stand."""
    odd = {}
    for value in typed:
        siblings = [other.ratio for other in (*typed, *there) if other.group == value.group and other.key != value.key]
        if sentence := _odd(value, siblings, unit):
            odd[value.key] = sentence
    return odd


def _odd(value: Looked, siblings: list[Decimal], unit: str) -> str:
    bound = FROM_NOMINAL if value.is_original else FROM_ORIGINAL
    against = f"{format_length(value.against, 'mm')} mm {value.word if value.is_original else 'before washing'}"
    if abs(value.ratio - 1) > bound:
        return f"{format_length(value.mm, 'mm')} mm is far from the {against}.{_another_unit(value, unit)}"
    if _is_apart(value.ratio, siblings):
        return f"{format_length(value.mm, 'mm')} mm is far from what the other pairs of this direction did."
    return ""


@own_context
def _is_apart(ratio: Decimal, siblings: list[Decimal]) -> bool:
    """Further from its siblings than their spread lets expect; knits that all grow in width are at one about it."""
    if len(siblings) < 3:
        return len(siblings) == 2 and all(abs(ratio - other) > FROM_SIBLINGS for other in siblings)
    mean, sd = mean_and_sd(siblings)
    return abs(ratio - mean) > max(TIMES_THEIR_SPREAD * sd, AT_LEAST)


def _another_unit(value: Looked, unit: str) -> str:
    if unit not in MILLIMETRES:
        return ""
    for other, factor in MILLIMETRES.items():
        ratio = value.ratio * factor / MILLIMETRES[unit]
        if other != unit and abs(ratio - 1) <= NEAR:
            return f" Was it read in {WORDS[other]}?"
    return ""
