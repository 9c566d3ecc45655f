"""Laundering procedures: the rows of the wash tables."""

from decimal import Decimal

from apps.methods.catalogue.entries import MEMORY, MOST_HALF, Entry, Fact, H, L, M, entry, unknown
from apps.methods.models import Family

LP1 = "AATCC LP1 and TM135-2018, " + MEMORY
RETAILER = "AATCC tables of the time in a retailer's reprint"
ISO_6330 = "ISO 6330:2012 clause {}, seen in an extract"
ISO_SEEN = "ISO 6330:2012, seen in an extract"
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
FAHRENHEIT = {"II": "80 ± 5 °F", "III": "105 ± 5 °F", "IV": "120 ± 5 °F", "V": "140 ± 5 °F"}
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

TOP_LOADER = "top-loading washer with agitator"
AATCC_BALLAST = "type 1 (cotton) or type 3 (50/50 polyester/cotton)"
AATCC_DETERGENT = "1993 AATCC Standard Reference Detergent"
AATCC_LOAD = (
    Fact("load", "1800 g", MEMORY + "; 4 lb in the UFAC laundering method of 2005", H, "load_mass_g"),
    Fact("load, tolerance", "± 100 g", MEMORY, M, "load_tolerance_g"),
    Fact("alternate load", "3600 g", MEMORY, H),
    unknown("detergent for the alternate load"),
    Fact("ballast", AATCC_BALLAST, "AATCC TM135-2003 clause 5.6, seen in an extract", H, "ballast"),
    Fact("size of a ballast piece", "920 x 920 mm (36 x 36 in)", "AATCC TM135-2003 clause 5.6, seen in an extract", H),
    Fact("ballast piece", "130 ± 10 g", RETAILER, H, "ballast_piece_g"),
    Fact("ballast piece, type 3", "130 ± 10 g", MEMORY, M),
    Fact("cloth of ballast type 1", "bleached cotton sheeting, 155 ± 5 g/m²", RETAILER, H),
    Fact("threads of ballast type 1", "52 ± 2 x 48 ± 2, 16s ring spun", RETAILER, M),
    Fact("detergent", AATCC_DETERGENT, "ISO 6330:2012 clause 6.1.1 names it", H, "detergent"),
    Fact("detergent for this load", "66 ± 1 g", ISO_6330.format("9.3 b (type B)") + "; a trade page", H, "detergent_g"),
    Fact("detergent in soft water", "may be less against suds, and is then recorded", MEMORY, M),
    Fact("rinse temperature", "below 29 °C (85 °F)", MEMORY, M),
)
LOAD_COLUMNS = {
    "load_mass_g": Decimal(1800),
    "load_tolerance_g": Decimal(100),
    "ballast": AATCC_BALLAST,
    "ballast_piece_g": Decimal(130),
    "detergent": AATCC_DETERGENT,
    "detergent_g": Decimal(66),
    "detergent_tolerance_g": Decimal(1),
}


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
        "machine_kind": TOP_LOADER,
        "programme": programme,
        "wash_temp_c": Decimal(degrees),
        "wash_temp_tolerance_c": Decimal(3),
        **LOAD_COLUMNS,
    }
    told = f"{degrees} ± 3 °C ({FAHRENHEIT[code]})"
    facts = [
        Fact("wash temperature", told, temperature_source, H, "wash_temp_c"),
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


def aatcc_late() -> Entry:
    """2011 to 2016: Monograph M6 had several machine tables, none of which was seen. One row to copy from."""
    columns = {
        "family": Family.AATCC_M6_LATE,
        "label": "table not known",
        "title": "Monograph M6 of 2011 to 2016: the machine tables were not seen",
        "source": "AATCC Monograph M6, revised 2010 to 2016",
        "machine_kind": TOP_LOADER,
        "retired": True,
    }
    facts = [
        Fact("machine tables", "several, IIA to IID", "front pages of AATCC Monograph M6 and AATCC's own page", H),
        unknown("wash temperature", field="wash_temp_c"),
        unknown("machine cycle", field="programme"),
        *(unknown(name) for name in MACHINE_NAMES),
        unknown("load", field="load_mass_g"),
        unknown("load, tolerance", field="load_tolerance_g"),
        unknown("ballast", field="ballast"),
        unknown("ballast piece", field="ballast_piece_g"),
        unknown("detergent", field="detergent"),
        unknown("detergent for this load", field="detergent_g"),
        unknown("rinse temperature"),
    ]
    return entry("aatcc-m6-late", columns, facts)


# -------------------------------------------------------------------------------------------------------- ISO 6330

# name, temperature, how sure of it, minutes of main wash (from memory, low), name before 2012; ± 3 °C throughout
ISO_A = (
    ("9N", "92", M, "15", ""),
    ("7N", "70", M, "15", ""),
    ("6N", "60", H, "15", "2A"),
    ("6M", "60", H, "15", "3A"),
    ("5N", "50", H, "15", ""),
    ("5M", "50", H, "15", "4A"),
    ("4N", "40", H, "15", "5A"),
    ("4M", "40", H, "15", "6A"),
    ("4G", "40", H, "3", "7A"),
    ("3N", "30", H, "15", ""),
    ("3M", "30", H, "15", ""),
    ("3G", "30", H, "3", "8A"),
    ("4H", "40", H, "1", "hand wash"),
)
# word, seconds of turning and of rest
ACTIONS = {
    "N": ("normal", "12 s on, 3 s off, each ± 0.1 s"),
    "M": ("mild", "8 s on, 7 s off, each ± 0.1 s"),
    "G": ("gentle", "3 s on, 12 s off, each ± 0.1 s"),
    "H": ("simulated hand wash", None),
}
ISO_BALLAST = "I (cotton), II (50/50 cotton/polyester) or III (polyester)"
ISO_LOAD = (
    Fact("load", "2000 g", "ISO 6330:2012 clause 8.1, " + MEMORY, M, "load_mass_g"),
    Fact("load, tolerance", "± 100 g", "ISO 6330:2012 clause 8.1, " + MEMORY, M, "load_tolerance_g"),
    Fact("specimens in the load", MOST_HALF, MEMORY, M, "specimens_at_most_half"),
    Fact("specimens and ballast", "mixed evenly before loading", ISO_6330.format("9.3"), H),
    Fact("ballast", ISO_BALLAST, ISO_6330.format("5.6"), H, "ballast"),
    Fact("ballast piece, I and II", "130 ± 10 g, 92 x 92 cm", MEMORY, M, "ballast_piece_g"),
    Fact("ballast piece, III", "50 ± 5 g, 20 x 20 cm", MEMORY, M),
)
A_DETERGENT = "reference detergent 2, 3 or 6"
ONLY_A = (
    Fact("detergent", A_DETERGENT, ISO_6330.format("9.3 a"), H, "detergent"),
    Fact("detergent for this load", "20 ± 1 g", ISO_6330.format("9.3 a"), H, "detergent_g"),
    Fact("machine A1, drum", "520 ± 1 mm across, 315 ± 1 mm deep, 61 L", GB_8629, H),
    Fact("machine A1, lifters", "3 of 53 ± 1 mm, at 120°", GB_8629, H),
    Fact("machine A1, turns in the wash", "52 ± 1 rpm", GB_8629, H),
    Fact("machine A1, spin speed", "low 500 ± 20 rpm, high 800 ± 20 rpm", GB_8629, H),
    Fact("machine A1, heating", "5.4 kW; the thermostat stops within ± 1 °C", GB_8629, H),
    Fact("machine A1, filling", "20 ± 2 L/min", GB_8629, H),
    unknown("liquor level"),
    unknown("rinses: number and times"),
    unknown("spins: number and times"),
    unknown("cool-down"),
)
ISO_COLUMNS = {
    "family": Family.ISO,
    "load_mass_g": Decimal(2000),
    "load_tolerance_g": Decimal(100),
    "specimens_at_most_half": True,
    "ballast": ISO_BALLAST,
    "ballast_piece_g": Decimal(130),
}


def iso_a(name: str, degrees: str, confidence: str, minutes: str, before: str) -> Entry:
    action, rhythm = ACTIONS[name[1]]
    columns = {
        **ISO_COLUMNS,
        "label": name,
        "title": f"{action.capitalize()}, {degrees} °C",
        "source": "ISO 6330:2012 Annex B, type A machine",
        "machine_kind": "front-loading drum washer, type A",
        "programme": name,
        "wash_temp_c": Decimal(degrees),
        "wash_temp_tolerance_c": Decimal(3),
        "detergent": A_DETERGENT,
        "detergent_g": Decimal(20),
        "detergent_tolerance_g": Decimal(1),
    }
    facts = [
        Fact("wash temperature", f"{degrees} ± 3 °C", ANNEX_B, confidence, "wash_temp_c"),
        Fact("programme", name, ISO_SEEN, H, "programme"),
        Fact("action", action, ANNEX_B if rhythm is None else ISO_SEEN, H),
        Fact("turning in the wash", rhythm, GB_8629, H) if rhythm else unknown("turning in the wash"),
        Fact("main wash", f"{minutes} min", ANNEX_B, L),
    ]
    if before:
        facts.append(Fact("called before 2012", before, "ISO 6330:2000 and 2001, " + MEMORY, M))
    return entry(f"iso-6330-2012-{name.lower()}", columns, facts, ISO_LOAD, ONLY_A)


def iso_b_or_c(letter: str, machine: str, procedures: int, detergent: str, facts: list[Fact]) -> Entry:
    """Type B and C: the machine, the load and the detergent are known, their tables are not. One row to copy from."""
    columns = {
        **ISO_COLUMNS,
        "label": f"type {letter}, table not known",
        "title": f"{machine.capitalize()}; the table of its {procedures} procedures was not seen",
        "source": f"ISO 6330:2012, type {letter} machine",
        "machine_kind": f"{machine}, type {letter}",
        "detergent": detergent,
        "retired": True,
    }
    about = [
        Fact("machine", machine, ISO_SEEN, H),
        Fact("procedures in its table", str(procedures), ISO_SEEN, H),
        unknown("programme", field="programme"),
        unknown("wash temperature", field="wash_temp_c"),
        unknown("agitation"),
        unknown("wash time"),
        unknown("liquor level"),
        unknown("rinses: number and times"),
        unknown("spins: number and times"),
        *facts,
    ]
    return entry(f"iso-6330-2012-type-{letter.lower()}", columns, about, ISO_LOAD)


B_DETERGENT, C_DETERGENT = "reference detergent 1 or 5, or 2 or 3 by suds", "reference detergent 4"
B_FACTS = [
    Fact("detergent", B_DETERGENT, ISO_6330.format("9.3 b"), H, "detergent"),
    Fact("dose of detergent 1", "66 ± 1 g", ISO_6330.format("9.3 b"), H),
    Fact("dose of detergent 5", "100 ± 1 g", ISO_6330.format("9.3 b"), H),
    Fact("suds at the end of the wash", "not above 3 ± 0.5 cm", ISO_6330.format("9.3 b"), H),
]
C_FACTS = [
    Fact("detergent", C_DETERGENT, ISO_6330.format("9.3 c"), H, "detergent"),
    Fact("dose of detergent 4", "1.33 g/L", ISO_6330.format("9.3 c"), H),
]

WASHES = (
    *(aatcc(Family.AATCC, cycle, temperature) for cycle in CYCLES for temperature in TEMPERATURES),
    *(aatcc(Family.AATCC_M6, cycle, temperature) for cycle in CYCLES for temperature in TEMPERATURES),
    aatcc_late(),
    *(iso_a(*row) for row in ISO_A),
    iso_b_or_c("B", "vertical top loader with agitator", 11, B_DETERGENT, B_FACTS),
    iso_b_or_c("C", "vertical top loader with pulsator", 7, C_DETERGENT, C_FACTS),
)
