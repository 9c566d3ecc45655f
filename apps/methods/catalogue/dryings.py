"""Drying procedures. The two families use the same letters for other things: every label names its standard."""

from decimal import Decimal

from django.utils.text import slugify

from apps.methods.catalogue.entries import MEMORY, Entry, Fact, H, M, entry, unknown
from apps.methods.models import DryingProcedure, Family

Kind = DryingProcedure.Kind

TM88B = "AATCC TM88B-2014 clause {} (sister method), seen in an extract"
LP1 = "AATCC LP1 and TM135-2018, " + MEMORY
RETAILER = "AATCC tables of the time in a retailer's reprint"
ISO_6330 = "ISO 6330:2012 clause {}, seen in an extract"

TUMBLE = (
    "Dry specimens and ballast together until the whole load is dry, then take out at once. Do not over-dry."
    " Heat-sensitive fibres: lower temperature, and report it."
)
HANG = "Hang by two corners, fabric length vertical, in still air at no more than 26 °C."
DRIP = "Take out soaking wet just before the final rinse drains; no spin. Hang dripping: two corners, length vertical."
SCREEN = "Lay on a horizontal screen or perforated surface, smooth wrinkles, do not stretch."
AT_ONCE = "Take out at once, neither stretched nor distorted. "

# dryer cycle, word, then exhaust and its tolerance in °C, the exhaust as told, the cool-down: 2018 and older
DRYER_CYCLES = (("i", "normal"), ("ii", "delicate"), ("iii", "permanent press"))
DRYER = {
    (Family.AATCC, "i"): ("68", "6", "at most 68 ± 6 °C (155 ± 10 °F)", "10 min or less"),
    (Family.AATCC, "ii"): ("60", "6", "at most 60 ± 6 °C (140 ± 10 °F)", "10 min or less"),
    (Family.AATCC, "iii"): ("68", "6", "at most 68 ± 6 °C (155 ± 10 °F)", "10 min or less"),
    (Family.AATCC_M6, "i"): ("66", "5", "66 ± 5 °C (150 ± 10 °F)", "5 min"),
    (Family.AATCC_M6, "ii"): ("60", None, "below 60 °C (140 °F)", "5 min"),
    (Family.AATCC_M6, "iii"): ("66", "5", "66 ± 5 °C (150 ± 10 °F)", "10 min"),
}


def row(
    code: str, family: str, label: str, title: str, kind: str, instruction: str, facts: list[Fact], **exhaust
) -> Entry:
    sources = {
        Family.AATCC: "AATCC LP1 / TM135-2018",
        Family.AATCC_M6: "AATCC Monograph M6 / TM135 until about 2010",
        Family.ISO: "ISO 6330:2012 clause 10",
    }
    columns = {
        "family": family,
        "label": label,
        "title": title,
        "source": sources[family],
        "kind": kind,
        "exhaust_max_c": None,
        "exhaust_tolerance_c": None,
        "instruction": instruction,
        **exhaust,
    }
    return entry(code, columns, facts)


def aatcc(family: str) -> list[Entry]:
    modern = family == Family.AATCC
    prefix = "aatcc" if modern else "aatcc-m6"
    source, confidence = (LP1, M) if modern else (RETAILER, H)
    rows = []
    for cycle, word in DRYER_CYCLES:
        degrees, tolerance, told, cool_down = DRYER[family, cycle]
        facts = [
            Fact("drying", "tumble", TM88B.format("8.3.1"), H, "kind"),
            Fact("dryer exhaust", told, source, confidence, "exhaust_max_c"),
            Fact("cool-down", cool_down, source, confidence),
        ]
        exhaust = {
            "exhaust_max_c": Decimal(degrees),
            "exhaust_tolerance_c": tolerance and Decimal(tolerance),
        }
        title = f"tumble dry, {word}"
        rows.append(
            row(f"{prefix}-a-{cycle}", family, f"AATCC A({cycle})", title, Kind.TUMBLE, TUMBLE, facts, **exhaust)
        )
    line = [
        Fact("drying", "line", MEMORY, H, "kind"),
        Fact("hanging", "two corners, length vertical, still air", MEMORY, M, "instruction"),
        Fact("room temperature", "not above 26 °C (78 °F)", MEMORY, M),
    ]
    drip = [
        Fact("drying", "drip", TM88B.format("8.2.6"), H, "kind"),
        Fact("taken out", "soaking wet, before the final rinse drains", TM88B.format("8.2.6"), H),
        Fact("hanging", "as for line drying", MEMORY, M, "instruction"),
    ]
    screen = [
        Fact("drying", "screen", MEMORY, H, "kind"),
        Fact("laying", "horizontal screen, wrinkles smoothed, not stretched", MEMORY, M, "instruction"),
    ]
    return [
        *rows,
        row(f"{prefix}-b", family, "AATCC B", "line dry", Kind.LINE, HANG, line),
        row(f"{prefix}-c", family, "AATCC C", "drip dry", Kind.DRIP_LINE, DRIP, drip),
        row(f"{prefix}-d", family, "AATCC D", "screen dry", Kind.FLAT, SCREEN, screen),
    ]


def iso() -> list[Entry]:
    taken_out = Fact("taken out", "at once, neither stretched nor distorted", ISO_6330.format("9.4"), H)
    no_spin = Fact("last spin", "none: the wash ends without spinning", ISO_6330.format("10.1"), H)
    rack = Fact("rack", "screen of about 16 mesh, stainless or plastic", ISO_6330.format("5.5"), H)
    hung = Fact("hanging", "fabric length vertical", MEMORY, M, "instruction")

    def is_named(word: str) -> Fact:
        return Fact("drying", word, ISO_6330.format("10"), H, "kind")

    def letter(mark: str, title: str, kind: str, instruction: str, facts: list[Fact], **exhaust) -> Entry:
        code = f"iso-6330-2012-{slugify(mark)}"
        return row(code, Family.ISO, f"ISO 6330 {mark}", title, kind, instruction, facts, **exhaust)

    def tumble(word: str, degrees: str) -> Entry:
        facts = [
            is_named("tumble"),
            Fact("dryer exhaust", f"at most {degrees} °C", MEMORY, M, "exhaust_max_c"),
            Fact("end without heat", "at least 5 min", "ISO 6330:2000, seen in an extract; 2012 not seen", M),
            taken_out,
        ]
        told = AT_ONCE + "Weigh the load first. Run on without heat at the end."
        return letter(f"F ({word})", "tumble dry", Kind.TUMBLE, told, facts, exhaust_max_c=Decimal(degrees))

    press = [
        is_named("flat press"),
        Fact("pressing", "smoothed by hand, short presses until dry", "ISO 6330:2000, seen in an extract", H),
        unknown("temperature and pressure of the press"),
        taken_out,
    ]
    drip_line = DRIP.replace("two corners, length vertical", "length vertical")
    return [
        letter(
            "A", "line dry", Kind.LINE, AT_ONCE + "Hang with the length vertical.", [is_named("line"), hung, taken_out]
        ),
        letter("B", "drip dry on a line", Kind.DRIP_LINE, drip_line, [is_named("drip line"), no_spin, hung, taken_out]),
        letter("C", "dry flat", Kind.FLAT, AT_ONCE + "Lay flat on the screen.", [is_named("flat"), rack, taken_out]),
        letter(
            "D",
            "drip dry flat",
            Kind.DRIP_FLAT,
            "No spin. Take out dripping, neither stretched nor distorted. Lay flat on the screen.",
            [is_named("drip flat"), no_spin, rack, taken_out],
        ),
        letter(
            "E",
            "flat press",
            Kind.PRESS,
            AT_ONCE + "Smooth by hand; press in short presses until dry; record temperature and pressure.",
            press,
        ),
        tumble("normal", "80"),
        tumble("low", "60"),
    ]


DRYINGS = (*aatcc(Family.AATCC), *aatcc(Family.AATCC_M6), *iso())
