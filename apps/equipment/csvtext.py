"""The calibration calendar as a table for a spreadsheet."""

from collections.abc import Iterable, Iterator
from typing import Any

from apps.equipment.models import Equipment
from apps.equipment.queries.due import GROUPS

COLUMNS = (
    *("name", "kind", "maker and type", "serial number", "firmware", "where it stands", "state"),
    *("calibrated on", "certificate", "next due on", "every (months)", "when overdue", "out of service because"),
)


def calendar_rows(rows: Iterable[Equipment]) -> Iterator[tuple[Any, ...]]:
    """A line for each piece of equipment, in the order of COLUMNS."""
    for row in rows:
        yield (
            *(row.name, row.get_kind_display(), row.maker, row.serial_number),
            *(row.firmware, row.location, GROUPS[row.group].lower()),
            *(row.calibrated_on, row.certificate, row.due_on, row.interval_months),
            "refuse" if row.overdue_rule == Equipment.OverdueRule.REFUSE else "disclose",
            row.out_because,
        )
