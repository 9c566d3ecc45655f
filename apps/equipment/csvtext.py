"""The calibration calendar as a table for a spreadsheet."""

import csv
from collections.abc import Iterable
from io import StringIO

from apps.core.csvtext import harmless
from apps.equipment.models import Equipment
from apps.equipment.queries.due import GROUPS

COLUMNS = (
    *("name", "kind", "maker and type", "serial number", "firmware", "where it stands", "state"),
    *("calibrated on", "certificate", "next due on", "every (months)", "when overdue", "out of service because"),
)


def calendar_csv(rows: Iterable[Equipment]) -> str:
    """UTF-8 text with CRLF line ends (RFC 4180); dates as 2026-03-02, texts never formulas."""
    out = StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow(
            (
                *(harmless(value) for value in (row.name, row.get_kind_display(), row.maker, row.serial_number)),
                *(harmless(value) for value in (row.firmware, row.location, GROUPS[row.group].lower())),
                row.calibrated_on or "",
                harmless(row.certificate or ""),
                row.due_on or "",
                row.interval_months or "",
                "refuse" if row.overdue_rule == Equipment.OverdueRule.REFUSE else "disclose",
                harmless(row.out_because or ""),
            )
        )
    return out.getvalue()
