"""A measure sheet in, results out: the same for the page and for the command. Nothing is kept."""

from contextlib import suppress
from typing import TYPE_CHECKING, BinaryIO

if TYPE_CHECKING:
    from apps.sheets.figures import Asked
    from apps.sheets.results import Results

# pandas takes half a second to come up: it is brought in by the first sheet, not by every start of the house.

UNPACKED = 2 << 30  # bytes of an unpacked workbook, when nobody says less
WORKBOOK_ROWS = 1_048_575


def calculate(
    *,
    file: BinaryIO,
    workbook: bool,
    asked: "Asked",
    curve: bool = False,
    unpacked: int = UNPACKED,
    workbook_rows: int = WORKBOOK_ROWS,
) -> "Results":
    """The results of a sheet in a file that can be read again from its start: CSV text, or an XLSX workbook.

    SheetRefused when it is none; WrongRows with everything that is wrong, and then nothing is calculated. `curve` adds
    what only the page shows: the change over the pairs common to all stages, and what asks for a second look.
    """
    from apps.sheets.readings import read_cells
    from apps.sheets.results import results_of

    if workbook:
        from apps.sheets import workbook as books

        readings = read_cells(books.read(file, books.Limits(unpacked, workbook_rows)))
    else:
        readings = _readings_of_text(file)
    return results_of(readings, asked, curve=curve)


def _readings_of_text(file: BinaryIO):
    from apps.sheets import csvfile
    from apps.sheets.readings import NeedsCare, read_cells

    if cells := csvfile.read(file):
        with suppress(NeedsCare):
            return read_cells(cells)
    return read_cells(csvfile.read_with_care(file))
