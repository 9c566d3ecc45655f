"""Test methods: one row for each edition and size of specimen."""

from decimal import Decimal

from apps.methods.catalogue.entries import MEMORY, Entry, Fact, H, L, M, entry, unknown
from apps.methods.models import Averaging, Family, TestMethod

FABRIC, GARMENT = TestMethod.AppliesTo.FABRIC, TestMethod.AppliesTo.GARMENT

TM135_2003 = "AATCC TM135-2003 clause {}, seen in an extract"
TM135_2018 = "AATCC TM135-2018 clause {}, seen in an extract"
TRAINING = "AATCC training slides on TM135 and TM150, 2018"
D1776 = "ASTM D1776 Table 2, " + MEMORY
ISO_5077 = "ISO 5077:2007 clause {}, seen in an extract"
ISO_3759 = "ISO 3759:2011, from a test house's summary"
GB_8628 = "GB/T 8628-2001 (equals ISO 3759:1994), seen"
CHANGE = "100 (B \N{MINUS SIGN} A) / A; minus is shrinkage"

AATCC_READING = (
    Fact("smallest reading", "1 mm", TM135_2018.format("8.2"), H, "reading_resolution_mm"),
    Fact("smallest reading in inches", "1/8 in or 1/10 in", TM135_2018.format("8.2"), H),
    Fact("smallest reading on a percent scale", "0.5 %", TM135_2018.format("8.2"), H),
    Fact("change", CHANGE, "a published test report; " + MEMORY, H),
    Fact("reported to the nearest", "0.1 %", TM135_2018.format("9.1.1"), H, "rounding_step"),
    unknown("a figure exactly between two", "the method names no rule that we know of; the lab's own setting holds"),
    unknown("precision within and between laboratories"),
)
TM135_ALWAYS = (
    Fact("specimens", "3", TM135_2003.format("6.1.6"), H, "specimens"),
    Fact("specimens when the sample is short", "1 or 2", MEMORY, M),
    Fact("pairs in each direction", "3", MEMORY + "; three each way in trade articles", H, "pairs_per_direction"),
    Fact("marks from the specimen's edge", "at least 50 mm", MEMORY, M),
    Fact("averaging", "the mean lengths of a direction, then one change", MEMORY, M, "averaging"),
    Fact("averaging of percent readings", "the mean of the percentages", TM135_2018.format("9.1.1"), H),
    Fact("cycles", "first, third or another number agreed; 5 is common", TM135_2018.format("9.1.1"), H),
    unknown("narrow fabrics: sizes of specimen and marks"),
    *AATCC_READING,
)
TM135_IN = {
    "2003": (
        Fact("not cut from the outer", "10 % of the sample's width", TM135_2003.format("6"), H),
        Fact("conditioning time", "at least 4 h", TM135_2003.format("6.1.5"), H),
        Fact("conditioning atmosphere", "21 ± 1 °C, 65 ± 2 % RH", TM135_2003.format("6.1.5"), H),
        Fact(
            "choices in the wash table",
            "4 wash temperatures, 3 cycles, 2 rinse temperatures, 4 dryings",
            "scope pages of the sister method AATCC TM150, 2003 and 2010",
            H,
        ),
    ),
    "2018": (
        Fact("not cut from the outer", "10 % of the sample's width", TM135_2018.format("6"), H),
        Fact("conditioning time", "by fibre, ASTM D1776 Table 2", TM135_2018.format("6.1.6"), H),
        Fact("conditioning time, wool and other animal fibres", "8 h", D1776, M),
        Fact("conditioning time, viscose", "8 h", D1776, M),
        Fact("conditioning time, cotton, linen and other vegetable fibres", "6 h", D1776, M),
        Fact("conditioning time, acetate", "4 h", D1776, M),
        Fact("conditioning time, polyester, nylon, acrylic", "2 h", D1776, M),
        Fact("conditioning time, blends", "the longest of their fibres", "our own reading of " + D1776, M),
        Fact("conditioning atmosphere", "21 ± 2 °C, 65 ± 5 % RH", "ASTM D1776 Table 1, " + MEMORY, M),
        Fact(
            "choices in the wash table",
            "4 wash temperatures, 3 cycles, 4 dryings",
            "AATCC TM150-2018 clause 1.1 and foreword: laundering aligned across the methods",
            H,
        ),
    ),
}
SMALL = (
    Fact("side of a specimen", "380 mm", "15 in templates, common practice; " + MEMORY, H, "specimen_side_mm"),
    Fact("distance of the marks", "250 mm", TRAINING + " (10 in scales)", H, "benchmark_mm"),
    Fact("room between parallel pairs", "about 120 mm", MEMORY, M),
)
LARGE = (
    Fact("side of a specimen", "610 mm", "24 in, " + MEMORY, H, "specimen_side_mm"),
    Fact("distance of the marks", "460 mm", TRAINING + " (18 in scales)", H, "benchmark_mm"),
    Fact("room between parallel pairs", "about 240 mm", MEMORY, L),
)
TM150 = (
    Fact("specimens", "3 garments", "AATCC TM150-2003 and -2005, a summary", H, "specimens"),
    Fact(
        "distance of the marks", "250 mm, or 460 mm where the panel allows", TRAINING + "; " + MEMORY, M, "benchmark_mm"
    ),
    Fact(
        "pairs in each direction", "3", "carried over from TM135; the garment's areas decide", L, "pairs_per_direction"
    ),
    Fact(
        "where the marks lie", "on unseamed areas; or between or along seams", "AATCC TM150-2018, the store's page", H
    ),
    unknown("the method's own table of garment areas"),
    Fact("averaging", "for each measuring place across the garments; places are not mixed", MEMORY, M, "averaging"),
    Fact("conditioning time", "by fibre, ASTM D1776 Table 2", "carried over from TM135-2018", L),
    Fact("conditioning atmosphere", "21 ± 2 °C, 65 ± 5 % RH", "ASTM D1776 Table 1, " + MEMORY, L),
    *AATCC_READING,
)
ISO = (
    Fact("specimens", "3", ISO_5077.format("6.2"), H, "specimens"),
    Fact("specimens when the sample is short", "1 or 2", ISO_5077.format("6.2"), H),
    Fact("side of a specimen", "at least 500 mm", ISO_3759, H, "specimen_side_mm"),
    Fact("distance of the marks", "at least 350 mm", ISO_3759, H, "benchmark_mm"),
    Fact("marks from the specimen's edge", "at least 50 mm", ISO_3759, H),
    Fact("pairs in each direction", "3", MEMORY + "; three each way in trade articles", H, "pairs_per_direction"),
    unknown("narrow fabrics: sizes of specimen and marks"),
    Fact("smallest reading", "1 mm", "ISO 3759:2011, " + MEMORY, H, "reading_resolution_mm"),
    Fact("glass-fibre tapes checked", "at least every 6 months", GB_8628, H),
    Fact("change", CHANGE, "ISO 5077:2007, from a test house's summary", H),
    Fact("averaging", "the mean of the changes of a direction", "ISO 5077:2007, " + MEMORY, M, "averaging"),
    Fact("reported to the nearest", "0.5 %", "ISO 5077:2007, " + MEMORY, M, "rounding_step"),
    unknown("a figure exactly between two", "the method names no rule that we know of; the lab's own setting holds"),
    Fact("conditioning atmosphere", "20.0 ± 2.0 °C, 65.0 ± 4.0 % RH", "ISO 139:2005, the publisher's overview", H),
    Fact("conditioning atmosphere by agreement", "23.0 ± 2.0 °C, 50.0 ± 4.0 % RH", "ISO 139:2005, the same", H),
    Fact("conditioned when", "two weighings 2 h apart differ by under 0.25 %", "ISO 139:2005, " + MEMORY, M),
)


def tm135(edition: str, family: str, size: str, side: str, marks: str, of_size: tuple[Fact, ...]) -> Entry:
    columns = {
        "designation": "AATCC TM135",
        "edition": edition,
        "title": "Dimensional changes of fabrics after home laundering",
        "family": family,
        "applies_to": FABRIC,
        "specimens": 3,
        "pairs_per_direction": 3,
        "specimen_side_mm": Decimal(side),
        "benchmark_mm": Decimal(marks),
        "averaging": Averaging.RATIO_OF_MEANS,
        "rounding_step": Decimal("0.1"),
        "reading_resolution_mm": Decimal(1),
    }
    return entry(f"aatcc-tm135-{edition}-{size}", columns, of_size, TM135_ALWAYS, TM135_IN[edition])


METHODS = (
    tm135("2003", Family.AATCC_M6, "small", "380", "250", SMALL),
    tm135("2003", Family.AATCC_M6, "large", "610", "460", LARGE),
    tm135("2018", Family.AATCC, "small", "380", "250", SMALL),
    tm135("2018", Family.AATCC, "large", "610", "460", LARGE),
    entry(
        "aatcc-tm150-2018",
        {
            "designation": "AATCC TM150",
            "edition": "2018",
            "title": "Dimensional changes of garments after home laundering",
            "family": Family.AATCC,
            "applies_to": GARMENT,
            "specimens": 3,
            "pairs_per_direction": 3,
            "specimen_side_mm": None,
            "benchmark_mm": Decimal(250),
            "averaging": Averaging.RATIO_OF_MEANS,
            "rounding_step": Decimal("0.1"),
            "reading_resolution_mm": Decimal(1),
        },
        TM150,
    ),
    entry(
        "iso-5077-2007-6330-2012",
        {
            # Three standards make one method: marking and measuring, laundering, reckoning.
            "designation": "ISO 3759:2011, ISO 6330:2012 and ISO 5077",
            "edition": "2007",
            "title": "Dimensional change in washing and drying",
            "family": Family.ISO,
            "applies_to": FABRIC,
            "specimens": 3,
            "pairs_per_direction": 3,
            "specimen_side_mm": Decimal(500),
            "benchmark_mm": Decimal(350),
            "averaging": Averaging.MEAN_OF_CHANGES,
            "rounding_step": Decimal("0.5"),
            "reading_resolution_mm": Decimal(1),
        },
        ISO,
    ),
)
