"""The cloths and shirts of the demo: what they are, and how they will shrink. All invented."""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Cloth:
    """A sample and the change it will show: percent after cycles 1, 2, 3, along the length and along the width."""

    description: str
    construction: str
    fibre: str
    gsm: int
    colour: str
    length: tuple[str, ...]
    width: tuple[str, ...]
    limit: str = "3.0"
    size: str = ""  # of a garment

    @property
    def is_garment(self) -> bool:
        return bool(self.size)


def _cloth(words: str, gsm: int, length: str, width: str, limit: str = "3.0", size: str = "") -> Cloth:
    description, construction, fibre, colour = words.split(" | ")
    changes = tuple(length.split()), tuple(width.split())
    return Cloth(description, construction, fibre, gsm, colour, *changes, limit, size)


POPLIN = _cloth("Shirting poplin | woven | 100 % cotton | white", 118, "-1.4 -1.9 -2.1", "-0.8 -1.1 -1.2")
TWILL = _cloth("Work twill | woven | 65 % polyester, 35 % cotton | navy", 245, "-0.5 -0.7 -0.8", "-0.2 -0.3 -0.3")
LINEN = _cloth("Summer linen | woven | 100 % linen | unbleached", 165, "-2.2 -2.7 -2.9", "-1.0 -1.3 -1.5")
FLANNEL = _cloth("Brushed flannel | woven | 100 % cotton | red check", 170, "-2.9 -3.6 -3.9", "-1.9 -2.3 -2.4")
JERSEY = _cloth(
    "Single jersey | knit | 95 % cotton, 5 % elastane | grey", 180, "-4.2 -5.3 -5.8", "-1.6 -2.0 -2.3", "5.0"
)
RIB = _cloth("Rib for cuffs | knit | 100 % cotton | bottle green", 230, "-3.1 -3.6 -3.9", "1.2 1.6 1.9", "5.0")
SHIRT = _cloth("Shirt | woven | 100 % cotton | pale blue", 118, "-1.7 -2.2 -2.4", "-1.1 -1.5 -1.6", size="L")
CLOTHS = {cloth.description: cloth for cloth in (POPLIN, TWILL, LINEN, FLANNEL, JERSEY, RIB, SHIRT)}
# Where the shirts are measured, and how far it is there, in millimetres.
POINTS = {
    "body length, front": 760,
    "sleeve length": 625,
    "shoulder seam": 160,
    "chest width": 575,
    "sleeve opening": 125,
}

# How far each benchmark pair lies from the cloth's own change, in millimetres: cloth is never quite even.
UNEVEN = [Decimal(n) / 2 for n in (0, 1, -1, 1, 0, -1, -1, 0, 1, 0, 1, 0, -1, 1, -1, 0, 0, 1)]
