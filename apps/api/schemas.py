"""What goes in and out, as JSON Schema. Figures are strings, so that no program rounds them."""

from typing import Any

from apps.api.bodies import DEEPEST_STAGE, LABEL, MOMENT, MOST_READINGS, VALUE
from apps.reporting.queries.reports import WORDS

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
WHOLE: Schema = {"type": "integer", "minimum": 0}
FIGURE: Schema = {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$"}
DAY: Schema = {"type": "string", "format": "date"}
INSTANT: Schema = {"type": "string", "format": "date-time"}
DIGEST: Schema = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
DIRECTION: Schema = {"type": "string", "enum": ["length", "width"]}
UNIT: Schema = {"type": "string", "enum": ["mm", "cm", "in", "pct"]}


def _or_null(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


def _ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


def _list(schema: Schema, **more: int) -> Schema:
    return {"type": "array", "items": schema, **more}


def _object(properties: dict[str, Schema], *, optional: dict[str, Schema] | None = None, **more: Any) -> Schema:
    """No name beside these: what is sent is not silently passed over, what is told is not silently more."""
    return {
        "type": "object",
        "properties": {**properties, **(optional or {})},
        "required": list(properties),
        "additionalProperties": False,
        **more,
    }


def _page(of: str) -> Schema:
    about = "Address of the next page; null at the end."
    return _object({"items": _list(_ref(of)), "next": {**_or_null(TEXT), "description": about}})


READ_AT = "When it was read; now, if left out."
CONFIRMED = "Values that look like a slip were looked at again and are right."
JOB_LINE = {
    "number": TEXT,
    "customer": TEXT,
    "purchase_order": TEXT,
    "received_at": INSTANT,
    "due_on": _or_null(DAY),
    "priority": {"type": "string", "enum": ["normal", "urgent"]},
    "standing": _ref("Standing"),
    "href": TEXT,
}
REPORT_LINE = {
    "number": TEXT,
    "job": TEXT,
    "revision": WHOLE,
    "state": {"type": "string", "enum": [*WORDS]},
    "interim": {"type": "boolean", "description": "It says how far the work is; a final one follows."},
    "words": TEXT,
    "issued_at": INSTANT,
    "replaced_by": _or_null(TEXT),
    "href": TEXT,
}
PIECE = {
    "label": TEXT,
    "code": TEXT,
    "stage": {"type": "string", "enum": ["cut", "marked", "ready", "in_load", "owed", "done", "set_aside"]},
    "cycles_done": WHOLE,
    "standing": TEXT,
    "href": TEXT,
}
SCHEMAS: dict[str, Schema] = {
    "Error": _object(
        {
            "error": _object(
                {
                    "code": {**TEXT, "description": "For programs."},
                    "sentence": {**TEXT, "description": "For people."},
                    "field": {
                        **_or_null(TEXT),
                        "description": "A parameter, a header, or a place in the body (JSON Pointer).",
                    },
                },
                optional={"each": _list(_object({"field": TEXT, "sentence": TEXT}))},
            )
        }
    ),
    "Me": _object(
        {
            "person": TEXT,
            "roles": _list(TEXT),
            "customer": _or_null(TEXT),
            "token": _object({"name": TEXT, "ends_on": DAY}),
        }
    ),
    "Standing": _object(
        {
            "step": {
                "type": "string",
                "enum": ["received", "cut_and_marked", "washing", "measuring", "being_reviewed", "reported"],
            },
            "words": TEXT,
        }
    ),
    "JobLine": _object(JOB_LINE),
    "Jobs": _page("JobLine"),
    "Piece": _object(PIECE),
    "Limits": _object({"lower": _or_null(FIGURE), "upper": _or_null(FIGURE)}),
    "Test": _object(
        {
            "code": TEXT,
            "method": TEXT,
            "procedure": TEXT,
            "drying": TEXT,
            "cycles": WHOLE,
            "measured_after": _list(WHOLE),
            "limits": _object({"length": _ref("Limits"), "width": _ref("Limits")}),
            "standing": _ref("Standing"),
        },
        optional={"specimens": {**_list(_ref("Piece")), "description": "Told to the lab's people only."}},
    ),
    "Sample": _object(
        {
            "code": TEXT,
            "description": TEXT,
            "kind": {"type": "string", "enum": ["fabric", "garment"]},
            "construction": {"type": "string", "enum": ["woven", "knit", "mixed"]},
            "fibre": TEXT,
            "colour": TEXT,
            "tests": _list(_ref("Test")),
        }
    ),
    "Job": _object({**JOB_LINE, "samples": _list(_ref("Sample")), "reports": _list(_ref("ReportLine"))}),
    "ReportLine": _object(REPORT_LINE),
    "Reports": _page("ReportLine"),
    "File": _object(
        {
            "kind": {"type": "string", "enum": ["pdf", "json", "csv", "xlsx"]},
            "media_type": TEXT,
            "sha256": _or_null(DIGEST),
            "href": TEXT,
        }
    ),
    "Facts": {
        "type": "object",
        "description": "Everything the report prints, as it was frozen when it was issued.",
        "properties": {"facts_version": {"type": "integer"}},
        "required": ["facts_version"],
    },
    "Report": _object(
        {
            **REPORT_LINE,
            "verification_code": TEXT,
            "withdrawn": _or_null(_object({"at": INSTANT, "reason": TEXT})),
            "facts_sha256": DIGEST,
            "files": _list(_ref("File")),
            "facts": _ref("Facts"),
        }
    ),
    "Due": _object(
        {
            "stage": {**WHOLE, "description": "0 before washing, n after cycle n."},
            "words": TEXT,
            "pairs": _list(
                _object({"direction": DIRECTION, "pair": WHOLE, "name": TEXT, "marked_mm": _or_null(FIGURE)})
            ),
        }
    ),
    "Reading": _object(
        {
            "specimen": {**TEXT, "description": "The label's code, with its check character."},
            "direction": DIRECTION,
            "pair": WHOLE,
            "stage": WHOLE,
            "value": {**TEXT, "description": "As it was sent or typed."},
            "unit": UNIT,
            "mm": {**FIGURE, "description": "The same in millimetres, not rounded."},
            "read_at": INSTANT,
        }
    ),
    "Specimen": _object(
        {
            **PIECE,
            "job": TEXT,
            "sample": TEXT,
            "test": TEXT,
            "method": TEXT,
            "cycles": WHOLE,
            "due": _or_null(_ref("Due")),
            "readings": _list(_ref("Reading")),
        }
    ),
    "Measured": _object(
        {
            "specimen": {"type": "string", "pattern": f"^{LABEL}$"},
            "direction": DIRECTION,
            "pair": {"type": "integer", "minimum": 1, "maximum": 99},
            "stage": {"type": "integer", "minimum": 0, "maximum": DEEPEST_STAGE},
            "value": {"type": "string", "pattern": f"^{VALUE}$"},
            "unit": UNIT,
        }
    ),
    "Readings": _object(
        {"readings": _list(_ref("Measured"), minItems=1, maxItems=MOST_READINGS)},
        optional={
            "at": {"type": "string", "format": "date-time", "pattern": f"^{MOMENT}$", "description": READ_AT},
            "confirmed": {"type": "boolean", "default": False, "description": CONFIRMED},
            "remark": {"type": "string", "maxLength": 300, "description": "Why they are right; the report prints it."},
            "late_reason": {"type": "string", "maxLength": 300, "description": "Why the readings come late."},
            "early_reason": {"type": "string", "maxLength": 300, "description": "Why before it was conditioned."},
        },
    ),
    "Sent": _object(
        {
            "repeated": {"type": "boolean", "description": "Whether this key had been sent before."},
            "readings": _list(_ref("Reading")),
        }
    ),
}
