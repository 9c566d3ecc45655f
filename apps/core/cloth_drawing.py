"""A length of cloth with its specimens, drawn to scale: for the page and for paper alike."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from apps.core.drawing import Drawing, Line, Polyline, Rect, Shape, Text

WIDTH, HEIGHT = 460, 560
LEFT, TOP, RIGHT, LANE = 58, 30, 30, 13
MARGIN = Decimal("0.10")
STEEPEST = 2.2  # a length of more than so many widths is drawn shortened


@dataclass(frozen=True)
class Area:
    """A specimen in the cloth: mm from one selvedge and from the lower end, as long as wide."""

    name: str
    x: Decimal
    y: Decimal
    side: Decimal
    is_cut: bool = False


def is_shortened(width: Decimal, length: Decimal) -> bool:
    return float(length / width) > STEEPEST


def cloth(width: Decimal, length: Decimal, areas: Sequence[Area], *, title: str) -> Drawing:
    """Selvedges left and right, the length upwards, the margins dashed, each specimen with its name, and beside the
    cloth the bands of yarns that each carries. Cut ones are dashed; what lies outside the cloth is drawn outside."""
    wide = WIDTH - LEFT - RIGHT - _lanes(areas, "y") * LANE
    across = wide / float(width)
    along = across if not is_shortened(width, length) else wide * STEEPEST / float(length)
    if not is_shortened(width, length) and float(length) * along > HEIGHT:
        across = along = HEIGHT / float(length)
    wide, tall = float(width) * across, float(length) * along
    right, bottom = LEFT + wide, TOP + tall

    def x(mm: Decimal) -> float:
        return LEFT + float(mm) * across

    def y(mm: Decimal) -> float:
        return bottom - float(mm) * along

    beside, below = float(width * MARGIN) * across, float(length * MARGIN) * along
    shapes: list[Shape] = [
        Rect(LEFT, TOP, wide, tall, "cloth"),
        Rect(LEFT + beside, TOP + below, wide - 2 * beside, tall - 2 * below, "margin"),
        Line(LEFT, TOP, LEFT, bottom, "selvedge"),
        Line(right, TOP, right, bottom, "selvedge"),
        Text(LEFT + wide / 2, TOP - 10, f"{mm_text(width)} mm wide, selvedge to selvedge", "middle", "quiet"),
        *_arrow(bottom, tall),
    ]
    for area in areas:
        box = (x(area.x), y(area.y + area.side), float(area.side) * across, float(area.side) * along)
        shapes.append(Rect(*box, "taken" if area.is_cut else "cut"))
        middle = (box[0] + box[2] / 2, box[1] + box[3] / 2)
        shapes.append(Text(middle[0], middle[1] + 5, area.name, "middle", "name"))
    for area, lane in _in_lanes(areas, "x"):
        place = bottom + 9 + lane * LANE
        shapes.append(Line(x(area.x), place, x(area.x + area.side), place, "band-of-yarns"))
    for area, lane in _in_lanes(areas, "y"):
        place = right + 9 + lane * LANE
        shapes.append(Line(place, y(area.y), place, y(area.y + area.side), "band-of-yarns"))
    foot = bottom + 9 + _lanes(areas, "x") * LANE
    shapes.append(Text(LEFT, foot + 12, f"{mm_text(length)} mm long", "start", "quiet"))
    if is_shortened(width, length):
        shapes.append(Text(right, foot + 12, "length drawn shortened", "end", "quiet"))
    desc = "; ".join(
        f"{a.name} {'cut' if a.is_cut else 'to be cut'} at {mm_text(a.x)} mm, {mm_text(a.y)} mm" for a in areas
    )
    high = foot + 20
    return Drawing(
        round(right + RIGHT + _lanes(areas, "y") * LANE), round(high), tuple(shapes), title, desc, css="plan"
    )


def _arrow(bottom: float, tall: float) -> list[Shape]:
    """Along the length, beside the cloth."""
    x, top, low = LEFT - 22, bottom - tall * 0.72, bottom - tall * 0.3
    head = Polyline(((x - 6, top + 11), (x, top), (x + 6, top + 11)), "arrow")
    return [Line(x, low, x, top, "arrow"), head, Text(x, low + 18, "length", "middle", "name")]


def _in_lanes(areas: Sequence[Area], axis: str) -> list[tuple[Area, int]]:
    """Each with the first lane in which its band meets no other: bands in different lanes share yarns."""
    ends: list[Decimal] = []
    found = []
    for area in sorted(areas, key=lambda one: getattr(one, axis)):
        start = getattr(area, axis)
        lane = next((n for n, end in enumerate(ends) if end <= start), len(ends))
        ends[lane : lane + 1] = [start + area.side]
        found.append((area, lane))
    return found


def _lanes(areas: Sequence[Area], axis: str) -> int:
    return 1 + max((lane for _, lane in _in_lanes(areas, axis)), default=0)


def mm_text(value: Decimal) -> str:
    """Millimetres without idle zeros."""
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
