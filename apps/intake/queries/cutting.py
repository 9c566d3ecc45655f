"""The cutting plan of a sample: what is cut and where, and where the rest is to be cut."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import combinations

from django.db.models import Prefetch

from apps.calc.errors import CalcError
from apps.calc.layout import MOST_CUTS, Cut, CuttingPlan, Rect, plan_cutting, shared_yarns
from apps.core.cloth_drawing import Area, cloth
from apps.core.cloth_drawing import mm_text as short
from apps.core.drawing import Drawing
from apps.core.jsontext import canonical, sha256
from apps.intake.models import CutPlan, Request, Sample, Specimen, Spot

MARGIN = Decimal("0.10")
PATTERNS = {
    "diagonal": "diagonal",
    "ell": "in an L",
    "row": "in a row or a block",
    "reduced": "reduced",
    "none": "no room",
}

# The lab's own words, common practice, no source; machine manuals and site rules go before them.
AT_THE_CUTTER = (
    "Cut away from the hand, close the blade when it is put down, and keep the guard on an electric cutter.",
    "Look for pins, needles and staples before the blade meets them.",
)
INSTRUCTIONS = (
    "Lay the cloth flat, face up, without pulling and with nothing hanging over the table's edge; "
    "let it lie until creases and tension are gone.",
    "Measure from the left selvedge and from the lower end, as the plan gives it.",
    "Before cutting, draw the arrow of the length direction on each specimen and write its code beside it.",
    "Cut along the yarns. Leave out distorted, stained and creased places.",
)
OF_KNITS = "A tubular knit is slit along one wale and laid open first; the width is then that of the open cloth."


def cutting_instructions(sample: Sample) -> list[str]:
    """What the cutter does, in the order of the work."""
    knit = sample.construction == Sample.Construction.KNIT
    return [*([OF_KNITS] if knit else []), *INSTRUCTIONS]


@dataclass(frozen=True)
class Piece:
    """One specimen in the cloth, in mm from one selvedge and from the lower end."""

    number: int
    name: str
    x: Decimal
    y: Decimal
    side: Decimal
    is_cut: bool = False
    trouble: str = ""

    @property
    def lengthwise(self) -> str:
        """The band across the width whose lengthwise yarns it carries."""
        return f"{short(self.x)}–{short(self.x + self.side)}"

    @property
    def widthwise(self) -> str:
        return f"{short(self.y)}–{short(self.y + self.side)}"

    @property
    def rect(self) -> Rect:
        return Rect(self.x, self.y, self.side, self.side)


@dataclass
class CuttingWay:
    """One way of testing on the plan: `numbers` are those its specimens have or will have."""

    request: Request
    numbers: list[int]
    pieces: list[Piece] = field(default_factory=list)
    pattern: str = ""
    reason: str = ""
    is_cut: bool = False
    unplaced: list[str] = field(default_factory=list)
    trouble: str = ""

    @property
    def pattern_told(self) -> str:
        return PATTERNS.get(self.pattern, "")

    @property
    def is_cancelled(self) -> bool:
        """Called off before it was cut: it takes no place and no number."""
        return not self.is_cut and hasattr(self.request, "cancellation")

    @property
    def fits(self) -> bool:
        """Whether every specimen asked for has its place."""
        return len(self.pieces) == len(self.numbers)

    @property
    def mark(self) -> str:
        """What this way's plan was when a page showed it; another plan has another mark."""
        places = [[piece.name, piece.x, piece.y, piece.side] for piece in self.pieces]
        return sha256(canonical([places, self.numbers]))[:16]


@dataclass
class SamplePlan:
    """All requests of a sample on one plan. Without a known size, and for garments, there is none."""

    sample: Sample
    ways: list[CuttingWay]

    @property
    def is_garment(self) -> bool:
        return self.sample.kind == Sample.Kind.GARMENT

    @property
    def is_known(self) -> bool:
        """Whether width and length are known."""
        return bool(self.sample.width_mm and self.sample.length_mm)

    @property
    def is_drawn(self) -> bool:
        return self.is_known and not self.is_garment

    @property
    def pieces(self) -> list[Piece]:
        return [piece for way in self.ways for piece in way.pieces]

    @property
    def unplaced(self) -> list[str]:
        return [name for way in self.ways for name in way.unplaced]

    @property
    def troubles(self) -> list[str]:
        """What a correction of the size did to pieces that are cut already."""
        return [piece.trouble for piece in self.pieces if piece.trouble]

    def way(self, request_id: int) -> CuttingWay:
        return next(way for way in self.ways if way.request.pk == request_id)

    def drawing(self) -> Drawing | None:
        if not self.is_drawn:
            return None
        areas = [Area(piece.name, piece.x, piece.y, piece.side, piece.is_cut) for piece in self.pieces]
        return cloth(self.sample.width_mm, self.sample.length_mm, areas, title=f"Cutting plan of {self.sample.code}")


def plan_of(sample: Sample, *, counts: Mapping[int, int] | None = None) -> SamplePlan:
    """The plan of a sample as it stands now, in three queries. `counts`: request -> specimens, other than its method's.

    What is cut lies where it was cut. What is not cut yet is planned request by request around all that is cut and
    all that is planned before it.
    """
    specimens = Specimen.objects.select_related("spot").order_by("number")
    requests = list(
        Request.objects.filter(sample=sample)
        .select_related("method", "cut_plan", "cancellation")
        .prefetch_related(Prefetch("specimens", specimens))
        .order_by("ordinal")
    )
    ways = [CuttingWay(request, numbers) for request, numbers in _numbered(requests, counts or {})]
    plan = SamplePlan(sample, ways)
    for way in ways:
        if way.request.specimens.all():
            _place_cut(way, plan)
    if plan.is_drawn:
        to_cut = [way for way in ways if way.numbers and not way.is_cut and way.request.lock == Request.Lock.OPEN]
        cut = [piece.rect for piece in plan.pieces]
        taken = list(cut)
        for way in to_cut:
            _place_new(way, plan, taken)
            taken += [piece.rect for piece in way.pieces]
        if not all(way.fits for way in to_cut):
            _place_together(to_cut, plan, cut)
    return plan


def _numbered(requests: list[Request], counts: Mapping[int, int]) -> Iterable[tuple[Request, list[int]]]:
    """Specimens are numbered through a sample, in the order of its requests; numbers once given out stay."""
    given = {specimen.number for request in requests for specimen in request.specimens.all()}
    free = (number for number in range(1, 1000) if number not in given)
    for request in requests:
        cut = [specimen.number for specimen in request.specimens.all()]
        wanted = 0 if hasattr(request, "cancellation") else counts.get(request.pk, request.method.specimens)
        yield request, cut or [next(free) for _ in range(wanted)]


def _place_cut(way: CuttingWay, plan: SamplePlan) -> None:
    way.is_cut = True
    kept: CutPlan | None = getattr(way.request, "cut_plan", None)
    if kept:
        way.pattern, way.reason = kept.pattern, kept.reason
    for specimen in way.request.specimens.all():
        spot: Spot | None = getattr(specimen, "spot", None)
        if spot is None or kept is None:
            way.unplaced.append(specimen.short_code)
            continue
        piece = Piece(specimen.number, specimen.short_code, spot.x_mm, spot.y_mm, kept.side_mm, is_cut=True)
        trouble = _outside(piece, plan.sample) if plan.is_drawn else ""
        way.pieces.append(Piece(**{**vars(piece), "trouble": trouble}))


def _outside(piece: Piece, sample: Sample) -> str:
    """A sentence when the sample, as it is measured now, no longer holds a piece that was cut from it."""
    right, top = piece.x + piece.side, piece.y + piece.side
    width, length = sample.width_mm, sample.length_mm
    where = f"{piece.name} was cut at {piece.lengthwise} mm of the width and {piece.widthwise} mm of the length"
    if right > width or top > length:
        size = f"{short(width)} × {short(length)} mm"
        return f"{where}: outside the cloth, which is {size} by now. Check which size is right; the piece stays."
    inside = MARGIN * width <= piece.x and right <= width * (1 - MARGIN)
    if not (inside and MARGIN * length <= piece.y and top <= length * (1 - MARGIN)):
        return f"{where}: by the size as corrected it reaches into the margin."
    return ""


def _place_new(way: CuttingWay, plan: SamplePlan, taken: list[Rect]) -> None:
    side = way.request.method.specimen_side_mm
    if side is None:
        return
    try:
        found: CuttingPlan = plan_cutting(
            plan.sample.width_mm, plan.sample.length_mm, side, len(way.numbers), MARGIN, MARGIN, taken
        )
    except CalcError as error:
        way.trouble = str(error)
        return
    _take(way, plan, found.cuts, found.pattern, found.reason)


def _take(way: CuttingWay, plan: SamplePlan, cuts: Sequence[Cut], pattern: str, reason: str) -> None:
    names = [f"{plan.sample.letter}{number}" for number in way.numbers]
    way.pattern = pattern
    way.reason = re.sub(r"(\d+) and (\d+)", lambda at: " and ".join(names[int(n) - 1] for n in at.groups()), reason)
    way.pieces = [
        Piece(number, name, cut.x, cut.y, cut.side) for number, name, cut in zip(way.numbers, names, cuts, strict=False)
    ]


def _place_together(ways: list[CuttingWay], plan: SamplePlan, cut: list[Rect]) -> None:
    """One after the other they do not all find room; laid out together they may, the yarns shared as little as can be.

    Only for specimens of one size, and as many as one layout takes; else what was found stays.
    """
    sides = {way.request.method.specimen_side_mm for way in ways}
    wanted = sum(len(way.numbers) for way in ways)
    if len(ways) < 2 or len(sides) > 1 or None in sides or wanted > MOST_CUTS or any(way.trouble for way in ways):
        return
    size = (plan.sample.width_mm, plan.sample.length_mm)
    free = plan_cutting(*size, sides.pop(), wanted, MARGIN, MARGIN, cut).cuts
    if len(free) < wanted:
        return
    for way in ways:
        chosen = min(combinations(free, len(way.numbers)), key=_shared)
        free = [one for one in free if one not in chosen]
        shared = _shared(chosen)
        told = f"All ways together fill the cloth, so these cuts lie where there is room: {shared_yarns(list(chosen))}."
        _take(way, plan, chosen, "row" if shared else "diagonal", told)


def _shared(cuts: Sequence[Cut]) -> int:
    """How many pairs of cuts share a lengthwise or a widthwise yarn."""
    return sum(abs(a.x - b.x) < a.side or abs(a.y - b.y) < a.side for a, b in combinations(cuts, 2))
