"""A table as a file: CSV (RFC 4180) or a workbook. No text in it is taken for a formula."""

import csv
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from io import BytesIO, StringIO
from typing import Any

from django.http import HttpResponse
from django.utils import timezone

from apps.core.csvtext import harmless

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def table_file(kind: str, name: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> HttpResponse:
    """The table to be kept as `name`.csv or `name`.xlsx, as `kind` says."""
    if kind == "xlsx":
        response = HttpResponse(as_workbook(columns, rows), content_type=XLSX)
    else:
        text = as_csv(columns, rows)
        response = HttpResponse(text.encode("utf-8-sig"), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    return response


def as_csv(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """CRLF line ends; moments in the lab's time; figures with a point and as many decimals as they have."""
    out = StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([as_text(value) for value in row])
    return out.getvalue()


def as_workbook(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """One sheet; figures are numbers, days are days."""
    from openpyxl import Workbook  # it takes a while to load

    book = Workbook(write_only=True)
    sheet = book.create_sheet("Table")
    sheet.freeze_panes = "A2"
    sheet.append(list(columns))
    for row in rows:
        sheet.append([_value(value) for value in row])
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def as_text(value: Any) -> str:
    """A cell as it is written into CSV."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return timezone.localtime(value).isoformat(timespec="minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return format(value, "f")
    return str(value) if isinstance(value, int | float) else harmless(str(value))


def _value(value: Any) -> Any:
    if isinstance(value, datetime):
        return timezone.localtime(value).replace(tzinfo=None)
    return value if value is None or isinstance(value, int | float | Decimal | date) else harmless(str(value))
