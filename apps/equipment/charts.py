"""The air of a room drawn over time: temperature above, humidity below, each with its tolerance band."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from apps.calc.conditioning import AirReading, Atmosphere
from apps.core.drawing import Circle, Drawing, Line, Polyline, Rect, Shape, Text, ticks
from apps.equipment.air import HUMIDITY, TEMPERATURE, Gap, figure_of, limits
from apps.equipment.figures import plain

WIDTH, LEFT, RIGHT, TOP = 430, 36, 42, 30
PANEL, BETWEEN, BOTTOM = 118, 44, 26
COLUMNS = (WIDTH - LEFT - RIGHT) // 2  # more points than this cannot be told apart
NAMES = {TEMPERATURE: "temperature, °C", HUMIDITY: "relative humidity, %"}


@dataclass(frozen=True)
class Mark:
    """A word under the time line, at a moment; `line`: where an upright line divides the days or hours."""

    at: datetime
    text: str
    line: bool = True


@dataclass(frozen=True)
class Scale:
    since: datetime
    until: datetime
    marks: Sequence[Decimal]
    top: float

    def x(self, at: datetime) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ((at - self.since) / (self.until - self.since))

    def y(self, value: Decimal) -> float:
        low, high = self.marks[0], self.marks[-1]
        return self.top + PANEL * float((high - value) / (high - low))


def air_chart(
    readings: Sequence[AirReading],
    band: Atmosphere,
    *,
    since: datetime,
    until: datetime,
    longest: timedelta,
    gaps: Sequence[Gap],
    marks: Sequence[Mark],
    title: str,
    desc: str,
) -> Drawing:
    """`readings` from old to new; `gaps` are hatched; what is outside the band is drawn thick over the line."""
    shapes: list[Shape] = []
    for number, quantity in enumerate(NAMES):
        top = TOP + number * (PANEL + BETWEEN)
        points = [(each.at, figure_of(each, quantity)) for each in readings]
        low, high = limits(band, quantity)
        values = [low, high, *(figure for _, figure in points)]
        room = (max(values) - min(values)) / 8
        scale = Scale(since, until, ticks(float(min(values) - room), float(max(values) + room), 4), top)
        shapes += _frame(scale, quantity, low, high, gaps, marks)
        for stretch in _stretches(points, longest):
            shapes += _line(stretch, scale, low, high, number)
    height = TOP + 2 * PANEL + BETWEEN + BOTTOM
    shapes += [Text(scale.x(mark.at), height - 6, mark.text, "middle") for mark in marks if mark.text]
    return Drawing(WIDTH, height, tuple(shapes), title, desc, css="air")


def _frame(
    scale: Scale, quantity: str, low: Decimal, high: Decimal, gaps: Sequence[Gap], marks: Sequence[Mark]
) -> Iterator[Shape]:
    right = WIDTH - RIGHT
    yield Text(0, scale.top - 12, NAMES[quantity], "start", "quiet")
    yield Rect(LEFT, scale.y(high), right - LEFT, scale.y(low) - scale.y(high), "band")
    for mark in scale.marks:
        yield Line(LEFT, scale.y(mark), right, scale.y(mark), "thread")
        yield Text(LEFT - 6, scale.y(mark) + 5, format(mark.normalize(), "f"), "end")
    for mark in marks:
        if mark.line:
            yield Line(scale.x(mark.at), scale.top, scale.x(mark.at), scale.top + PANEL, "thread")
    for limit in (low, high):
        yield Line(LEFT, scale.y(limit), right, scale.y(limit), "limit")
        yield Text(right + 6, scale.y(limit) + 5, plain(limit), "start", "quiet")
    for gap in gaps:
        left = scale.x(max(gap.since, scale.since))
        width = scale.x(min(gap.until, scale.until)) - left
        yield Rect(left, scale.top, width, PANEL, "pause")
        if width > 80:
            yield Text(left + width / 2, scale.top + PANEL / 2 + 5, "no readings", "middle", "quiet")


Point = tuple[datetime, Decimal]


def _stretches(points: Sequence[Point], longest: timedelta) -> Iterator[list[Point]]:
    """Parts of the line between gaps."""
    stretch: list[Point] = []
    for point in points:
        if stretch and point[0] - stretch[-1][0] > longest:
            yield stretch
            stretch = []
        stretch.append(point)
    if stretch:
        yield stretch


def _line(stretch: Sequence[Point], scale: Scale, low: Decimal, high: Decimal, number: int) -> Iterator[Shape]:
    series = f"series series-{number + 1}"
    thin = _thinned(stretch, scale)
    yield Polyline(tuple((scale.x(at), scale.y(value)) for at, value in thin), series)
    if len(thin) == 1:
        yield Circle(scale.x(thin[0][0]), scale.y(thin[0][1]), 3, series)
    for outside in _outside(thin, low, high):
        yield Polyline(tuple((scale.x(at), scale.y(value)) for at, value in outside), "out")
        above = outside[0][1] > high
        worst = (max if above else min)(outside, key=lambda point: point[1])
        # A triangle that points away from the band: told by its form, not by its colour.
        x, y, tip = scale.x(worst[0]), scale.y(worst[1]), -9 if above else 9
        yield Polyline(((x - 5, y), (x, y + tip), (x + 5, y), (x - 5, y)), "out out-mark")


def _outside(points: Sequence[Point], low: Decimal, high: Decimal) -> Iterator[list[Point]]:
    run: list[Point] = []
    for at, value in points:
        side = (value > high) - (value < low)
        if run and (not side or (run[-1][1] > high) != (side > 0)):
            yield run
            run = []
        if side:
            run.append((at, value))
    if run:
        yield run


def _thinned(points: Sequence[Point], scale: Scale) -> list[Point]:
    """Where many readings fall on one dot, the lowest and the highest of them: no peak is lost."""
    if len(points) <= COLUMNS:
        return list(points)
    columns: dict[int, list[Point]] = {}
    for point in points:
        columns.setdefault(int(scale.x(point[0]) / 2), []).append(point)
    kept: list[Point] = []
    for column in columns.values():
        ends = {min(column, key=lambda point: point[1]), max(column, key=lambda point: point[1])}
        kept += sorted(ends)
    return kept
