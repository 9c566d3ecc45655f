"""A series drawn: single values, moving ranges, the weighted average; each with its limits."""

from collections.abc import Sequence
from decimal import Decimal

from apps.calc.rounding import format_change, round_to
from apps.control.queries.checks import HUNDREDTH, SHOWN, Series
from apps.core.drawing import Circle, Drawing, Line, Polyline, Shape, Text, ticks

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 460, 210, 48, 52, 26, 34


def charts(series: Series) -> list[Drawing]:
    """Three charts when limits stand; else the values alone."""
    first = max(0, len(series.points) - SHOWN)
    loads = [point.load_id for point in series.points][first:]
    signals = {number - first for number in series.signals if number >= first}
    values = series.values[first:]
    if not values:
        return []
    line, name = series.baseline, f"Change in {series.name}, %"
    if line is None:
        return [_chart(f"{name}: no limits yet", loads, values, set())]
    flat = len(values)
    ranges = series.ranges[max(0, first - 1) :]
    top = series.range_limit
    weighted = series.weighted[first:]
    out = {number for number, point in enumerate(weighted) if not point.lower <= point.value <= point.upper}
    return [
        _chart(name, loads, values, signals, line.center, [line.lower] * flat, [line.upper] * flat),
        _chart(
            "Moving range, %",
            loads[-len(ranges) :] if ranges else [],
            ranges,
            {number for number, value in enumerate(ranges) if value > top},
            line.mr_bar,
            [],
            [top] * len(ranges),
        ),
        _chart(
            "Weighted average, %",
            loads,
            [point.value for point in weighted],
            out,
            line.center,
            [point.lower for point in weighted],
            [point.upper for point in weighted],
        ),
    ]


def _chart(
    title: str,
    loads: Sequence[int],
    values: Sequence[Decimal],
    marked: set[int],
    center: Decimal | None = None,
    lower: Sequence[Decimal] = (),
    upper: Sequence[Decimal] = (),
) -> Drawing:
    every = [*values, *lower, *upper, *([center] if center is not None else [])]
    low, high = (min(every), max(every)) if every else (Decimal(0), Decimal(1))
    room = (high - low) / 10 or Decimal("0.1")
    foot = low - room if low < 0 or low > room else Decimal(0)  # a range is never under nothing
    marks = ticks(float(foot), float(high + room), 4)

    def x(number: int) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (number + 0.5) / max(len(values), 1)

    def y(value: Decimal) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * float((marks[-1] - value) / (marks[-1] - marks[0]))

    right = WIDTH - RIGHT
    shapes: list[Shape] = [Text(0, 12, title, "start", "quiet")]
    for mark in marks:
        shapes += [Line(LEFT, y(mark), right, y(mark), "thread"), Text(LEFT - 6, y(mark) + 5, _axis(mark), "end")]
    if center is not None:
        shapes += [Line(LEFT, y(center), right, y(center), "axis"), Text(right + 6, y(center) + 5, _figure(center))]
    for limits in (lower, upper):
        if limits:
            shapes.append(Polyline(tuple((x(number), y(value)) for number, value in enumerate(limits)), "limit"))
            shapes.append(Text(right + 6, y(limits[-1]) + 5, _figure(limits[-1]), "start", "quiet"))
    shapes.append(Polyline(tuple((x(number), y(value)) for number, value in enumerate(values)), "series series-1"))
    for number, value in enumerate(values):
        shapes.append(Circle(x(number), y(value), 3, "series series-1"))
        if number in marked:  # told by its form, not by a colour
            shapes.append(Circle(x(number), y(value), 7, "signal"))
    step = max(1, len(loads) // 8)
    shapes += [Text(x(n), HEIGHT - 14, str(load), "middle") for n, load in enumerate(loads) if n % step == 0]
    shapes.append(Text((LEFT + right) / 2, HEIGHT - 1, "load", "middle", "quiet"))
    told = f"{len(values)} values, {len(marked)} of them marked; the table beside has them all."
    return Drawing(WIDTH, HEIGHT, tuple(shapes), title, told, css="check")


def _axis(mark: Decimal) -> str:
    return format(mark.normalize(), "f").replace("-", "\N{MINUS SIGN}")


def _figure(value: Decimal) -> str:
    return format_change(round_to(value, HUNDREDTH)).lstrip("+")
