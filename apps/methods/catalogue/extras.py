"""Extra measurements on the same specimens: skew of fabric by AATCC TM179, twist of garments by AATCC TM207."""

from apps.methods.catalogue.entries import MEMORY, Entry, Fact, H, M, entry, unknown
from apps.methods.models import AppliesTo, ExtraMeasurement

Formula = ExtraMeasurement.Formula
TM135_2018 = ("aatcc-tm135-2018-small", "aatcc-tm135-2018-large")
REUSE = "AATCC TM135-2018 clause 6.1.4, seen in an extract"
TRAINING = "AATCC training slides on TM179 and TM207, 2019"
TM207 = "AATCC TM207-2017 clause {}, seen in an extract"
SKEW_FACTS = (
    Fact("measures", "the change of skew in fabrics; until 2018 garment twist too", TRAINING, H),
    Fact("on specimens of", "AATCC TM135-2018", REUSE, H),
    unknown("read to"),
    unknown("reported to the nearest"),
    unknown("averaging"),
)


def skew(option: str, formula: Formula, marks: str, facts: list[Fact]) -> Entry:
    columns = {
        "designation": "AATCC TM179",
        "edition": "2019",
        "option": option,
        "title": "Skew change of fabrics after home laundering",
        "applies_to": AppliesTo.FABRIC,
        "formula": formula,
        "marks": marks,
    }
    code = f"aatcc-tm179-2019-{option.replace(' ', '-')}"
    return entry(code, columns, facts, SKEW_FACTS, linked=TM135_2018)


EXTRAS = (
    skew(
        "option 1",
        Formula.SKEW_DIAGONALS,
        "A square of 250 mm on the specimen, corners A, B, C, D in turn. After washing both diagonals are read."
        " Write down which one is AC: its sign tells the direction.",
        [
            Fact("formula", Formula.SKEW_DIAGONALS.label, MEMORY + "; the geometry is checked", H, "formula"),
            Fact("marks", "a square of 250 mm (10 in)", MEMORY, M, "marks"),
            Fact("one millimetre of one diagonal", "0.28 % of skew on a square of 250 mm", "reckoned", H),
        ],
    ),
    skew(
        "option 2",
        Formula.SKEW_LINES,
        "Marks A, B, C, D on the specimen; after washing A′ and D′ show how far the line has moved sideways.",
        [
            Fact("formula", Formula.SKEW_LINES.label, MEMORY, M, "formula"),
            unknown("marks: sizes and places"),
        ],
    ),
    entry(
        "aatcc-tm207-2017",
        {
            "designation": "AATCC TM207",
            "edition": "2017",
            "title": "Seam twist in garments before and after home laundering",
            "applies_to": AppliesTo.GARMENT,
            "formula": Formula.TWIST,
            "marks": "A: the seam at the lower edge, hem included. B: on the seam, 25 mm below where it meets another"
            " seam. A′: the natural fold at the lower edge. AA′ is 0 where the seam lies on the fold.",
        },
        [
            Fact("formula", Formula.TWIST.label, MEMORY + "; the trade's own form is the same", M, "formula"),
            Fact(
                "marks",
                "A at the lower edge, B 25 mm (1 in) below the cross seam",
                TM207.format("9.2 to 9.4"),
                H,
                "marks",
            ),
            Fact("read to", "1 mm, 1/8 in or 1/10 in", TM207.format("9"), H),
            Fact("measured", "before and after laundering", TM207.format("9"), H),
            Fact("seams", "vertical ones; not curved or slanted ones", TM207.format("5") + "; " + TRAINING, H),
            Fact(
                "averaging",
                "left and right of the same construction may be averaged, others not",
                TM207.format("5.3"),
                H,
            ),
            Fact("on specimens of", "AATCC TM150: a garment can carry both", "our own reading of " + TRAINING, M),
            Fact("later edition", "2019, not seen", TRAINING, H),
            unknown("reported to the nearest"),
        ],
        linked=("aatcc-tm150-2018",),
    ),
)
