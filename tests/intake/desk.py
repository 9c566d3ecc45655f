"""What the front desk's forms send: a whole good post, to be bent by each test."""

import uuid

from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod


def a_way(**other) -> dict[str, str]:
    """One way of testing as its fields are sent."""
    return {
        "method": str(TestMethod.objects.get(code="aatcc-tm135-2018-small").pk),
        "procedure": str(LaunderingProcedure.objects.get(code="aatcc-1-iii").pk),
        "drying": str(DryingProcedure.objects.get(code="aatcc-a-i").pk),
        "cycles": "3",
        "measured_after": "1,3",
        "limits": "these",
        "length_lower": "−3",
        "length_upper": "+3,0",
        "width_lower": "-3.0",
        "width_upper": "3 %",
        "limits_source": "the invented specification 12",
        "decision_rule": "simple",
        "can_do": "on",
        "enough_cloth": "on",
        "agreed": "on",
        **other,
    }


def a_cloth(**other) -> dict[str, str]:
    """One sample as its fields are sent."""
    return {
        "description": "shirting, invented",
        "kind": "fabric",
        "construction": "woven",
        "fibre": "100 % cotton",
        "mass_gsm": "120,5",
        "colour": "white",
        "width": "150",
        "length": "200",
        "unit": "cm",
        "condition": "dry, rolled",
        "place": "Shelf 4",
        **other,
    }


def a_job(**other) -> dict[str, str]:
    return {
        "customer": "Quellbach Hemden",
        "contact": "Casey",
        "purchase_order": "PO 4711",
        "received_at": "2026-03-02T11:30",
        "due_on": "2026-03-20",
        "priority": "normal",
        "notes": "",
        **other,
    }


def prefixed(prefix: str, fields: dict[str, str]) -> dict[str, str]:
    return {f"{prefix}-{name}": value for name, value in fields.items()}


def a_sheet(job=None, cloth=None, way=None, *, do: str = "receive", key: uuid.UUID | None = None, **raw) -> dict:
    """The receiving page with one sample and one way of testing."""
    return {
        "key": str(key or uuid.uuid4()),
        "do": do,
        "sample": ["0"],
        "s0-request": ["0"],
        **prefixed("job", a_job(**(job or {}))),
        **prefixed("s0", a_cloth(**(cloth or {}))),
        **prefixed("s0-r0", a_way(**(way or {}))),
        **raw,
    }


# What people and others type where something else belongs. NUL and control characters come from tampered posts.
NONSENSE = {
    "empty": "",
    "spaces": "   ",
    "huge": "9" * 10_000,
    "long": "x" * 10_000,
    "letters": "abc",
    "negative": "-5",
    "minus": "−5",
    "exponent": "1e999",
    "nan": "NaN",
    "infinity": "Infinity",
    "unit": "150 cm",
    "thousand": "1,500",
    "emoji": "🧵🪡",
    "arabic digits": "١٢٣",
    "nul": "a\x00b",
    "control": "a\x07b",
    "markup": "<script>alert(1)</script>",
    "quote": "'; DROP TABLE intake_job; --",
    "lines": "one\r\ntwo",
}
