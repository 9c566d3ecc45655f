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
    code: str, family: str, label: str, title: str, kind: str, instruction: str, facts: list[Fact], **more
) -> Entry:
    sources = {
        Family.AATCC: "AATCC LP1 / TM135-2018",
        Family.AATCC_M6: "AATCC Monograph M6 / TM135 until about 2010",
        Family.AATCC_M6_LATE: "AATCC Monograph M6 of 2011 to 2016",
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
        **more,
    }
    return entry(code, columns, facts)


def tumbles(family: str) -> list[Entry]:
    modern = family == Family.AATCC
    source, confidence = (LP1, M) if modern else (RETAILER, H)
    rows = []
    for cycle, word in DRYER_CYCLES:
        degrees, tolerance, told, cool_down = DRYER[family, cycle]
        facts = [
            Fact("drying", Kind.TUMBLE.label, TM88B.format("8.3.1"), H, "kind"),
            Fact("dryer exhaust", told, source, confidence, "exhaust_max_c"),
            Fact("dryer cycle", f"({cycle}) {word}", RETAILER + "; " + MEMORY, H),
            Fact("cool-down", cool_down, source, confidence),
            Fact("heat-sensitive fibres", "at a lower temperature, which is reported", TM88B.format("8.3.1"), H),
        ]
        code = f"{'aatcc' if modern else 'aatcc-m6'}-a-{cycle}"
        exhaust = {"exhaust_max_c": Decimal(degrees), "exhaust_tolerance_c": tolerance and Decimal(tolerance)}
        title = f"tumble dry, {word}"
        rows.append(row(code, family, f"AATCC A({cycle})", title, Kind.TUMBLE, TUMBLE, facts, **exhaust))
    return rows


def tumble_not_known() -> Entry:
    """The dryer's settings of 2011 to 2016 were not seen. One row to copy from."""
    facts = [
        Fact("drying", Kind.TUMBLE.label, TM88B.format("8.3.1"), H, "kind"),
        unknown("dryer exhaust", field="exhaust_max_c"),
        unknown("dryer cycle"),
        unknown("cool-down"),
        Fact("heat-sensitive fibres", "at a lower temperature, which is reported", TM88B.format("8.3.1"), H),
    ]
    family, title = Family.AATCC_M6_LATE, "tumble dry, settings not known"
    return row("aatcc-m6-late-a", family, "AATCC A", title, Kind.TUMBLE, TUMBLE, facts, retired=True)


def in_air(family: str, **more) -> list[Entry]:
    prefix = {Family.AATCC: "aatcc", Family.AATCC_M6: "aatcc-m6", Family.AATCC_M6_LATE: "aatcc-m6-late"}[family]
    line = [
        Fact("drying", Kind.LINE.label, MEMORY, H, "kind"),
        Fact("hanging", "two corners, length vertical, still air", MEMORY, M, "instruction"),
        Fact("room temperature", "not above 26 °C (78 °F)", MEMORY, M),
    ]
    drip = [
        Fact("drying", Kind.DRIP_LINE.label, TM88B.format("8.2.6"), H, "kind"),
        Fact("taken out", "soaking wet, before the final rinse drains", TM88B.format("8.2.6"), H),
        Fact("hanging", "as for line drying", MEMORY, M, "instruction"),
    ]
    screen = [
        Fact("drying", Kind.FLAT.label, MEMORY, H, "kind"),
        Fact("laying", "horizontal screen, wrinkles smoothed, not stretched", MEMORY, M, "instruction"),
    ]
    return [
        row(f"{prefix}-b", family, "AATCC B", "line dry", Kind.LINE, HANG, line, **more),
        row(f"{prefix}-c", family, "AATCC C", "drip dry", Kind.DRIP_LINE, DRIP, drip, **more),
        row(f"{prefix}-d", family, "AATCC D", "screen dry", Kind.FLAT, SCREEN, screen, **more),
    ]


TAKEN_OUT = Fact("taken out", "at once, neither stretched nor distorted", ISO_6330.format("9.4"), H)
NO_SPIN = Fact("last spin", "none: the wash ends without spinning", ISO_6330.format("10.1"), H)
RACK = Fact("rack", "screen of about 16 mesh, stainless or plastic", ISO_6330.format("5.5"), H)
HUNG = Fact("hanging", "fabric length vertical", MEMORY, M, "instruction")


def letter(mark: str, title: str, kind: Kind, instruction: str, facts: list[Fact], **exhaust) -> Entry:
    named = Fact("drying", kind.label, ISO_6330.format("10"), H, "kind")
    code = f"iso-6330-2012-{slugify(mark)}"
    return row(code, Family.ISO, f"ISO 6330 {mark}", title, kind, instruction, [named, *facts], **exhaust)


def iso_tumble(word: str, degrees: str) -> Entry:
    facts = [
        Fact("dryer exhaust", f"at most {degrees} °C", MEMORY, M, "exhaust_max_c"),
        Fact("end without heat", "at least 5 min", "ISO 6330:2000, seen in an extract; 2012 not seen", M),
        Fact("dry when", "0 % against cloth conditioned at 20 °C and 65 % RH", "ISO 6330:2000, the same", M),
        Fact("dryers", "A1 vented, A2 condenser, A3 large vented", ISO_6330.format("5.2"), H),
        Fact("weighed first", "the load, before it is washed", ISO_6330.format("9.2"), H),
        TAKEN_OUT,
    ]
    told = AT_ONCE + "Weigh the load first. Run on without heat at the end."
    return letter(f"F ({word})", "tumble dry", Kind.TUMBLE, told, facts, exhaust_max_c=Decimal(degrees))


def iso() -> list[Entry]:
    press = [
        Fact("pressing", "smoothed by hand, short presses until dry", "ISO 6330:2000, seen in an extract", H),
        unknown("temperature and pressure of the press"),
        TAKEN_OUT,
    ]
    drip_line = DRIP.replace("two corners, length vertical", "length vertical")
    drip_flat = "No spin. Take out dripping, neither stretched nor distorted. Lay flat on the screen."
    pressed = AT_ONCE + "Smooth by hand; press in short presses until dry; record temperature and pressure."
    return [
        letter("A", "line dry", Kind.LINE, AT_ONCE + "Hang with the length vertical.", [HUNG, TAKEN_OUT]),
        letter("B", "drip dry on a line", Kind.DRIP_LINE, drip_line, [NO_SPIN, HUNG, TAKEN_OUT]),
        letter("C", "dry flat", Kind.FLAT, AT_ONCE + "Lay flat on the screen.", [RACK, TAKEN_OUT]),
        letter("D", "drip dry flat", Kind.DRIP_FLAT, drip_flat, [NO_SPIN, RACK, TAKEN_OUT]),
        letter("E", "flat press", Kind.PRESS, pressed, press),
        iso_tumble("normal", "80"),
        iso_tumble("low", "60"),
    ]


DRYINGS = (
    *(*tumbles(Family.AATCC), *in_air(Family.AATCC)),
    *(*tumbles(Family.AATCC_M6), *in_air(Family.AATCC_M6)),
    *(tumble_not_known(), *in_air(Family.AATCC_M6_LATE, retired=True)),
    *iso(),
)
