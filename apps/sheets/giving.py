"""Results as files: figures stay figures, texts are never formulas."""

import csv
from decimal import Decimal
from typing import Any, BinaryIO, TextIO

from apps.sheets.results import Results

COLUMNS = ("sample", "direction", "stage", "specimens", "pairs", "change", "sd", "reported")
# A spreadsheet takes a text that begins so for a formula, the wide forms of some scripts too.
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def safe(text: str) -> str:
    """A name as a spreadsheet may open it: one that begins like a formula gets an apostrophe in front."""
    return f"'{text}" if text.startswith(FORMULA) else text


def columns_of(results: Results) -> list[list[Any]]:
    """The columns as they go out."""
    names = {name: safe(name) for name in {*results.columns[0], *results.columns[1]}}
    return [*([names[name] for name in column] for column in results.columns[:2]), *results.columns[2:]]


def write_csv(results: Results, out: TextIO) -> None:
    """One header, one row a result. Figures have a point and an ASCII minus."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(zip(*columns_of(results), strict=True))


def write_workbook(results: Results, out: BinaryIO) -> None:
    """The same columns as a workbook, figures as numbers, and a second sheet with how it was reckoned and the notes."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("Results")
    sheet.freeze_panes = "A2"
    sheet.append([_text(sheet, name) for name in COLUMNS])
    formats = [None] * 5 + ["0.0000", "0.0000", _shown(results.asked.step_digits)]
    for row in zip(*columns_of(results), strict=True):
        sheet.append([_cell(sheet, value, shown) for value, shown in zip(row, formats, strict=True)])
    about = book.create_sheet("About")
    for sentence in about_of(results):
        about.append([_text(about, safe(sentence))])
    book.save(out)


def about_of(results: Results) -> list[str]:
    """How the figures came about, and the notes: sentences."""
    asked = results.asked
    averaging = {
        "ratio_of_means": "the change of the mean lengths",
        "mean_of_changes": "the mean of the specimens' changes",
    }[asked.averaging]
    ties = {"even": "to the even figure", "away": "away from zero"}[asked.tie]
    return [
        f"Change in percent, minus is shrinkage: {averaging} ({asked.averaging}).",
        f"Reported to the nearest {asked.step:f} %, a figure exactly between two {ties}.",
        "sd is the sample standard deviation of the specimens' results, in percent.",
        *results.notes,
    ]


def _shown(digits: int) -> str:
    return "0." + "0" * digits if digits else "0"


def _text(sheet: Any, text: str) -> Any:
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(sheet)
    cell._value, cell.data_type = text, "s"  # as text whatever it looks like; setting `value` would guess
    return cell


def _cell(sheet: Any, value: Any, shown: str | None) -> Any:
    from openpyxl.cell import WriteOnlyCell

    if shown is None:
        return _text(sheet, value) if isinstance(value, str) else value
    if value == "":
        return None
    cell = WriteOnlyCell(sheet, Decimal(value))
    cell.number_format = shown
    return cell
