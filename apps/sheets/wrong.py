"""What is wrong with a sheet: as a whole, or row by row."""

from dataclasses import dataclass

from apps.core.errors import Refusal

MOST_TOLD = 1000


@dataclass(frozen=True, order=True, slots=True)
class Wrong:
    """One thing wrong in one row. `cell` is its address in a workbook, empty for a text file."""

    line: int
    column: str
    sentence: str
    cell: str = ""

    def __str__(self) -> str:
        place = f"cell {self.cell}" if self.cell else f"line {self.line}"
        return f"{place}, {self.column}: {self.sentence}" if self.column else f"{place}: {self.sentence}"


class SheetRefused(Refusal):
    """The file as a whole is no measure sheet."""

    code = "no_sheet"


class WrongRows(SheetRefused):
    """Rows of the sheet are wrong: the first MOST_TOLD of them by line and column, and how many there are."""

    code = "wrong_rows"

    def __init__(self, rows: list[Wrong], total: int) -> None:
        self.rows, self.total = rows, total
        count = "1 thing is" if total == 1 else f"{total} things are"
        super().__init__(f"{count} wrong in this sheet; nothing was calculated.", field="file")


def printable(text: str) -> str:
    """What cannot be printed shows as a mark."""
    return "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in text)


def short(text: str, most: int = 40) -> str:
    """A text as a sentence can quote it."""
    return printable(text if len(text) <= most else text[:most] + "…")
