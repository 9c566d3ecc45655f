"""Results and readings of a report as a workbook, made from its facts: figures as numbers, texts never as formulas."""

from datetime import datetime
from decimal import Decimal
from io import BytesIO
from typing import Any

from apps.reporting.csvtext import COLUMNS, Figure, cell, rows
from apps.reporting.facts.reader import Facts

SHEETS = {"result": "Results", "extra": "Further measurements", "reading": "Readings"}


def workbook_of(facts: Facts) -> bytes:
    """XLSX with a sheet of results and a sheet of readings; of columns, those that the sheet has something in."""
    from openpyxl import Workbook  # a fifth of a second, and only this page needs it
    from openpyxl.styles import Font

    book = Workbook()
    book.remove(book.active)
    issued = datetime.fromisoformat(facts.report["issued_at"]).replace(tzinfo=None)
    book.properties.creator, book.properties.title = cell(facts.lab["name"]), f"{facts.title} {facts.number}"
    book.properties.created = book.properties.modified = issued
    told = list(rows(facts))
    for kind, title in SHEETS.items():
        of_kind = [row for row in told if row["row"] == kind]
        if kind == "extra" and not of_kind:
            continue
        columns = [
            name for name in COLUMNS if name != "row" and any(row.get(name) not in (None, "") for row in of_kind)
        ]
        sheet = book.create_sheet(title)
        sheet.append(columns)
        for row in of_kind:
            sheet.append([_value(row.get(name)) for name in columns])
        for place in sheet[1]:
            place.font = Font(bold=True)
        for line in sheet.iter_rows(min_row=2):
            for place in line:
                if isinstance(place.value, str):
                    place.data_type = "s"
        sheet.freeze_panes = "A2"
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def _value(value: Any) -> Any:
    if isinstance(value, Figure):
        return Decimal(value)
    return value if isinstance(value, int) else cell(value)
