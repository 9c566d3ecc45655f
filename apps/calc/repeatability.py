"""How far results differ when the same thing is measured again: between days or labs, and between people.

One-way by ISO 5725-2 (groups of unequal size); parts x appraisers x trials by analysis of variance and by averages
and ranges, as in the AIAG manual Measurement Systems Analysis, 4th edition (both from memory; the arithmetic is
proven on their published data).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction
from typing import Final

from .errors import RepeatabilityError
from .exact import number, own_context, probability, root, settle
from .quantiles import f_tail

# What a difference of two results may be, in standard deviations: 1.96 x sqrt 2 = 2.772, taken as 2.8 (ISO 5725-6).
LIMIT_FACTOR: Final = Decimal("2.8")
# Factors of the average and range method: 1 / d2*, printed in the AIAG manual for trials, appraisers and parts.
K1: Final = {2: Decimal("0.8862"), 3: Decimal("0.5908")}
K2: Final = {2: Decimal("0.7071"), 3: Decimal("0.5231")}
_K3 = ("0.7071", "0.5231", "0.4467", "0.4030", "0.3742", "0.3534", "0.3375", "0.3249", "0.3146")
K3: Final = {n: Decimal(text) for n, text in enumerate(_K3, start=2)}
# The number of categories a gauge can tell apart is 1.41 PV / GRR, cut to a whole number.
CATEGORIES: Final = Decimal("1.41")


@dataclass(frozen=True, slots=True)
class OneWay:
    """Mean, repeatability s_r, between-group s_L and reproducibility s_R, in the unit of the values.

    `r` and `R` are the limits that two results seldom exceed: 2.8 s_r and 2.8 s_R. `clamped` tells that the variance
    between the groups came out negative and was set to nothing, so that s_R is s_r.
    """

    mean: Decimal
    s_r: Decimal
    s_L: Decimal
    s_R: Decimal
    dof: int
    clamped: bool

    @property
    def r(self) -> Decimal:
        """The repeatability limit."""
        return _limit(self.s_r)

    @property
    def R(self) -> Decimal:
        """The reproducibility limit."""
        return _limit(self.s_R)


@dataclass(frozen=True, slots=True)
class Trial:
    """One reading of one part by one appraiser."""

    part: str
    appraiser: str
    value: Decimal


@dataclass(frozen=True, slots=True)
class Source:
    """A row of the table of variance.

    `f` is its mean square over that of the equipment and `p` the chance of as much from the equipment alone; None for
    the equipment itself, and f also where the equipment does not scatter at all.
    """

    sum_of_squares: Decimal
    dof: int
    mean_square: Decimal
    f: Decimal | None
    p: float | None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Standard deviations in the unit of the values: equipment EV, appraisers AV (with their interaction), GRR of
    both, parts PV, total TV.

    `table` holds appraiser, part, interaction and equipment as measured; `pooled` tells that the interaction was taken
    for equipment; `clamped` names the variances that came out negative and were set to nothing. By averages and ranges
    there is no table.
    """

    EV: Decimal
    AV: Decimal
    GRR: Decimal
    PV: Decimal
    TV: Decimal
    interaction: Decimal
    table: dict[str, Source]
    pooled: bool
    clamped: tuple[str, ...]

    @property
    def ndc(self) -> int | None:
        """How many categories of parts it can tell apart, cut to a whole number; None when nothing was lost at all."""
        return _categories(self.PV, self.GRR)

    def percent_of_study(self) -> dict[str, Decimal]:
        """EV, AV, GRR and PV in percent of TV. They are no parts of a whole: it is their squares that add up."""
        return _shares(self, 1)

    def percent_contribution(self) -> dict[str, Decimal]:
        """The variances of EV, AV, GRR and PV in percent of that of TV."""
        return _shares(self, 2)


@own_context
def one_way(groups: Sequence[Sequence[Decimal]]) -> OneWay:
    """Repeatability within and reproducibility between groups (days, machines, labs) of one level, any sizes.

    ISO 5725-2:1994, 7.4: s_r from the pooled variances; s_L^2 = (s_d^2 - s_r^2) / n'', where s_d^2 is the mean square
    between groups and n'' = (N - sum n^2 / N) / (p - 1), set to 0 when negative; s_R^2 = s_r^2 + s_L^2. The mean is
    that of all values. For groups of one size it is the plan of ASTM E691. RepeatabilityError for fewer than two
    groups, an empty one, or none with two values.
    """
    given = [
        [Fraction(number(value, f"Value {i} of group {g}", RepeatabilityError)) for i, value in enumerate(group, 1)]
        for g, group in enumerate(groups, 1)
    ]
    if len(given) < 2:
        raise RepeatabilityError("A difference between groups needs at least two groups.", code="too_few")
    if not all(given):
        raise RepeatabilityError("A group has no value. Leave it out.", code="empty_group")
    total = sum(len(group) for group in given)
    dof = total - len(given)
    if dof == 0:
        raise RepeatabilityError("At least one group needs a second value to show a repeatability.", code="too_few")
    means = [_mean(group) for group in given]
    mean = _mean([value for group in given for value in group])
    within = sum((_squares(group, m) for group, m in zip(given, means, strict=True)), Fraction(0)) / dof
    between = sum((len(group) * (m - mean) ** 2 for group, m in zip(given, means, strict=True)), Fraction(0))
    size = (total - Fraction(sum(len(group) ** 2 for group in given), total)) / (len(given) - 1)
    s_l = (between / (len(given) - 1) - within) / size
    kept = max(s_l, Fraction(0))
    return OneWay(settle(mean), root(within), root(kept), root(within + kept), dof, clamped=s_l < 0)


@own_context
def crossed(trials: Sequence[Trial], alpha: float = 0.05) -> GaugeStudy:
    """The gauge study by analysis of variance: every appraiser reads every part equally often, twice at least.

    The interaction of parts and appraisers is tested against the equipment; where it is not significant at `alpha` it
    is pooled with the equipment, else it counts with the appraisers and they and the parts are tested against it.
    Variances that come out negative are set to 0. RepeatabilityError for fewer than two parts, appraisers or trials,
    or for cells of unequal size.
    """
    level = probability(alpha, "The significance level", RepeatabilityError)
    cells = _Cells(trials)
    a, p, n = len(cells.appraisers), len(cells.parts), cells.size
    squares = cells.sums_of_squares()
    dofs = {"appraiser": a - 1, "part": p - 1, "interaction": (a - 1) * (p - 1), "equipment": a * p * (n - 1)}
    table = {name: _source(name, squares, dofs) for name in dofs}
    chance = table["interaction"].p
    assert chance is not None  # only the equipment has none
    pooled = chance > level
    if pooled:
        error = (squares["interaction"] + squares["equipment"]) / (dofs["interaction"] + dofs["equipment"])
        against, interaction = error, Fraction(0)
    else:
        error = squares["equipment"] / dofs["equipment"]
        against = squares["interaction"] / dofs["interaction"]
        interaction = (against - error) / n
    variances = {
        "appraiser": (squares["appraiser"] / dofs["appraiser"] - against) / (p * n),
        "part": (squares["part"] / dofs["part"] - against) / (a * n),
        "interaction": interaction,
    }
    people, parts, both = (max(variance, Fraction(0)) for variance in variances.values())
    return GaugeStudy(
        EV=root(error),
        AV=root(people + both),
        GRR=root(error + people + both),
        PV=root(parts),
        TV=root(error + people + both + parts),
        interaction=root(both),
        table=table,
        pooled=pooled,
        clamped=tuple(name for name, variance in variances.items() if variance < 0),
    )


@own_context
def average_and_range(trials: Sequence[Trial]) -> GaugeStudy:
    """The gauge study from averages and ranges, for 2 or 3 trials, 2 or 3 appraisers and 2 to 10 parts.

    EV = mean range of the cells x K1; AV^2 = (range of the appraisers' means x K2)^2 - EV^2 / (parts x trials), set to
    0 when negative; PV = range of the parts' means x K3. It sees no interaction and makes less of the readings than
    `crossed`, so the two differ, sometimes by a category. RepeatabilityError as `crossed`, and for other numbers.
    """
    cells = _Cells(trials)
    a, p, n = len(cells.appraisers), len(cells.parts), cells.size
    if n not in K1 or a not in K2 or p not in K3:
        raise RepeatabilityError(
            "Averages and ranges take 2 or 3 trials, 2 or 3 appraisers, 2 to 10 parts. Use the analysis of variance.",
            code="size",
        )
    ranges = [max(cell) - min(cell) for cell in cells.values.values()]
    ev = sum(ranges, Fraction(0)) / len(ranges) * Fraction(K1[n])
    people = (_range(cells.means(1)) * Fraction(K2[a])) ** 2 - ev**2 / (p * n)
    pv = _range(cells.means(0)) * Fraction(K3[p])
    kept = max(people, Fraction(0))
    return GaugeStudy(
        EV=settle(ev),
        AV=root(kept),
        GRR=root(ev**2 + kept),
        PV=settle(pv),
        TV=root(ev**2 + kept + pv**2),
        interaction=Decimal(0),
        table={},
        pooled=True,
        clamped=("appraiser",) if people < 0 else (),
    )


class _Cells:
    """The readings of each part by each appraiser, checked to be equally many."""

    def __init__(self, trials: Sequence[Trial]) -> None:
        self.values: dict[tuple[str, str], list[Fraction]] = {}
        for trial in trials:
            name = f"The reading of {trial.part} by {trial.appraiser}"
            reading = Fraction(number(trial.value, name, RepeatabilityError))
            self.values.setdefault((trial.part, trial.appraiser), []).append(reading)
        self.parts = list(dict.fromkeys(part for part, _ in self.values))
        self.appraisers = list(dict.fromkeys(appraiser for _, appraiser in self.values))
        sizes = {len(cell) for cell in self.values.values()}
        if len(self.parts) < 2 or len(self.appraisers) < 2 or max(sizes) < 2:
            raise RepeatabilityError(
                "A gauge study needs two parts, two appraisers and two trials at least.", code="too_few"
            )
        if len(sizes) > 1 or len(self.values) < len(self.parts) * len(self.appraisers):
            raise RepeatabilityError("Every appraiser must have read every part equally often.", code="unequal")
        self.size = sizes.pop()

    def means(self, by: int) -> list[Fraction]:
        """The mean of each part (0) or of each appraiser (1)."""
        groups: dict[str, list[Fraction]] = {}
        for key, cell in self.values.items():
            groups.setdefault(key[by], []).extend(cell)
        return [_mean(group) for group in groups.values()]

    def sums_of_squares(self) -> dict[str, Fraction]:
        """About the means, exact; they add up to the total."""
        grand = _mean([value for cell in self.values.values() for value in cell])
        a, p, n = len(self.appraisers), len(self.parts), self.size
        people = p * n * _squares(self.means(1), grand)
        parts = a * n * _squares(self.means(0), grand)
        cells = n * _squares([_mean(cell) for cell in self.values.values()], grand)
        equipment = sum((_squares(cell, _mean(cell)) for cell in self.values.values()), Fraction(0))
        return {"appraiser": people, "part": parts, "interaction": cells - people - parts, "equipment": equipment}


def _mean(values: Sequence[Fraction]) -> Fraction:
    return sum(values, Fraction(0)) / len(values)


def _squares(values: Sequence[Fraction], about: Fraction) -> Fraction:
    return sum(((value - about) ** 2 for value in values), Fraction(0))


def _range(values: Sequence[Fraction]) -> Fraction:
    return max(values) - min(values)


def _source(name: str, squares: Mapping[str, Fraction], dofs: Mapping[str, int]) -> Source:
    mean_square, error = squares[name] / dofs[name], squares["equipment"] / dofs["equipment"]
    f, p = None, None
    if name != "equipment" and error:
        f = settle(mean_square / error)
        p = f_tail(dofs[name], dofs["equipment"], f)
    elif name != "equipment":
        p = 0.0 if mean_square else 1.0
    return Source(settle(squares[name]), dofs[name], settle(mean_square), f, p)


@own_context
def _limit(sd: Decimal) -> Decimal:
    return settle(LIMIT_FACTOR * sd)


@own_context
def _categories(parts: Decimal, gauge: Decimal) -> int | None:
    return int((CATEGORIES * parts / gauge).to_integral_value(ROUND_FLOOR)) if gauge else None


@own_context
def _shares(study: GaugeStudy, power: int) -> dict[str, Decimal]:
    if not study.TV:
        raise RepeatabilityError("All readings are equal, so there is nothing to share out.", code="no_spread")
    parts = {"EV": study.EV, "AV": study.AV, "GRR": study.GRR, "PV": study.PV}
    return {name: settle(100 * (sd / study.TV) ** power) for name, sd in parts.items()}
