"""Where garments are measured: the places that the trade names, each with its direction.

The sentences are ours. No standard's own table of garment areas was seen.
"""

from dataclasses import dataclass

from apps.methods.catalogue.entries import Fact, H, L, M
from apps.methods.models import MeasuringPoint

Garment, Direction = MeasuringPoint.Garment, MeasuringPoint.Direction
LENGTH, WIDTH = Direction.LENGTH, Direction.WIDTH
TRADE = "a trade list of measuring places (garmentstech.com)"
IN_LIST = TRADE + "; direction and sentence: common practice, no source"
NO_SOURCE = "common practice, no source"


@dataclass(frozen=True)
class Point:
    garment: str
    number: int
    name: str
    direction: str
    left_and_right: bool
    sentence: str
    source: str
    confidence: str


BODY = "From the point where collar seam and shoulder seam meet, straight down to the hem, parallel to the middle."
CHEST = "One inch (25 mm) below the armhole, straight across from side seam to side seam."
SLEEVE = "Along the top edge of the sleeve, from the shoulder seam to the end of the sleeve."
OPENING = "Across the end of the sleeve, from fold to fold."
SHOULDER = "Along the shoulder seam, from the collar seam to the sleeve seam."
WAIST = "At the narrowest place, straight across from side seam to side seam."
BAND = "Along the middle of the closed waistband, from fold to fold."
HIP = "At the widest place, straight across from side seam to side seam."
HEM = "Along the lower edge, straight across from side seam to side seam."
INSEAM = "Along the inner leg seam, from the crotch seam to the lower edge."
OUTSEAM = "Along the outer leg seam, from the lower edge of the waistband to the lower edge of the leg."

# name, direction, on either side, sentence, source, how sure: in the order of the drawing's numbers
PLACES = {
    Garment.TOP: (
        ("collar", WIDTH, False, "Collar open and flat, along its upper edge from end to end.", IN_LIST, L),
        ("collar band", WIDTH, False, "Along the middle of the band, from button to buttonhole.", IN_LIST, L),
        ("body length, front", LENGTH, True, BODY, IN_LIST, M),
        (
            "body length, back",
            LENGTH,
            False,
            "From the middle of the collar seam straight down to the hem.",
            IN_LIST,
            L,
        ),
        ("sleeve length", LENGTH, True, SLEEVE, IN_LIST, M),
        ("shoulder seam", WIDTH, True, SHOULDER, IN_LIST, M),
        ("chest width", WIDTH, False, CHEST, IN_LIST, M),
        ("waist width", WIDTH, False, WAIST, IN_LIST, L),
        ("sleeve opening", WIDTH, True, OPENING, NO_SOURCE, M),
        ("cuff", WIDTH, True, "Cuff open and flat, along its middle from end to end.", IN_LIST, L),
    ),
    Garment.TROUSERS: (
        ("waistband", WIDTH, False, BAND, IN_LIST, M),
        ("seat", WIDTH, False, HIP, IN_LIST, L),
        ("front rise", LENGTH, False, "From the crotch seam up along the front seam to the upper edge.", IN_LIST, L),
        ("back rise", LENGTH, False, "From the crotch seam up along the back seam to the upper edge.", IN_LIST, L),
        ("inseam", LENGTH, True, INSEAM, IN_LIST, M),
        ("outseam", LENGTH, True, OUTSEAM, IN_LIST, L),
    ),
    Garment.SKIRT: (
        ("waistband", WIDTH, False, BAND, IN_LIST, M),
        ("hip", WIDTH, False, HIP, IN_LIST, L),
        ("length, front", LENGTH, False, "In the middle of the front, from the upper edge to the hem.", IN_LIST, L),
        ("length, back", LENGTH, False, "In the middle of the back, from the upper edge to the hem.", IN_LIST, L),
        ("hem", WIDTH, False, HEM, IN_LIST, L),
    ),
    Garment.DRESS: (
        ("bodice length", LENGTH, True, BODY.replace("the hem", "the waist seam"), IN_LIST, L),
        ("skirt length", LENGTH, False, "In the middle of the front, from the waist seam to the hem.", IN_LIST, L),
        ("sleeve length", LENGTH, True, SLEEVE, IN_LIST, M),
        ("shoulder seam", WIDTH, True, SHOULDER, IN_LIST, M),
        ("chest width", WIDTH, False, CHEST, IN_LIST, M),
        ("waist width", WIDTH, False, "Along the waist seam, from side seam to side seam.", IN_LIST, L),
        ("hip", WIDTH, False, HIP, IN_LIST, L),
        ("hem", WIDTH, False, HEM, IN_LIST, L),
    ),
    Garment.PYJAMA_TOP: (
        ("body length, front", LENGTH, True, BODY, IN_LIST, M),
        ("sleeve length", LENGTH, True, SLEEVE, IN_LIST, M),
        ("chest width", WIDTH, False, CHEST, IN_LIST, M),
        ("hem", WIDTH, False, HEM, IN_LIST, L),
    ),
    Garment.PYJAMA_BOTTOM: (
        ("waist width", WIDTH, False, "Along the upper edge, elastic at rest, from fold to fold.", IN_LIST, L),
        ("hip", WIDTH, False, HIP, IN_LIST, L),
        ("length", LENGTH, True, "Along the outer seam, from the upper to the lower edge.", IN_LIST, L),
        ("inseam", LENGTH, True, INSEAM, IN_LIST, M),
    ),
}
POINTS = tuple(
    Point(garment, number, *place) for garment, places in PLACES.items() for number, place in enumerate(places, 1)
)

GB_31907 = "GB/T 31907-2015, seen"
PRACTICE_OWNER = "points:garments"
PRACTICE = (
    Fact("laid", "flat, buttons, zips and hooks fastened", GB_31907, H),
    Fact("read to", "1 mm", GB_31907, H),
    Fact("light", "at least 600 lx", GB_31907, H),
    Fact("left and right", "kept apart; results are told point by point, never as one number a garment", NO_SOURCE, M),
)
