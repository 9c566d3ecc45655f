"""Checks with their points, limits and signals."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from itertools import pairwise

from django.db.models import Count, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from apps.calc.control import D2_OF_TWO, D4_OF_TWO, EwmaPoint, ewma
from apps.calc.rounding import format_change, round_to
from apps.calc.runs import RULES, WESTERN_ELECTRIC, run_rules
from apps.control.models import Baseline, Check, CheckPoint, Direction
from apps.equipment.models import Hold
from apps.laundering.models import Load

# Weight of the newest value and width of the limits in standard deviations: NIST/SEMATECH e-Handbook, 6.3.2.4.
LAMBDA, WIDTH = Decimal("0.3"), 3
DRIFT = "weighted average beyond its limits"
HUNDREDTH = Decimal("0.01")  # of a percent, as charts and tables show
# Limits of single values in the handbook's example rest on ten (NIST/SEMATECH 6.3.2.2); fewer say too little.
LEAST_POINTS = 10
SHOWN = 60  # points of a chart, the newest


@dataclass(frozen=True)
class Row:
    """One point as the table beside the chart says it."""

    point: CheckPoint
    change: Decimal
    moving_range: Decimal | None
    weighted: EwmaPoint | None
    told: tuple[str, ...]  # the rules that this point completes, by name

    @property
    def sentences(self) -> list[str]:
        return [words_of(rule) for rule in self.told]

    @property
    def change_told(self) -> str:
        return format_change(round_to(self.change, HUNDREDTH))

    @property
    def range_told(self) -> str:
        return "" if self.moving_range is None else str(round_to(self.moving_range, HUNDREDTH))

    @property
    def weighted_told(self) -> str:
        return format_change(round_to(self.weighted.value, HUNDREDTH)) if self.weighted else ""


@dataclass(frozen=True)
class Series:
    """The points of a check in one direction, in order of their loads, and the limits that hold for them."""

    direction: str
    points: Sequence[CheckPoint]
    baseline: Baseline | None

    @property
    def name(self) -> str:
        return Direction(self.direction).label

    @cached_property
    def values(self) -> list[Decimal]:
        return [point.change for point in self.points]

    @property
    def ranges(self) -> list[Decimal]:
        return [abs(later - earlier) for earlier, later in pairwise(self.values)]

    @property
    def sigma(self) -> Decimal:
        """The standard deviation that the baseline's moving ranges give; NIST/SEMATECH e-Handbook, 6.3.2.2."""
        return self.baseline.mr_bar / D2_OF_TWO

    @property
    def range_limit(self) -> Decimal:
        return self.baseline.mr_bar * D4_OF_TWO

    @cached_property
    def weighted(self) -> list[EwmaPoint]:
        return ewma(self.values, self.baseline.center, self.sigma, LAMBDA, WIDTH) if self.baseline else []

    @cached_property
    def signals(self) -> dict[int, list[str]]:
        """By the number of the point that completes it, from 0: the rules that it breaks."""
        found: dict[int, list[str]] = defaultdict(list)
        if self.baseline:
            for signal in run_rules(self.values, self.baseline.center, self.sigma, WESTERN_ELECTRIC):
                found[signal.points[-1]].append(signal.rule)
            for number, point in enumerate(self.weighted):
                if not point.lower <= point.value <= point.upper:
                    found[number].append(DRIFT)
        return dict(found)

    @cached_property
    def rows(self) -> list[Row]:
        ranges = [None, *self.ranges]
        weighted = self.weighted or [None] * len(self.points)
        told = [tuple(self.signals.get(number, ())) for number in range(len(self.points))]
        return [Row(*each) for each in zip(self.points, self.values, ranges, weighted, told, strict=False)]

    @property
    def newest(self) -> list[Row]:
        return self.rows[-SHOWN:][::-1]

    @property
    def enough(self) -> bool:
        """For limits to be set."""
        return len(self.points) >= LEAST_POINTS

    @property
    def alarmed(self) -> bool:
        """The newest point breaks a rule."""
        return bool(self.points) and len(self.points) - 1 in self.signals

    def good_before(self, number: int) -> CheckPoint | None:
        """The last point before this one that breaks no rule."""
        good = [point for at, point in enumerate(self.points[:number]) if at not in self.signals]
        return good[-1] if good else None


def words_of(rule: str) -> str:
    """A rule in a sentence."""
    return "The weighted average lies beyond its limits." if rule == DRIFT else RULES[rule].words


def points_of(checks: Iterable[Check]) -> QuerySet[CheckPoint]:
    """The points that count, in order of their loads."""
    rows = CheckPoint.objects.filter(check_of__in=list(checks), voided_at=None)
    return rows.select_related("load", "by").prefetch_related("pairs").order_by("load__wash_started_at", "pk")


def series_of(checks: Iterable[Check]) -> dict[int, list[Series]]:
    """Each check's series by direction, in three queries however many checks."""
    checks = list(checks)
    points, baselines = defaultdict(list), {}
    for point in points_of(checks):
        points[point.check_of_id, point.direction].append(point)
    standing = Baseline.objects.filter(check_of__in=checks).select_related("first__load", "last__load", "by")
    for row in standing.order_by("at", "pk"):
        baselines[row.check_of_id, row.direction] = row
    return {
        check.pk: [
            Series(direction, points[check.pk, direction], baselines.get((check.pk, direction)))
            for direction in Direction.values
        ]
        for check in checks
    }


@dataclass(frozen=True)
class Standing:
    """A check on the overview: how it stands, and whether its fabric is due with the next load."""

    check: Check
    series: list[Series]
    loads_since: int
    hold: Hold | None
    now: datetime

    @property
    def last(self) -> CheckPoint | None:
        points = [each.points[-1] for each in self.series if each.points]
        return max(points, key=lambda point: (point.load.wash_started_at, point.pk), default=None)

    @property
    def due(self) -> bool:
        if self.last is None:
            return True
        late = self.check.every_days and self.now - self.last.load.wash_started_at >= timedelta(self.check.every_days)
        return bool(late or (self.check.every_loads and self.loads_since >= self.check.every_loads))

    @property
    def alarmed(self) -> bool:
        return any(each.alarmed for each in self.series)

    @property
    def without_limits(self) -> bool:
        return not any(each.baseline for each in self.series)

    @property
    def often(self) -> str:
        """How often the fabric runs, in words."""
        loads, days = self.check.every_loads, self.check.every_days
        told = [f"every {loads} load{'' if loads == 1 else 's'}"] if loads else []
        told += [f"every {days} day{'' if days == 1 else 's'}"] if days else []
        return " or ".join(told)


def overview(now: datetime) -> list[Standing]:
    """The checks that go on, those due first."""
    rows = _standings(Check.objects.filter(ended_at=None), now)
    return sorted(rows, key=lambda row: (not row.due, row.check.washer.name, row.check.pk))


def check_page(check: Check, now: datetime) -> Standing:
    return _standings(Check.objects.filter(pk=check.pk), now)[0]


def _standings(checks: QuerySet[Check], now: datetime) -> list[Standing]:
    """In six queries, however many checks."""
    points = CheckPoint.objects.filter(check_of=OuterRef("pk"), voided_at=None).order_by("-load__wash_started_at")
    last = Coalesce(Subquery(points.values("load__wash_started_at")[:1]), F("at"))
    later = Load.objects.filter(washer=OuterRef("washer"), procedure=OuterRef("procedure"), state=Load.State.WASHED)
    later = later.filter(wash_started_at__gt=OuterRef("last_at")).order_by().values("washer")
    since = Coalesce(Subquery(later.annotate(number=Count("pk")).values("number")), 0)
    rows = list(
        checks.select_related("fabric", "washer", "procedure", "by", "ended_by")
        .annotate(last_at=last)
        .annotate(loads_since=since)
    )
    series = series_of(rows)
    holds = {row.equipment_id: row for row in Hold.objects.filter(released_at=None)}
    return [Standing(row, series[row.pk], row.loads_since, holds.get(row.washer_id), now) for row in rows]


def washed_loads(check: Check, most: int = 40) -> list[Load]:
    """Loads that this check's fabric can have run with, the newest first."""
    rows = Load.objects.filter(washer=check.washer_id, procedure=check.procedure_id, state=Load.State.WASHED)
    return list(rows.order_by("-wash_started_at")[:most])
