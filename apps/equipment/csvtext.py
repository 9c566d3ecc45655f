"""The calibration calendar as a table for a spreadsheet."""

import csv
from collections.abc import Iterable
from io import StringIO

from apps.equipment.models import Equipment
from apps.equipment.queries.due import GROUPS

COLUMNS = (
    *("name", "kind", "maker and type", "serial number", "firmware", "where it stands", "state"),
    *("calibrated on", "certificate", "next due on", "every (months)", "when overdue", "out of service because"),
)
# A spreadsheet takes a text that begins so for a formula, the wide forms of some scripts too.
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def calendar_csv(rows: Iterable[Equipment]) -> str:
    """UTF-8 text with CRLF line ends (RFC 4180); dates as 2026-03-02, texts never formulas."""
    out = StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow(
            (
                *(_text(value) for value in (row.name, row.get_kind_display(), row.maker, row.serial_number)),
                *(_text(value) for value in (row.firmware, row.location, GROUPS[row.group].lower())),
                row.calibrated_on or "",
                _text(row.certificate or ""),
                row.due_on or "",
                row.interval_months or "",
                "refuse" if row.overdue_rule == Equipment.OverdueRule.REFUSE else "disclose",
                _text(row.out_because or ""),
            )
        )
    return out.getvalue()


def _text(value: str) -> str:
    text = "".join(sign for sign in value if sign.isprintable())
    return f"'{text}" if text.startswith(FORMULA) else text
