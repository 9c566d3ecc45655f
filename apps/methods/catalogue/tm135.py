"""AATCC TM135, fabrics: one row for each edition of which anything is known, and for each size of specimen.

What was seen in one edition and is told of another says so and is to be confirmed. 2004 and 2014 are known by name
only: their numbers are empty and they are not offered.
"""

from decimal import Decimal

from apps.methods.catalogue.entries import MEMORY, Entry, Fact, H, L, M, entry, unknown
from apps.methods.models import AppliesTo, Averaging, Family

IN_2003 = "AATCC TM135-2003 clause {}, seen in an extract"
IN_2018 = "AATCC TM135-2018 clause {}, seen in an extract"
TRAINING = "AATCC training slides on TM135 and TM150, 2018"
D1776 = "ASTM D1776 Table 2, " + MEMORY
CHANGE = Fact("change", "100 (B \N{MINUS SIGN} A) / A; minus is shrinkage", "a published test report; " + MEMORY, H)
TIE = unknown("a figure exactly between two", "the method names no rule that we know of; the lab's own setting holds")
PRECISION = unknown("precision within and between laboratories")


def elsewhere(clause: str) -> str:
    return clause.partition(",")[0] + "; not seen in this edition"


def reading(edition: str) -> tuple[Fact, ...]:
    """How a distance is read and the change is told; seen in the edition of 2018."""
    seen = edition == "2018"
    sure = H if seen else M

    def at(clause: str) -> str:
        return IN_2018.format(clause) if seen else elsewhere(IN_2018.format(clause))

    return (
        Fact("smallest reading", "1 mm", at("8.2"), sure, "reading_resolution_mm"),
        Fact("smallest reading in inches", "1/8 in or 1/10 in", at("8.2"), sure),
        Fact("smallest reading on a percent scale", "0.5 %", at("8.2"), sure),
        CHANGE,
        Fact("length and width", "always apart, never combined", at("9.1.1"), sure),
        Fact("averaging of percent readings", "the mean of the percentages", at("9.1.1"), sure),
        Fact("reported to the nearest", "0.1 %", at("9.1.1"), sure, "rounding_step"),
        TIE,
        PRECISION,
    )


def always(edition: str) -> tuple[Fact, ...]:
    seen = edition == "2003"
    specimens = IN_2003.format("6.1.6")
    return (
        Fact("specimens", "3", specimens if seen else elsewhere(specimens), H if seen else M, "specimens"),
        Fact("specimens when the sample is short", "1 or 2", MEMORY, M),
        Fact("pairs in each direction", "3", MEMORY + "; three each way in trade articles", H, "pairs_per_direction"),
        Fact("marks from the specimen's edge", "at least 50 mm", MEMORY, M),
        Fact("averaging", Averaging.RATIO_OF_MEANS.label, MEMORY, M, "averaging"),
        unknown("narrow fabrics: sizes of specimen and marks"),
    )


CUT_2003, CUT_2018 = IN_2003.format("6"), IN_2018.format("6")
ABOUT_CUTTING = (
    ("not cut from the outer", "10 % of the sample's width"),
    ("specimens carry", "different lengthwise and widthwise yarns; the length is marked before cutting"),
    ("distorted cloth", "not cut from; results may mislead"),
    ("tubular knits", "slit and tested flat in one layer; body-width tubes of garments go to TM150"),
    ("marked on", "a flat surface, nothing hanging over its edge, marks parallel to the length"),
    ("conditioned", "before marking and again after drying, each specimen apart on a screen"),
)
OF_EDITION = {
    "2003": (
        *(Fact(name, value, CUT_2003, H) for name, value in ABOUT_CUTTING),
        Fact("conditioning time", "at least 4 h", IN_2003.format("6.1.5"), H),
        Fact("conditioning atmosphere", "21 ± 1 °C, 65 ± 2 % RH", IN_2003.format("6.1.5"), H),
        Fact("marked with", "indelible pen and rule or template; sewing thread too", IN_2003.format("5.7"), H),
        Fact("balance", "for at least 5.0 kg (10 lb)", IN_2003.format("5.9"), H),
        Fact("cycles", "first, third or another number agreed; 5 is common", elsewhere(IN_2018.format("9.1.1")), M),
        Fact(
            "choices in the wash table",
            "4 wash temperatures, 3 cycles, 2 rinse temperatures, 4 dryings",
            "scope pages of the sister method AATCC TM150, 2003 and 2010",
            H,
        ),
    ),
    "2018": (
        *(Fact(name, value, CUT_2018, H) for name, value in ABOUT_CUTTING),
        Fact("conditioning time", "by fibre, ASTM D1776 Table 2", IN_2018.format("6.1.6"), H),
        Fact("conditioning time, wool and other animal fibres", "8 h", D1776, M),
        Fact("conditioning time, viscose", "8 h", D1776, M),
        Fact("conditioning time, cotton, linen and other vegetable fibres", "6 h", D1776, M),
        Fact("conditioning time, acetate", "4 h", D1776, M),
        Fact("conditioning time, polyester, nylon, acrylic", "2 h", D1776, M),
        Fact("conditioning time, blends", "the longest of their fibres", "our own reading of " + D1776, M),
        Fact("conditioning atmosphere", "21 ± 2 °C, 65 ± 5 % RH", "ASTM D1776 Table 1, " + MEMORY, M),
        Fact("cycles", "first, third or another number agreed; 5 is common", IN_2018.format("9.1.1"), H),
        Fact("hand ironing", "optional, least pressure; conditioned again after", IN_2018.format("7.4.2 to 7.4.4"), H),
        Fact("specimens may also serve", "AATCC TM179, options 1 and 2", IN_2018.format("6.1.4"), H),
        Fact(
            "choices in the wash table",
            "4 wash temperatures, 3 cycles, 4 dryings",
            "AATCC TM150-2018 clause 1.1 and foreword: laundering aligned across the methods",
            H,
        ),
    ),
}
OF_SIZE = {
    "small": (
        Fact("side of a specimen", "380 mm", "15 in templates, common practice; " + MEMORY, H, "specimen_side_mm"),
        Fact("distance of the marks", "250 mm", TRAINING + " (10 in scales)", H, "benchmark_mm"),
        Fact("room between parallel pairs", "about 120 mm", MEMORY, M),
    ),
    "large": (
        Fact("side of a specimen", "610 mm", "24 in, " + MEMORY, H, "specimen_side_mm"),
        Fact("distance of the marks", "460 mm", TRAINING + " (18 in scales)", H, "benchmark_mm"),
        Fact("room between parallel pairs", "about 240 mm", MEMORY, L),
    ),
}
MONOGRAPH = "front pages of AATCC Monograph M6 and AATCC's own page"
BY_NAME_ONLY = {
    "2004": (
        Fact("this edition", "known by its title", "titles of pages that offer it", H),
        Fact("machine tables", "AATCC Monograph M6, revised in 2003 and 2005", MONOGRAPH, H),
        Fact(
            "choices in the wash table",
            "4 wash temperatures, 3 cycles, 2 rinse temperatures, 4 dryings",
            "scope pages of the sister method AATCC TM150, 2003 and 2010; not seen in this edition",
            M,
        ),
    ),
    "2014": (
        Fact("this edition", "known by its title", "titles of pages that offer it", H),
        Fact("machine tables", "AATCC Monograph M6, several tables (IIA to IID) from 2011 to 2016", MONOGRAPH, H),
    ),
}
# Numbers that the rules reckon with, of an edition that was not seen.
EMPTY_NUMBERS = (
    unknown("specimens", field="specimens"),
    unknown("pairs in each direction", field="pairs_per_direction"),
    unknown("side of a specimen", field="specimen_side_mm"),
    unknown("distance of the marks", field="benchmark_mm"),
    unknown("averaging", field="averaging"),
    unknown("smallest reading", field="reading_resolution_mm"),
    unknown("reported to the nearest", field="rounding_step"),
)
NOT_SEEN = (
    *EMPTY_NUMBERS,
    CHANGE,
    unknown("conditioning time"),
    unknown("conditioning atmosphere"),
    unknown("not cut from the outer"),
    unknown("marks from the specimen's edge"),
    TIE,
    PRECISION,
)
TITLE = "Dimensional changes of fabrics after home laundering"


def sized(edition: str, family: str, size: str, side: str, marks: str) -> Entry:
    columns = {
        "designation": "AATCC TM135",
        "edition": edition,
        "title": TITLE,
        "family": family,
        "applies_to": AppliesTo.FABRIC,
        "specimens": 3,
        "pairs_per_direction": 3,
        "specimen_side_mm": Decimal(side),
        "benchmark_mm": Decimal(marks),
        "averaging": Averaging.RATIO_OF_MEANS,
        "rounding_step": Decimal("0.1"),
        "reading_resolution_mm": Decimal(1),
    }
    facts = (OF_SIZE[size], always(edition), OF_EDITION[edition], reading(edition))
    return entry(f"aatcc-tm135-{edition}-{size}", columns, *facts)


def by_name_only(edition: str, family: str) -> Entry:
    columns = {
        "designation": "AATCC TM135",
        "edition": edition,
        "title": TITLE,
        "family": family,
        "applies_to": AppliesTo.FABRIC,
        "retired": True,
    }
    return entry(f"aatcc-tm135-{edition}", columns, BY_NAME_ONLY[edition], NOT_SEEN)


TM135 = (
    sized("2003", Family.AATCC_M6, "small", "380", "250"),
    sized("2003", Family.AATCC_M6, "large", "610", "460"),
    by_name_only("2004", Family.AATCC_M6),
    by_name_only("2014", Family.AATCC_M6_LATE),
    sized("2018", Family.AATCC, "small", "380", "250"),
    sized("2018", Family.AATCC, "large", "610", "460"),
)
