"""Drawings told as plain shapes, printed as SVG. Colours and strokes are classes of the stylesheet.

x runs to the right and y downwards, in the drawing's own unit.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import ceil, floor, log10

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from apps.calc.rounding import format_change

Number = int | float | Decimal
Point = tuple[Number, Number]


@dataclass(frozen=True)
class Line:
    x1: Number
    y1: Number
    x2: Number
    y2: Number
    css: str = ""


@dataclass(frozen=True)
class Rect:
    x: Number
    y: Number
    width: Number
    height: Number
    css: str = ""


@dataclass(frozen=True)
class Circle:
    x: Number
    y: Number
    r: Number
    css: str = ""


@dataclass(frozen=True)
class Polyline:
    points: tuple[Point, ...]
    css: str = ""


@dataclass(frozen=True)
class Text:
    """`anchor` is start, middle or end."""

    x: Number
    y: Number
    text: str
    anchor: str = "start"
    css: str = ""


Shape = Line | Rect | Circle | Polyline | Text


@dataclass(frozen=True)
class Drawing:
    """`title` names it for those who cannot see it, `desc` says what there is to see. `unit` is px or mm."""

    width: Number
    height: Number
    shapes: tuple[Shape, ...]
    title: str
    desc: str = ""
    unit: str = "px"
    css: str = ""


def plain(value: Number) -> str:
    """A coordinate with three decimals at most."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _element(shape: Shape) -> SafeString:
    match shape:
        case Line():
            numbers = {"x1": shape.x1, "y1": shape.y1, "x2": shape.x2, "y2": shape.y2}
            name, inner = "line", ""
        case Rect():
            numbers = {"x": shape.x, "y": shape.y, "width": shape.width, "height": shape.height}
            name, inner = "rect", ""
        case Circle():
            numbers = {"cx": shape.x, "cy": shape.y, "r": shape.r}
            name, inner = "circle", ""
        case Text():
            numbers = {"x": shape.x, "y": shape.y}
            name, inner = "text", shape.text
        case Polyline():
            points = " ".join(f"{plain(x)},{plain(y)}" for x, y in shape.points)
            return format_html('<polyline points="{}"{}/>', points, _attribute("class", shape.css))
    attributes = format_html_join("", ' {}="{}"', ((key, plain(value)) for key, value in numbers.items()))
    if isinstance(shape, Text) and shape.anchor != "start":
        attributes += format_html(' text-anchor="{}"', shape.anchor)
    return format_html("<{0}{1}{2}>{3}</{0}>", name, attributes, _attribute("class", shape.css), inner)


def _attribute(name: str, value: str) -> SafeString:
    return format_html(' {}="{}"', name, value) if value else SafeString("")


def to_svg(drawing: Drawing) -> SafeString:
    """Inline SVG without style attributes (they would be refused by the page's security policy)."""
    unit = "" if drawing.unit == "px" else drawing.unit
    return format_html(
        '<svg class="{}" role="img" viewBox="0 0 {} {}" width="{}" height="{}"><title>{}</title>{}{}</svg>',
        f"drawing {drawing.css}".strip(),
        plain(drawing.width),
        plain(drawing.height),
        f"{plain(drawing.width)}{unit}",
        f"{plain(drawing.height)}{unit}",
        drawing.title,
        format_html("<desc>{}</desc>", drawing.desc) if drawing.desc else "",
        format_html_join("", "{}", ((_element(shape),) for shape in drawing.shapes)),
    )


# The curve over the cycles: small enough that its words are read at phone width

WIDTH, HEIGHT = 460, 300
LEFT, RIGHT, TOP, BOTTOM = 50, 66, 32, 46
LABEL_GAP = 16


def ticks(low: float, high: float, count: int = 5) -> list[Decimal]:
    """Round numbers (1, 2 or 5 times a power of ten apart) from at or below `low` to at or above `high`."""
    raw = (high - low) / count
    power = floor(log10(raw))
    step = next(Decimal(m).scaleb(power) for m in (1, 2, 5, 10) if m * 10.0**power >= raw * 0.999)
    first, last = floor(Decimal(str(low)) / step), ceil(Decimal(str(high)) / step)
    return [step * number for number in range(first, last + 1)]


def spread_labels(places: Sequence[float], gap: float = LABEL_GAP) -> list[float]:
    """Places moved down as little as keeps labels `gap` apart; in the order given."""
    result = list(places)
    last = float("-inf")
    for index in sorted(range(len(places)), key=lambda i: places[i]):
        last = result[index] = max(places[index], last + gap)
    return result


def curve(
    points: Mapping[str, Sequence[tuple[int, Decimal]]],
    limits: Sequence[tuple[str, Decimal]] = (),
    *,
    title: str = "Change in percent over the cycles",
) -> Drawing:
    """Percent change over the wash cycles: one line a direction, named at its end; limits as dashed lines.

    `points`: "length" -> [(1, Decimal("-2.1")), ...], rounded as reported; every line starts at cycle 0 with no change.
    `limits`: ("lower limit", Decimal("-3.0")); those of one value share a line. The table beside it is the caller's.
    """
    lines = {name: [(0, Decimal(0)), *sorted(row)] for name, row in points.items()}
    shared: dict[Decimal, list[str]] = {}
    for name, value in limits:
        shared.setdefault(value, []).append(name)
    values = [value for row in lines.values() for _, value in row] + list(shared)
    marks = ticks(float(min([Decimal(-1), *values])), float(max([Decimal(1), *values])))
    cycles = max([1, *(cycle for row in lines.values() for cycle, _ in row)])

    def x(cycle: int) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * cycle / cycles

    def y(value: Decimal) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * float((marks[-1] - value) / (marks[-1] - marks[0]))

    shapes: list[Shape] = [Text(0, 12, "change, %", "start", "quiet")]
    for mark in marks:
        shapes.append(Line(LEFT, y(mark), WIDTH - RIGHT, y(mark), "axis" if mark == 0 else "thread"))
        shapes.append(Text(LEFT - 8, y(mark) + 5, format_change(mark), "end"))
    shapes += [Text(x(cycle), HEIGHT - BOTTOM + 21, str(cycle), "middle") for cycle in _cycle_marks(cycles)]
    shapes.append(Text(x(0), HEIGHT - 6, "wash cycles", "start", "quiet"))
    shapes += [Line(LEFT, y(value), WIDTH - RIGHT, y(value), "limit") for value in shared]
    for number, row in enumerate(lines.values()):
        css = f"series series-{number % 2 + 1}"
        shapes.append(Polyline(tuple((x(cycle), y(value)) for cycle, value in row), css))
        shapes += [_marker(number, x(cycle), y(value), css) for cycle, value in row]
    shapes += _limit_names(shared, y, lowest=marks[0])
    ends = spread_labels([y(row[-1][1]) for row in lines.values()])
    for number, (name, end) in enumerate(zip(lines, ends, strict=True)):
        shapes.append(Text(WIDTH - RIGHT + 10, end + 5, name, "start", f"name series-{number % 2 + 1}"))
    desc = "; ".join(
        f"{name}: " + ", ".join(f"cycle {cycle} {format_change(value)} %" for cycle, value in row[1:])
        for name, row in lines.items()
    )
    return Drawing(WIDTH, HEIGHT, tuple(shapes), title, desc, css="curve")


def _limit_names(limits: Mapping[Decimal, Sequence[str]], y: Callable[[Decimal], float], lowest: Decimal) -> list[Text]:
    """The names of the limits: neighbours on opposite sides, and what still comes close is moved apart.

    Below a limit on shrinkage and above one on growth, where the lines seldom run. On the lowest line of all the name
    stands above it: the cycles' numbers are right below.
    """
    texts = []
    for side, (x, anchor) in enumerate(((LEFT + 6, "start"), (WIDTH - RIGHT - 6, "end"))):
        values = sorted(limits)[side::2]
        places = [y(value) + (16 if value < 0 and value != lowest else -6) for value in values]
        for value, place in zip(values, spread_labels(places), strict=True):
            words = f"{' · '.join(dict.fromkeys(limits[value]))} {format_change(_short(value))}"
            texts.append(Text(x, place, words, anchor, "quiet"))
    return texts


def _short(value: Decimal) -> Decimal:
    """One decimal where it says all."""
    tenth = value.quantize(Decimal("0.1"))
    return tenth if tenth == value else value


def _cycle_marks(cycles: int) -> list[int]:
    """Every cycle up to ten; beyond that, so many that the figures do not touch."""
    step = next(step for step in (1, 2, 5, 10, 20, 50, cycles) if cycles <= step * 10)
    return list(range(0, cycles + 1, step))


def _marker(number: int, x: float, y: float, css: str) -> Shape:
    """Lines differ by the form of their marks, not by colour alone."""
    return Rect(x - 4, y - 4, 8, 8, css) if number % 2 else Circle(x, y, 4.5, css)
