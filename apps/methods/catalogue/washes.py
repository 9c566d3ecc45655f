"""Laundering procedures: the rows of the wash tables."""

from decimal import Decimal

from apps.methods.catalogue.entries import MEMORY, Entry, Fact, H, L, M, entry, unknown
from apps.methods.models import Family

LP1 = "AATCC LP1 and TM135-2018, " + MEMORY
RETAILER = "AATCC tables of the time in a retailer's reprint"
ISO_6330 = "ISO 6330:2012 clause {}, seen in an extract"
ANNEX_B = "ISO 6330:2012 Annex B, " + MEMORY
GB_8629 = "GB/T 8629-2017 (adopts ISO 6330:2012), table of machines, seen"

# ---------------------------------------------------------------------------------------------------------- AATCC

CYCLES = (("1", "Normal"), ("2", "Delicate"), ("3", "Permanent Press"))
# code, word, wash temperature in °C, where it comes from (± 3 °C throughout)
TEMPERATURES = (
    ("II", "cold", "27", MEMORY),
    ("III", "warm", "41", MEMORY + "; 105 °F on the US care-symbol card"),
    ("IV", "hot", "49", "120 ± 5 °F in the UFAC laundering method of 2005"),
    ("V", "very hot", "60", MEMORY),
)
# Water level, agitation, wash time, spin speed, spin time: 2018 and later, then the older table of Monograph M6.
MACHINE_2018 = {
    "1": ("72 ± 4 L (19 ± 1 gal)", "86 ± 2 strokes/min", "16 ± 1 min", "660 ± 15 rpm", "5 ± 1 min"),
    "2": ("72 ± 4 L (19 ± 1 gal)", "27 ± 2 strokes/min", "8.5 ± 1 min", "500 ± 15 rpm", "5 ± 1 min"),
    "3": ("72 ± 4 L (19 ± 1 gal)", "86 ± 2 strokes/min", "12 ± 1 min", "500 ± 15 rpm", "5 ± 1 min"),
}
MACHINE_M6 = {
    "1": ("18 ± 1 gal (about 68 ± 4 L)", "179 ± 2 strokes/min", "12 min", "645 ± 15 rpm", "6 min"),
    "2": ("18 ± 1 gal (about 68 ± 4 L)", "119 ± 2 strokes/min", "8 min", "430 ± 15 rpm", "4 min"),
    "3": ("18 ± 1 gal (about 68 ± 4 L)", "179 ± 2 strokes/min", "10 min", "430 ± 15 rpm", "4 min"),
}
MACHINE_NAMES = ("water level", "agitation", "wash time", "final spin speed", "final spin time")

AATCC_LOAD = (
    Fact("load", "1800 g", MEMORY + "; 4 lb in the UFAC laundering method of 2005", H, "load_mass_g"),
    Fact("load, tolerance", "± 100 g", MEMORY, M, "load_tolerance_g"),
    Fact("alternate load", "3600 g", MEMORY, H),
    unknown("detergent for the alternate load"),
    Fact(
        "ballast",
        "type 1 cotton sheeting or type 3 50/50 polyester/cotton, 920 x 920 mm",
        "AATCC TM135-2003 clause 5.6, seen in an extract",
        H,
        "ballast",
    ),
    Fact("ballast piece", "130 ± 10 g", RETAILER, H, "ballast_piece_g"),
    Fact("ballast piece, type 3", "130 ± 10 g", MEMORY, M),
    Fact("detergent", "1993 AATCC Standard Reference Detergent", "ISO 6330:2012 clause 6.1.1 names it", H, "detergent"),
    Fact("detergent for this load", "66 ± 1 g", ISO_6330.format("9.3 b (type B)") + "; a trade page", H, "detergent_g"),
    Fact("detergent in soft water", "may be less against suds, and is then recorded", MEMORY, M),
    Fact("rinse temperature", "below 29 °C", MEMORY, M),
)


def aatcc(family: str, cycle: tuple[str, str], temperature: tuple[str, str, str, str]) -> Entry:
    number, programme = cycle
    code, word, degrees, temperature_source = temperature
    modern = family == Family.AATCC
    table, table_source, confidence = (MACHINE_2018, LP1, M) if modern else (MACHINE_M6, RETAILER, H)
    columns = {
        "family": family,
        "label": f"({number}) {code}",
        "title": f"{programme}, {word} {degrees} °C",
        "source": "AATCC LP1 / TM135-2018" if modern else "AATCC Monograph M6 / TM135 until about 2010",
        "machine_kind": "top-loading washer with agitator",
        "programme": programme,
        "wash_temp_c": Decimal(degrees),
        "wash_temp_tolerance_c": Decimal(3),
        "load_mass_g": Decimal(1800),
        "load_tolerance_g": Decimal(100),
        "specimens_at_most_half": False,
        "ballast": "type 1 (cotton) or type 3 (50/50 polyester/cotton)",
        "ballast_piece_g": Decimal(130),
        "detergent": "1993 AATCC Standard Reference Detergent",
        "detergent_g": Decimal(66),
        "detergent_tolerance_g": Decimal(1),
    }
    facts = [
        Fact("wash temperature", f"{degrees} ± 3 °C", temperature_source, H, "wash_temp_c"),
        Fact("machine cycle", programme, MEMORY, H, "programme"),
        *(
            Fact(name, value, table_source, confidence)
            for name, value in zip(MACHINE_NAMES, table[number], strict=True)
        ),
    ]
    if modern:
        facts.append(Fact("stroke angle", "up to 220°", LP1, M))
    generation = "aatcc" if modern else "aatcc-m6"
    return entry(f"{generation}-{number}-{code.lower()}", columns, facts, AATCC_LOAD)


# ------------------------------------------------------------------------------------------------- ISO 6330 type A

# name, temperature, how sure of it, minutes of main wash (from memory, low); ± 3 °C throughout
ISO_A = (
    ("9N", "92", M, "15"),
    ("7N", "70", M, "15"),
    ("6N", "60", H, "15"),
    ("6M", "60", H, "15"),
    ("5N", "50", H, "15"),
    ("5M", "50", H, "15"),
    ("4N", "40", H, "15"),
    ("4M", "40", H, "15"),
    ("4G", "40", H, "3"),
    ("3N", "30", H, "15"),
    ("3M", "30", H, "15"),
    ("3G", "30", H, "3"),
    ("4H", "40", H, "1"),
)
# word, seconds of turning and of rest
ACTIONS = {
    "N": ("normal", "12 s on, 3 s off"),
    "M": ("mild", "8 s on, 7 s off"),
    "G": ("gentle", "3 s on, 12 s off"),
    "H": ("simulated hand wash", None),
}
ISO_LOAD = (
    Fact("load", "2000 g", "ISO 6330:2012 clause 8.1, " + MEMORY, M, "load_mass_g"),
    Fact("load, tolerance", "± 100 g", "ISO 6330:2012 clause 8.1, " + MEMORY, M, "load_tolerance_g"),
    Fact("specimens in the load", "at most half of its mass", MEMORY, M, "specimens_at_most_half"),
    Fact(
        "ballast",
        "I cotton, II 50/50 cotton/polyester or III polyester",
        ISO_6330.format("5.6"),
        H,
        "ballast",
    ),
    Fact("ballast piece, I and II", "130 ± 10 g, 92 x 92 cm", MEMORY, M, "ballast_piece_g"),
    Fact("ballast piece, III", "50 ± 5 g, 20 x 20 cm", MEMORY, M),
    Fact("detergent", "reference detergent 2, 3 or 6", ISO_6330.format("9.3 a"), H, "detergent"),
    Fact("detergent for this load", "20 ± 1 g", ISO_6330.format("9.3 a"), H, "detergent_g"),
    Fact("suds at the end of the wash", "not above 3 ± 0.5 cm", ISO_6330.format("9.3 b (type B)"), H),
    Fact("drum turns in the wash", "52 ± 1 rpm", GB_8629, H),
    Fact("spin speed", "low 500 ± 20 rpm, high 800 ± 20 rpm", GB_8629, H),
    unknown("liquor level"),
    unknown("rinses: number and times"),
    unknown("spins: number and times"),
    unknown("cool-down"),
)


def iso_a(name: str, degrees: str, confidence: str, minutes: str) -> Entry:
    action, rhythm = ACTIONS[name[1]]
    columns = {
        "family": Family.ISO,
        "label": name,
        "title": f"{action.capitalize()}, {degrees} °C",
        "source": "ISO 6330:2012 Annex B, type A machine",
        "machine_kind": "front-loading drum washer, type A",
        "programme": name,
        "wash_temp_c": Decimal(degrees),
        "wash_temp_tolerance_c": Decimal(3),
        "load_mass_g": Decimal(2000),
        "load_tolerance_g": Decimal(100),
        "specimens_at_most_half": True,
        "ballast": "I (cotton), II (50/50 cotton/polyester) or III (polyester)",
        "ballast_piece_g": Decimal(130),
        "detergent": "reference detergent 2, 3 or 6",
        "detergent_g": Decimal(20),
        "detergent_tolerance_g": Decimal(1),
    }
    facts = [
        Fact("wash temperature", f"{degrees} ± 3 °C", ANNEX_B, confidence, "wash_temp_c"),
        Fact("action", action, ANNEX_B if rhythm is None else "ISO 6330:2012, seen in an extract", H),
        Fact("turning in the wash", rhythm, GB_8629, H) if rhythm else unknown("turning in the wash"),
        Fact("main wash", f"{minutes} min", ANNEX_B, L),
    ]
    return entry(f"iso-6330-2012-{name.lower()}", columns, facts, ISO_LOAD)


WASHES = (
    *(aatcc(Family.AATCC, cycle, temperature) for cycle in CYCLES for temperature in TEMPERATURES),
    *(aatcc(Family.AATCC_M6, cycle, temperature) for cycle in CYCLES for temperature in TEMPERATURES),
    *(iso_a(*row) for row in ISO_A),
)
