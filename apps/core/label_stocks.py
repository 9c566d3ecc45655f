"""Labels to print on, by size. Sizes in mm.

The sizes are those of common sheets and rolls, from memory; sheets are taken to be centred on the paper. A print on
plain paper held against the sheet shows whether yours is cut so.
"""

from dataclasses import dataclass

A4 = (210.0, 297.0)


@dataclass(frozen=True)
class Stock:
    """One kind of label: a sheet of `columns` x `rows`, or single ones on a roll."""

    code: str
    width: float
    height: float
    columns: int = 1
    rows: int = 1
    gap: float = 0.0
    on_roll: bool = False

    @property
    def name(self) -> str:
        size = f"{self.width:g} x {self.height:g} mm"
        return f"Roll, {size}" if self.on_roll else f"A4, {self.a_sheet} of {size}"

    @property
    def a_sheet(self) -> int:
        return self.columns * self.rows

    @property
    def page(self) -> tuple[float, float]:
        return (self.width, self.height) if self.on_roll else A4

    def corner(self, place: int) -> tuple[float, float]:
        """The lower left corner of the label at this place of a page, counted from 0 along the rows."""
        row, column = divmod(place, self.columns)
        wide = self.columns * self.width + (self.columns - 1) * self.gap
        left, top = (self.page[0] - wide) / 2, (self.page[1] - self.rows * self.height) / 2
        return left + column * (self.width + self.gap), self.page[1] - top - (row + 1) * self.height


STOCKS = {
    stock.code: stock
    for stock in (
        Stock("a4-24", 70, 37, 3, 8),
        Stock("a4-21", 63.5, 38.1, 3, 7, gap=2.5),
        Stock("a4-65", 38.1, 21.2, 5, 13, gap=2.5),
        Stock("a4-8", 99.1, 67.7, 2, 4, gap=2.5),
        Stock("roll-57", 57, 32, on_roll=True),
        Stock("roll-62", 62, 29, on_roll=True),
        Stock("roll-100", 100, 50, on_roll=True),
    )
}
