"""Sizes into the fewest bins of one room, what comes first going into the first bins. Whole numbers, no units."""

from collections.abc import Sequence

# How many placements may be tried before the search settles for what it has: a few tenths of a second.
EFFORT = 30_000
DEEPEST = 200  # sizes a search may place; more are only fitted in order


class OutOfEffort(Exception):
    """The search was given up; nothing is proven."""


class Bins:
    """Sizes, in order of urgency, and bins that each hold `room` and at most `most` of them.

    Every size fits an empty bin. `assigned[i]` is the bin of size i, counted from 0; `proven` tells that no smaller
    number of bins exists.
    """

    def __init__(self, sizes: Sequence[int], room: int, most: int) -> None:
        self.sizes, self.room, self.most = list(sizes), room, most
        self.proven = True
        self.effort = EFFORT
        self.assigned = self._fewest()
        self.count = max(self.assigned, default=-1) + 1
        self.effort = EFFORT
        self._urgent_first()

    def _fewest(self) -> list[int]:
        """An assignment to the fewest bins: the least number that a bound allows and a search confirms."""
        best = self._first_fit(self._largest_first())
        for count in range(self._bound(), max(best, default=-1) + 1):
            try:
                found = self._complete([-1] * len(self.sizes), count)
            except OutOfEffort:
                self.proven = False
                return best
            if found is not None:
                return found
        return best

    def _bound(self) -> int:
        """No fewer bins can do: by total size, by number, and by the sizes of which no two share a bin."""
        total, n = sum(self.sizes), len(self.sizes)
        large = sum(1 for size in self.sizes if 2 * size > self.room)
        return max(-(-total // self.room), -(-n // self.most), large)

    def _largest_first(self) -> list[int]:
        return sorted(range(len(self.sizes)), key=lambda i: (-self.sizes[i], i))

    def _first_fit(self, order: Sequence[int]) -> list[int]:
        assigned = [-1] * len(self.sizes)
        room: list[int] = []
        held: list[int] = []
        for i in order:
            b = next((b for b in range(len(room)) if room[b] >= self.sizes[i] and held[b] < self.most), len(room))
            if b == len(room):
                room.append(self.room)
                held.append(0)
            room[b] -= self.sizes[i]
            held[b] += 1
            assigned[i] = b
        return assigned

    def _urgent_first(self) -> None:
        """Move each size, the most urgent first, to the earliest bin that still leaves all others a place."""
        by_urgency = self._first_fit(range(len(self.sizes)))
        if max(by_urgency, default=-1) + 1 == self.count:
            self.assigned = by_urgency
            return
        fixed = [-1] * len(self.sizes)
        for i in range(len(self.sizes)):
            opened = max(fixed) + 1
            self._rename(fixed, i, opened)
            for b in range(self.assigned[i]):
                fixed[i] = b
                try:
                    found = self._complete(fixed, self.count)
                except OutOfEffort:
                    return
                if found is not None:
                    self.assigned = found
                    break
            fixed[i] = self.assigned[i]

    def _rename(self, fixed: Sequence[int], i: int, opened: int) -> None:
        """Bins that nothing is fixed in are alike: let size i lie in the first of them if it lies in any."""
        mine = self.assigned[i]
        if mine > opened:
            swap = {mine: opened, opened: mine}
            self.assigned = [swap.get(b, b) for b in self.assigned]

    def _complete(self, fixed: Sequence[int], count: int) -> list[int] | None:
        """`fixed` with a place among `count` bins for every size at -1, None where there is none."""
        room, held = [self.room] * count, [0] * count
        for i, b in enumerate(fixed):
            if b >= 0:
                room[b] -= self.sizes[i]
                held[b] += 1
        if any(free < 0 for free in room) or any(n > self.most for n in held):
            return None
        rest = [i for i in self._largest_first() if fixed[i] < 0]
        if len(rest) > DEEPEST:
            raise OutOfEffort
        left = [0]
        for i in reversed(rest):
            left.append(left[-1] + self.sizes[i])
        assigned = list(fixed)
        return assigned if self._place(rest, left, assigned, room, held) else None

    def _place(self, rest: list[int], left: list[int], assigned: list[int], room: list[int], held: list[int]) -> bool:
        """Depth first, the largest left over into the fullest bin that takes it; bins alike are tried once.

        `left[k]` is the total of the last k of `rest`.
        """
        if not rest:
            return True
        i, smallest = rest[0], self.sizes[rest[-1]]
        usable = [b for b in range(len(room)) if room[b] >= smallest and held[b] < self.most]
        if sum(room[b] for b in usable) < left[len(rest)] or sum(self.most - held[b] for b in usable) < len(rest):
            return False
        size = self.sizes[i]
        seen: set[tuple[int, int]] = set()
        for b in sorted(usable, key=lambda b: room[b]):
            if room[b] < size or (room[b], held[b]) in seen:
                continue
            seen.add((room[b], held[b]))
            self.effort -= 1
            if self.effort < 0:
                raise OutOfEffort
            room[b] -= size
            held[b] += 1
            assigned[i] = b
            if self._place(rest[1:], left, assigned, room, held):
                return True
            room[b] += size
            held[b] -= 1
            assigned[i] = -1
            if room[b] == size and self.most >= len(self.sizes):
                break  # it filled this bin to the brim: no other bin can do better
        return False
