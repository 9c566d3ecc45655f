"""AATCC TM150, garments. Of the editions before 2018 only their first pages or a summary were seen."""

from decimal import Decimal

from apps.methods.catalogue.entries import MEMORY, Entry, Fact, H, L, M, entry, unknown
from apps.methods.catalogue.tm135 import CHANGE, EMPTY_NUMBERS, MONOGRAPH, PRECISION, TIE, TRAINING
from apps.methods.models import AppliesTo, Averaging, Family

SUMMARY = "AATCC TM150-2003, a summary"
FRONT_PART = "AATCC TM150-2005, its front part"
SCOPE = "the scope page of AATCC TM150-{}"
STORE = "AATCC TM150-2018, the store's page"
AS_TM135 = "as in TM135-2018 clause {}; not seen in TM150"
STRETCH = "garments of certain stretch fabrics"
BEFORE_2018 = "on designated areas of the garment; or on unseamed fabric areas"
CHOICES = ("choices in the wash table", "4 wash temperatures, 3 cycles, 2 rinse temperatures, 4 dryings")

OF_2018 = (
    Fact("specimens", "3 garments", "AATCC TM150-2003 and -2005; not seen in this edition", M, "specimens"),
    Fact(
        *("distance of the marks", "250 mm, or 460 mm where the panel allows", TRAINING + "; " + MEMORY, M),
        "benchmark_mm",
    ),
    Fact(
        *("pairs in each direction", "3", "carried over from TM135; the garment's areas decide", L),
        "pairs_per_direction",
    ),
    Fact("where the marks lie", "on unseamed areas; or between or along seams", STORE, H),
    Fact("not for", STRETCH, STORE, H),
    Fact("tubes of circular knits", "of body width are tested here, not by TM135", TRAINING, H),
    unknown("the method's own table of garment areas"),
    Fact("averaging", Averaging.RATIO_OF_MEANS.label, "as in TM135; " + MEMORY, M, "averaging"),
    Fact("measuring places", "each on its own across the garments; places are not mixed", MEMORY, M),
    Fact("conditioning time", "by fibre, ASTM D1776 Table 2", "carried over from TM135-2018", L),
    Fact("conditioning atmosphere", "21 ± 2 °C, 65 ± 5 % RH", "ASTM D1776 Table 1, " + MEMORY, L),
    Fact("choices in the wash table", "4 wash temperatures, 3 cycles, 4 dryings", "AATCC TM150-2018 clause 1.1", H),
    Fact("smallest reading", "1 mm", AS_TM135.format("8.2"), M, "reading_resolution_mm"),
    Fact("smallest reading in inches", "1/8 in or 1/10 in", AS_TM135.format("8.2"), M),
    Fact("smallest reading on a percent scale", "0.5 %", SUMMARY + "; not seen in this edition", M),
    CHANGE,
    Fact("reported to the nearest", "0.1 %", "as in TM135-2018 clause 9.1.1; " + MEMORY, H, "rounding_step"),
    TIE,
    PRECISION,
)
THREE = ("specimens", "3 garments")
MATERIALS = ("washer, dryer, detergent, ballast, balance", "as in TM135 of its day")
SEEN = {
    "2003": (
        Fact(*THREE, SUMMARY, H, "specimens"),
        Fact("where the marks lie", BEFORE_2018, SCOPE.format("2003"), H),
        Fact("not for", STRETCH, SUMMARY, H),
        Fact(*MATERIALS, SUMMARY, H),
        Fact("smallest reading on a percent scale", "0.5 %", SUMMARY, H),
        Fact(*CHOICES, SCOPE.format("2003"), H),
    ),
    "2005": (
        Fact(*THREE, FRONT_PART, H, "specimens"),
        Fact("not for", STRETCH, FRONT_PART, H),
        Fact(*MATERIALS, FRONT_PART, H),
        unknown("where the marks lie"),
    ),
    "2010": (
        unknown("specimens", field="specimens"),
        Fact("where the marks lie", BEFORE_2018, SCOPE.format("2010"), H),
        Fact(*CHOICES, SCOPE.format("2010"), H),
        Fact("machine tables", "AATCC Monograph M6, revised in 2010", MONOGRAPH, H),
    ),
}
REST_NOT_SEEN = (
    *(fact for fact in EMPTY_NUMBERS if fact.field not in ("specimens", "specimen_side_mm")),
    unknown("the method's own table of garment areas"),
    CHANGE,
    unknown("conditioning time"),
    unknown("conditioning atmosphere"),
    TIE,
    PRECISION,
)
GARMENTS = {
    "designation": "AATCC TM150",
    "title": "Dimensional changes of garments after home laundering",
    "applies_to": AppliesTo.GARMENT,
}


def earlier(edition: str, specimens: int | None) -> Entry:
    columns = {**GARMENTS, "edition": edition, "family": Family.AATCC_M6, "specimens": specimens, "retired": True}
    return entry(f"aatcc-tm150-{edition}", columns, SEEN[edition], REST_NOT_SEEN)


TM150 = (
    earlier("2003", 3),
    earlier("2005", 3),
    earlier("2010", None),
    entry(
        "aatcc-tm150-2018",
        {
            **GARMENTS,
            "edition": "2018",
            "family": Family.AATCC,
            "specimens": 3,
            "pairs_per_direction": 3,
            "benchmark_mm": Decimal(250),
            "averaging": Averaging.RATIO_OF_MEANS,
            "rounding_step": Decimal("0.1"),
            "reading_resolution_mm": Decimal(1),
        },
        OF_2018,
    ),
)
