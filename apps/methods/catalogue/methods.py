"""Test methods: one row for each exact edition, and for each size of specimen where it has several."""

from decimal import Decimal

from apps.methods.catalogue.entries import MEMORY, Fact, H, M, entry, unknown
from apps.methods.catalogue.tm135 import CHANGE, TIE, TM135
from apps.methods.catalogue.tm150 import TM150
from apps.methods.models import AppliesTo, Averaging, Family

ISO_5077 = "ISO 5077:2007 clause {}, seen in an extract"
ISO_3759 = "ISO 3759:2011, from a test house's summary"
GB_8628 = "GB/T 8628-2001 (equals ISO 3759:1994), seen"
ISO_139 = "ISO 139:2005, the publisher's overview"

ISO = (
    Fact("specimens", "3", ISO_5077.format("6.2"), H, "specimens"),
    Fact("specimens when the sample is short", "1 or 2", ISO_5077.format("6.2"), H),
    Fact("side of a specimen", "at least 500 mm", ISO_3759, H, "specimen_side_mm"),
    Fact("distance of the marks", "at least 350 mm", ISO_3759, H, "benchmark_mm"),
    Fact("marks from the specimen's edge", "at least 50 mm", ISO_3759, H),
    Fact("pairs in each direction", "3", MEMORY + "; three each way in trade articles", H, "pairs_per_direction"),
    unknown("room between parallel pairs"),
    unknown("not cut from the outer"),
    unknown("narrow fabrics: sizes of specimen and marks"),
    Fact("not for", "articles that stretch readily in use", GB_8628, H),
    Fact(
        "marked with",
        "indelible ink and template, contrast thread, hot wire; staples only where nothing agitates",
        GB_8628,
        H,
    ),
    Fact("measured with", "rule or tape in mm, steel or glass fibre, longer than the largest dimension", GB_8628, H),
    Fact("glass-fibre tapes checked", "at least every 6 months", GB_8628, H),
    Fact("smallest reading", "1 mm", "ISO 3759:2011, " + MEMORY, H, "reading_resolution_mm"),
    Fact("change", CHANGE.value, "ISO 5077:2007, from a test house's summary", H),
    Fact("averaging", Averaging.MEAN_OF_CHANGES.label, "ISO 5077:2007, " + MEMORY, M, "averaging"),
    Fact("reported to the nearest", "0.5 %", "ISO 5077:2007, " + MEMORY, M, "rounding_step"),
    TIE,
    Fact("conditioning atmosphere", "20.0 ± 2.0 °C, 65.0 ± 4.0 % RH", ISO_139, H),
    Fact("conditioning atmosphere by agreement", "23.0 ± 2.0 °C, 50.0 ± 4.0 % RH", ISO_139, H),
    Fact("sensors of the atmosphere", "to 0.1 °C and 0.1 % RH at least", ISO_139, H),
    Fact("conditioned when", "two weighings 2 h apart differ by under 0.25 %", "ISO 139:2005, " + MEMORY, M),
    Fact("procedures of ISO 6330:2012", "type A 13, type B 11, type C 7", "ISO 6330:2012, seen in an extract", H),
    Fact(
        "procedures of ISO 6330:2021",
        "type A 16, type B 12, type C 7; which were added is not known",
        "ISO 6330:2021, its scope",
        H,
    ),
)

METHODS = (
    *TM135,
    *TM150,
    entry(
        "iso-5077-2007-6330-2012",
        {
            # Three standards make one method: marking and measuring, laundering, reckoning.
            "designation": "ISO 3759:2011, ISO 6330:2012 and ISO 5077",
            "edition": "2007",
            "title": "Dimensional change in washing and drying",
            "family": Family.ISO,
            "applies_to": AppliesTo.FABRIC,
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
