"""What is typed, well and badly."""

import io
from collections.abc import Mapping
from typing import Any

from django.db.models import Model
from PIL import Image

from apps.equipment.models import Equipment
from apps.intake.models import Specimen
from apps.laundering.models import Load
from apps.measuring.models import RackStay
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod
from tests.walls.house import PASSWORD
from tests.walls.page import PICKED, Control, Form

MARKUP = "\"'><script>alert(1)</script><img src=x onerror=alert(2)>"
LONG = "long " * 2000
BAD = {
    "empty": "",
    "blank": "  \u00a0\u2003 ",
    "long": LONG,
    "emoji": "\U0001f9f5\U0001f469\u200d\U0001f52c",
    "nul": "a\0b",
    "control": "a\x07\x1bb",
    "right to left": "\u202e\u0642\u0645\u0627\u0634",
    "exponent": "1e999",
    "nan": "NaN",
    "infinity": "-Infinity",
    "negative": "-5",
    "arabic figures": "\u0663\u0664\u0665",
    "superscript": "\u00b2",
    "markup": MARKUP,
    "quotes": "'; DROP TABLE intake_job; --",
    "huge": "99999999999999999999",
    "over a small integer": "40000",
    "many decimals": "1." + "3" * 40,
    "hex": "0x10",
    "underscores": "1_000",
    "year nought": "0000-00-00",
    "year one": "0001-01-01T00:00",
    "year 9999": "9999-12-31T23:59",
    "no such day": "2026-02-30T25:61",
    "lines": "one\r\ntwo\n\nthree",
    "template": "{{ 7|add:7 }}{% url 'x' %}%s%(x)s{0}",
    "separators": ",;:|/\\..",
    "missing": None,
    "twice": ["1", "2"],
    "another row": "1",
    "no row": "987654321",
    "minus one": "-1",
    "own name": "__proto__[]",
}
# A key that is none, and one that another form could carry.
KEYS = ("empty", "missing", "twice", "markup", "nul", "long", "arabic figures")
# Of a choice that a browser offers, and of what it sends without asking.
OFFERED = ("empty", "missing", "twice", "another row", "no row", "huge", "minus one", "nul", "markup", "arabic figures")


def bad_values(control: Control) -> list[str]:
    """Names of the bad values that fit a control; every one of BAD for what is typed."""
    if control.name == "key":
        return list(KEYS)
    if control.name == "csrfmiddlewaretoken":
        return []
    return list(BAD) if control.is_typed or control.kind == "password" else [*OFFERED, "long"]


def spoilt(sent: Mapping[str, list[str]], name: str, bad: str) -> dict[str, list[str]]:
    """A submission with one field gone wrong."""
    value = BAD[bad]
    rest = {other: values for other, values in sent.items() if other != name}
    if value is None:
        return rest
    return rest | {name: value if isinstance(value, list) else [value]}


# What a person who knows the lab would type, by the field's own name without the form's prefix

WORDS = {
    "username": "nora",
    "full_name": "Nora Ulme",
    "email": "nora@example.com",
    "password": "a-new-word-for-nora",
    "again": "a-new-word-for-nora",
    "old": PASSWORD,
    "name": "Garnwerk, invented",
    "customer": "Quellbach Hemden",
    "description": "Canvas, invented",
    "reason": "because it was so",
    "answer": "looked at again",
    "judgement": "no influence",
    "place": "Shelf 9",
    "maker": "Walkmeister 3, invented",
    "location": "Laundry",
    "checked": "ran a load",
    "contact": "Casey Quell",
    "purchase_order": "QH-1200",
    "notes": "none",
    "fibre": "100 % cotton",
    "colour": "ecru",
    "mass_gsm": "180.5",
    "width": "150",
    "length": "200",
    "condition": "dry, rolled",
    "remark": "as agreed",
    "specimen_mass_g": "300",
    "ballast_pieces": "11",
    "exhaust_c": "60",
    "text": "251",
    "q": "26",
    "designation": "Lab 12",
    "edition": "1",
    "label": "Lab cotton 35",
    "title": "as the lab does it",
    "programme": "cotton",
    "note": "edition 2018, table 2, page 4",
}
WORDS |= {
    "as_found": "within what it must hold to",
    "temperature": "20.4",
    "humidity": "64.8",
    "mass": "12.34",
    "laboratory": "Garnlabor, Zwirnau",
    "test": "pilling, 2000 rubs",
    "result": "grade 4",
    "reference": "G-17 of 4 May",
    "consent": "Casey Quell, 2 May",
    "agreed_with": "Casey Quell, 5 May",
    "asked_by": "Casey Quell",
    "what": "two pieces too many",
    "found_on": "2026-05-05",
    "fewer_reason": "",
    "early_reason": "the customer waits at the telephone",
    "caption": "a mark near the fold",
    "lot": "8",
    "every_loads": "20",
    "pieces": "A1 length 1\nA1 length 2",
    "length_before": "250 250",
    "length_after": "249 249",
}
SHEET = b"sample,specimen,direction,pair,stage,value,unit\nX,1,length,1,0,35,cm\nX,1,length,1,1,34,cm\n"
_DRAWN = io.BytesIO()
Image.new("RGB", (640, 480), "white").save(_DRAWN, "PNG")
PICTURE = _DRAWN.getvalue()
LEFT_EMPTY = {
    "width_before",
    "width_after",
    "every_days",
    "new_address",
    "new_contact",
    "new_email",
    "due_on",
    "when",
    "at",
    "at_risk",
    "deviation",
}
TICKED = {
    "can_do",
    "enough_cloth",
    "agreed",
    "lint_filter_cleaned",
    "cooled_down",
    "specimen",
    "piece",
    "spun",
    "readers",
}


def own_name(name: str) -> str:
    """`s0-r0-cycles` is cycles, `pair_12` is pair."""
    return "pair" if name.startswith("pair_") else name.rpartition("-")[2]


def well_filled(form: Form) -> dict[str, list[str]]:
    """The form as somebody fills it who knows what belongs there."""
    filled: dict[str, list[str]] = {}
    is_person = {"roles", "full_name"} <= set(form.names)
    for name in form.names:
        controls = form.of(name)
        values = [value for control in controls if (value := _well(control, form)) is not None]
        if controls[0].kind == "radio" and not values:
            values = [controls[0].value]
        if name == "roles" and not values and not any(c.value for c in form.of("customer")):
            values = ["bench"]
        if name == "customer" and is_person:
            values = [controls[0].value]
        if values:
            filled[name] = values
    for name, value in form.buttons[-1:]:
        filled[name] = [value]
    return filled


def _well(control: Control, form: Form) -> str | bytes | None:
    name = own_name(control.name)
    if control.kind in PICKED:
        return control.value if control.on or name in TICKED else None
    if control.kind == "select":
        chosen = control.choices[-1] if name == "person" else _row(name, control.choices)
        return chosen or control.value or next((choice for choice in control.choices if choice), "")
    if control.kind == "file":
        return PICTURE if "photo" in form.path or "logo" in form.path else None if "external" in form.path else SHEET
    if control.kind == "hidden" or (control.value and control.kind != "password"):
        return control.value
    if name == "code" and control.name != "code":
        return _specimen(control.name)
    if form.path == "/sign-in/":
        return {"username": "mara", "password": PASSWORD}.get(name, "")
    if control.name.startswith(("extra_", "piece_")):
        return "250"
    if name == "deviation" and control.name == "deviation-deviation":
        return "hung instead of laid"
    if name in LEFT_EMPTY:
        return ""
    if name == "pair":
        return "250" if "pair_" in control.name else ""
    if name in ("ballast_mass_g", "detergent_g", "water_temp_c"):
        return _as_asked(name, form)
    if name == "password" and "requests" in form.names:
        return PASSWORD
    return WORDS.get(name, "")


def _specimen(name: str) -> str:
    """That may come into a load, or that lies on the rack."""
    ready = Specimen.objects.filter(stage="ready").exclude(pieces__open=True)
    lies = Specimen.objects.filter(pk__in=RackStay.objects.values("specimen"))
    found = (lies if name.startswith("weigh") else ready).first()
    return found.code if found else ""


def _row(name: str, choices: list[str]) -> str:
    """The row of the catalogue, or the machine, that can be chosen."""
    rows: dict[str, Any] = {
        "method": TestMethod.objects.filter(code="aatcc-tm135-2018-small"),
        "procedure": LaunderingProcedure.objects.filter(code="aatcc-1-iii"),
        "drying": DryingProcedure.objects.filter(code="aatcc-a-i"),
        "washer": Equipment.objects.filter(name="Washer 2"),
        "dryer": Equipment.objects.filter(name="Dryer 2"),
    }
    found: Model | None = rows[name].first() if name in rows else None
    return str(found.pk) if found and str(found.pk) in choices else ""


def _as_asked(name: str, form: Form) -> str:
    """What the load's procedure asks for, beside 300 g of specimens."""
    wash = Load.objects.get(pk=int(form.path.split("/")[3])).procedure
    asked = {
        "ballast_mass_g": wash.load_mass_g - 300,
        "detergent_g": wash.detergent_g or 20,
        "water_temp_c": wash.wash_temp_c,
    }
    return format(asked[name], "f")
