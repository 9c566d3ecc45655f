"""Plain outlines of garments, our own, with the catalogue's measuring points on them by number.

For the eye only: nothing is to scale. A line is (x1, y1, x2, y2) in the drawing's unit, on one side of the wearer.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from apps.core.drawing import Circle, Drawing, Line, Polyline, Shape, Text
from apps.methods.models import MeasuringPoint

Garment = MeasuringPoint.Garment
Path = tuple[tuple[int, int], ...]
Span = tuple[int, int, int, int]
WIDTH, HEIGHT = 320, 350

NECK: Path = ((130, 30), (138, 44), (160, 50), (182, 44), (190, 30))
COLLAR: Path = ((130, 30), (136, 16), (184, 16), (190, 30))
SHORT_SLEEVES: Path = (
    *((190, 30), (228, 44), (284, 104), (256, 126), (224, 100)),
    *((224, 306), (96, 306), (96, 100), (64, 126), (36, 104), (92, 44), (130, 30)),
)
LONG_SLEEVES: Path = (
    *((190, 30), (228, 44), (306, 236), (280, 248), (224, 108)),
    *((224, 306), (96, 306), (96, 108), (40, 248), (14, 236), (92, 44), (130, 30)),
)
TROUSERS: Path = (
    *((100, 28), (220, 28), (232, 120), (244, 330), (192, 330), (160, 150)),
    *((128, 330), (76, 330), (88, 120), (100, 28)),
)
BAND: Path = ((98, 44), (222, 44))
SKIRT: Path = ((118, 30), (202, 30), (226, 110), (256, 318), (64, 318), (94, 110), (118, 30))
SKIRT_BAND: Path = ((115, 44), (205, 44))
DRESS: Path = (
    *((190, 30), (228, 44), (270, 92), (246, 112), (222, 92)),
    *((212, 160), (266, 326), (54, 326), (108, 160)),
    *((98, 92), (74, 112), (50, 92), (92, 44), (130, 30)),
)
DRESS_WAIST: Path = ((108, 160), (212, 160))


@dataclass(frozen=True)
class Outline:
    name: str
    paths: tuple[Path, ...]
    points: dict[str, Span]


TOP_POINTS: dict[str, Span] = {
    "collar": (136, 16, 184, 16),
    "collar band": (130, 30, 190, 30),
    "body length, front": (128, 32, 128, 306),
    "body length, back": (166, 50, 166, 306),
    "shoulder seam": (130, 30, 92, 44),
    "chest width": (96, 128, 224, 128),
    "waist width": (96, 210, 224, 210),
    "hem": (96, 298, 224, 298),
}
SHORT = Outline(
    "top",
    (NECK, COLLAR, SHORT_SLEEVES),
    {**TOP_POINTS, "sleeve length": (228, 44, 284, 104), "sleeve opening": (284, 104, 256, 126)},
)
LONG = Outline(
    "long-sleeve top",
    (NECK, COLLAR, LONG_SLEEVES),
    {
        **TOP_POINTS,
        "sleeve length": (228, 44, 306, 236),
        "sleeve opening": (306, 236, 280, 248),
        "cuff": (43, 240, 17, 228),
    },
)
LEGS = Outline(
    "trousers",
    (TROUSERS, BAND),
    {
        "waistband": (100, 36, 220, 36),
        "waist width": (100, 36, 220, 36),
        "seat": (88, 116, 232, 116),
        "hip": (88, 116, 232, 116),
        "front rise": (152, 28, 160, 150),
        "back rise": (176, 28, 160, 150),
        "inseam": (160, 150, 192, 330),
        "outseam": (222, 44, 244, 330),
        "length": (222, 44, 244, 330),
    },
)
SKIRTS = Outline(
    "skirt",
    (SKIRT, SKIRT_BAND),
    {
        "waistband": (117, 37, 203, 37),
        "hip": (94, 110, 226, 110),
        "length, front": (148, 30, 148, 318),
        "length, back": (178, 30, 178, 318),
        "hem": (65, 310, 255, 310),
    },
)
DRESSES = Outline(
    "dress",
    (NECK, DRESS, DRESS_WAIST),
    {
        "bodice length": (128, 32, 128, 160),
        "skirt length": (160, 160, 160, 326),
        "sleeve length": (228, 44, 270, 92),
        "shoulder seam": (130, 30, 92, 44),
        "chest width": (99, 104, 221, 104),
        "waist width": (108, 160, 212, 160),
        "hip": (90, 216, 230, 216),
        "hem": (57, 318, 263, 318),
    },
)
OF_KIND = {
    Garment.TOP: SHORT,
    Garment.PYJAMA_TOP: LONG,
    Garment.TROUSERS: LEGS,
    Garment.PYJAMA_BOTTOM: LEGS,
    Garment.SKIRT: SKIRTS,
    Garment.DRESS: DRESSES,
}


def outline_of(points: Sequence[MeasuringPoint]) -> Outline:
    """Cuffs are on long sleeves only."""
    kind = Garment(points[0].garment)
    return LONG if kind == Garment.TOP and any(point.name == "cuff" for point in points) else OF_KIND[kind]


def drawing_of(points: Sequence[MeasuringPoint]) -> Drawing | None:
    """The garment with these points, all of one kind of garment, each with its number of the catalogue."""
    if not points:
        return None
    outline = outline_of(points)
    shapes: list[Shape] = [Polyline(path, "cut") for path in outline.paths]
    spots: list[tuple[float, float]] = []
    for point in points:
        if (span := outline.points.get(point.name)) is None:
            continue
        x1, y1, x2, y2 = span
        shapes.append(Line(x1, y1, x2, y2, "series series-1"))
        spots.append(_free_spot(span, spots))
        x, y = spots[-1]
        shapes += [Circle(x, y, 10, "label"), Text(x, y + 5, str(point.number), "middle", "name")]
    told = "; ".join(f"{point.number} {point.name}" for point in points)
    return Drawing(WIDTH, HEIGHT, tuple(shapes), f"Where a {outline.name} is measured", told, css="garment")


def _free_spot(span: Span, taken: list[tuple[float, float]]) -> tuple[float, float]:
    """A place on the line for its number, clear of the numbers that are there."""
    x1, y1, x2, y2 = span
    places = [(x1 + (x2 - x1) * share / 12, y1 + (y2 - y1) * share / 12) for share in (6, 4, 8, 3, 9, 2, 10, 1, 11)]
    free = (spot for spot in places if all(abs(spot[0] - x) + abs(spot[1] - y) >= 24 for x, y in taken))
    return next(free, places[0])
