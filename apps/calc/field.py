"""The part of a sample where cuts may lie, and the spots still free for one: whole numbers, no units."""

from collections.abc import Sequence

Spot = tuple[int, int]  # x, y of a square's lower-left corner
Box = tuple[int, int, int, int]  # left, bottom, right, top


class Field:
    """An area, the side of the equal squares to place, at most `most` of them, and the boxes that are taken.

    Any arrangement can be pressed to the left and downwards until each square stands against the edge of the area, a
    taken box or another square, and stays an arrangement of the same kind. So only these stops need to be tried: the
    edges, plus up to `most` - 1 whole sides. `columns[x]` and `rows[y]` list, rising, the free y of an x and the free
    x of a y.
    """

    def __init__(self, area: Box, side: int, most: int, taken: Sequence[Box]) -> None:
        self.area, self.side, self.most = area, side, most
        left, bottom, right, top = area
        self.taken = [box for box in taken if box[0] < right and left < box[2] and box[1] < top and bottom < box[3]]
        xs = self._stops(left, right, [box[2] for box in self.taken])
        ys = self._stops(bottom, top, [box[3] for box in self.taken])
        self.rows: dict[int, list[int]] = {}
        self.columns: dict[int, list[int]] = {x: [] for x in xs}
        for y in ys:
            beside = [box for box in self.taken if box[1] < y + side and y < box[3]]
            free = [x for x in xs if not any(box[0] < x + side and x < box[2] for box in beside)]
            if free:
                self.rows[y] = free
            for x in free:
                self.columns[x].append(y)
        self.columns = {x: free for x, free in self.columns.items() if free}

    def _stops(self, low: int, high: int, edges: list[int]) -> list[int]:
        starts = {low, *(edge for edge in edges if edge > low)}
        stops = {start + k * self.side for start in starts for k in range(self.most)}
        return sorted(stop for stop in stops if stop + self.side <= high)

    @property
    def across(self) -> int:
        """How many squares fit side by side across the empty area."""
        return (self.area[2] - self.area[0]) // self.side

    @property
    def along(self) -> int:
        """How many squares fit one above the other along the empty area."""
        return (self.area[3] - self.area[1]) // self.side

    def spots(self) -> list[Spot]:
        """Every free spot, row by row from below."""
        return [(x, y) for y, free in self.rows.items() for x in free]

    def all_free(self, spots: Sequence[Spot]) -> bool:
        """Whether squares at these spots of the area overlap no taken box."""
        return not any(
            box[0] < x + self.side and x < box[2] and box[1] < y + self.side and y < box[3]
            for x, y in spots
            for box in self.taken
        )

    def turned(self) -> "Field":
        """The same field with x and y exchanged."""
        turned_boxes = [(bottom, left, top, right) for left, bottom, right, top in self.taken]
        left, bottom, right, top = self.area
        return Field((bottom, left, top, right), self.side, self.most, turned_boxes)


def turn(spots: Sequence[Spot]) -> list[Spot]:
    """The spots with x and y exchanged."""
    return [(y, x) for x, y in spots]


def evenly(low: int, high: int, side: int, count: int, unit: int) -> list[int]:
    """`count` sides spread evenly from `low` to `high`, gaps cut to whole `unit`s; a single one in the middle.

    They must fit: count * side <= high - low.
    """
    if count == 1:
        return [low + (high - low - side) // 2 // unit * unit]
    step = (high - low - side) // (count - 1)
    step = max(side, step // unit * unit)
    return [low + i * step for i in range(count)]
