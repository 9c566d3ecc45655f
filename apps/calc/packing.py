"""The searches behind the cutting plan, each over the stops of a `Field`, each giving spots or None.

None means that nothing of the kind fits; only on crowded fields with many squares a bound on the steps may end
a search early.
"""

from bisect import bisect_left, bisect_right
from math import ceil

from .field import Field, Spot, turn

_DIAGONAL_STEPS = 150_000
_MOST_STEPS = 2_000_000


def diagonal(field: Field, count: int) -> list[Spot] | None:
    """`count` squares of which no two share an x or a y."""
    if min(field.across, field.along) < count:
        return None
    side, right = field.side, field.area[2]
    # Placed from left to right, what matters of the squares so far is which y they use and how far right they reach.
    reached: dict[tuple[int, ...], tuple[int, list[Spot]]] = {(): (field.area[0], [])}
    for left_over in range(count, 0, -1):
        steps = _DIAGONAL_STEPS // count
        further: dict[tuple[int, ...], tuple[int, list[Spot]]] = {}
        for used, (reach, spots) in sorted(reached.items(), key=lambda item: item[1][0]):
            for y, free in field.rows.items():
                if any(abs(y - other) < side for other in used):
                    continue
                at = bisect_left(free, reach)
                if at == len(free) or free[at] + left_over * side > right:
                    continue
                if left_over == 1:
                    return [*spots, (free[at], y)]
                key = tuple(sorted((*used, y)))
                if key not in further or free[at] + side < further[key][0]:
                    further[key] = (free[at] + side, [*spots, (free[at], y)])
            steps -= len(field.rows)
            if steps < 0:
                break
        reached = further
    return None


def ell(field: Field, count: int) -> list[Spot] | None:
    """`count` squares (three or more) in one column and one row that meet at an end of both; two share no x and no y.

    The corner itself may be empty or a little off where taken areas ask for it, and so may the arms of an L of three:
    there any place does that leaves two squares without a common x or y.
    """
    if count < 3 or min(field.across, field.along) < 2 or (field.across + field.along - 1 < count):
        return None
    upright = _ell_with_corner_in_column(field, count)
    if upright is not None:
        return upright
    turned = _ell_with_corner_in_column(field.turned(), count)
    if turned is not None:
        return turn(turned)
    return _two_apart_and_one(field) if count == 3 else None


def _ell_with_corner_in_column(field: Field, count: int) -> list[Spot] | None:
    side = field.side
    tallest = {x: len(_chain_up(free, free[0], side, count)) for x, free in field.columns.items()}
    widest = {y: len(_chain_up(free, free[0], side, count)) for y, free in field.rows.items()}
    for x, column in field.columns.items():
        for y, row in field.rows.items():
            if tallest[x] + widest[y] < count:
                continue
            for upward in (_chain_up(column, y, side, count), _chain_down(column, y, side, count)):
                # A first square at the corner shares its y with the row; only the next one is clear of it.
                least = 1 if upward and abs(upward[0] - y) >= side else 2
                for sideways in (_chain_up(row, x + side, side, count), _chain_down(row, x - side, side, count)):
                    if sideways and len(upward) >= least and len(upward) + len(sideways) >= count:
                        tall = min(len(upward), max(least, count - len(sideways), ceil(count / 2)))
                        return [(x, at) for at in upward[:tall]] + [(at, y) for at in sideways[: count - tall]]
    return None


def _chain_up(free: list[int], start: int, side: int, count: int) -> list[int]:
    """Up to `count` of the free stops from `start` upwards, a side or more apart, as low as possible."""
    chain: list[int] = []
    at = bisect_left(free, start)
    while at < len(free) and len(chain) < count:
        chain.append(free[at])
        at = bisect_left(free, free[at] + side)
    return chain


def _chain_down(free: list[int], start: int, side: int, count: int) -> list[int]:
    """Up to `count` of the free stops from `start` downwards, a side or more apart, as high as possible."""
    chain: list[int] = []
    at = bisect_right(free, start) - 1
    while at >= 0 and len(chain) < count:
        chain.append(free[at])
        at = bisect_right(free, free[at] - side) - 1
    return chain


def _two_apart_and_one(field: Field) -> list[Spot] | None:
    """Three squares of which two share no x and no y; the third lies anywhere beside them."""
    for third in field.spots():
        pair = _two_apart(field, third)
        if pair is not None:
            return [*pair, third]
    return None


def _two_apart(field: Field, third: Spot) -> tuple[Spot, Spot] | None:
    """Two squares clear of `third` that share no x and no y: lowest and highest of each column tell."""
    side = field.side
    ends = [(x, *found) for x, free in field.columns.items() if (found := _ends_beside(free, x, third, side))]
    lowest: Spot | None = None
    highest: Spot | None = None
    passed = 0
    for x, low, high in ends:
        while ends[passed][0] <= x - side:
            earlier, its_low, its_high = ends[passed]
            if lowest is None or its_low < lowest[1]:
                lowest = (earlier, its_low)
            if highest is None or its_high > highest[1]:
                highest = (earlier, its_high)
            passed += 1
        if lowest is not None and high - lowest[1] >= side:
            return lowest, (x, high)
        if highest is not None and highest[1] - low >= side:
            return highest, (x, low)
    return None


def _ends_beside(free: list[int], x: int, third: Spot, side: int) -> tuple[int, int] | None:
    """The lowest and the highest free y of column `x` for a square clear of `third`."""
    if abs(x - third[0]) >= side:
        return free[0], free[-1]
    below, above = bisect_right(free, third[1] - side), bisect_left(free, third[1] + side)
    if below == 0 and above == len(free):
        return None
    return free[0] if below else free[above], free[-1] if above < len(free) else free[below - 1]


def line(field: Field, count: int) -> list[Spot] | None:
    """`count` squares in one row; else in one column."""
    for y, free in field.rows.items():
        chain = _chain_up(free, free[0], field.side, count)
        if len(chain) == count:
            return [(x, y) for x in chain]
    for x, free in field.columns.items():
        chain = _chain_up(free, free[0], field.side, count)
        if len(chain) == count:
            return [(x, y) for y in chain]
    return None


def most(field: Field, count: int) -> list[Spot]:
    """As many squares as fit, up to `count`, placed anyhow."""
    spots = field.spots()
    found = _greedy(spots, field.side, count)
    cells = _fewest_cells(spots, field.side)
    steps = [_MOST_STEPS]
    for target in range(min(count, len(cells)), len(found), -1):
        better = _choose(cells, field.side, target, steps)
        if better is not None:
            return better
    return found


def _greedy(spots: list[Spot], side: int, count: int) -> list[Spot]:
    chosen: list[Spot] = []
    for x, y in spots:
        if len(chosen) < count and all(abs(x - a) >= side or abs(y - b) >= side for a, b in chosen):
            chosen.append((x, y))
    return chosen


def _fewest_cells(spots: list[Spot], side: int) -> list[list[Spot]]:
    """The spots in cells of a grid as wide as a side: two spots of one cell overlap, so each cell gives one square.

    The number of cells therefore bounds the number of squares; of some offsets the one with the fewest cells is taken.
    """
    best: list[list[Spot]] = []
    for x_offset in sorted({x % side for x, _ in spots})[:6]:
        for y_offset in sorted({y % side for _, y in spots})[:6]:
            cells: dict[Spot, list[Spot]] = {}
            for x, y in spots:
                cells.setdefault(((x - x_offset) // side, (y - y_offset) // side), []).append((x, y))
            if not best or len(cells) < len(best):
                best = list(cells.values())
    return best


def _choose(cells: list[list[Spot]], side: int, target: int, steps: list[int]) -> list[Spot] | None:
    """One spot from each of `target` cells, no two overlapping: the cell with the fewest spots first."""
    if target == 0:
        return []
    if len(cells) < target or steps[0] < 0:
        return None
    tightest = min(cells, key=len)
    others = [cell for cell in cells if cell is not tightest]
    size = sum(map(len, others))
    for x, y in tightest:
        if steps[0] < 0:
            return None
        steps[0] -= size
        clear = [[spot for spot in cell if abs(spot[0] - x) >= side or abs(spot[1] - y) >= side] for cell in others]
        rest = _choose([cell for cell in clear if cell], side, target - 1, steps)
        if rest is not None:
            return [(x, y), *rest]
    return _choose(others, side, target, steps)
