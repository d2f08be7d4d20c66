"""Search over free serving orders that keeps the places balanced and betters the carry-over."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.randomiser.balance import Order
    from panel.randomiser.chance import Chance

MEMORY = 5  # how many steps back late acceptance compares with
LONGEST_CHAIN = 60
LAST_TRIES = 12_000  # chains tried in the last window, which settles the whole


def least_squares(total: int, cells: int) -> int:
    """The least sum of squares of `cells` whole numbers that sum to `total`: all equal, or one apart."""
    low, more = divmod(total, cells)
    return (cells - more) * low * low + more * (low + 1) * (low + 1)


class _Seating:
    """Rows under change, with their counts: places over all rows, carry-over up to the window at work."""

    def __init__(self, rows: Sequence[Order], samples: int) -> None:
        self.rows = [list(row) for row in rows]
        self.start = self.stop = 0  # the window
        self.places = len(rows[0])
        self.count = [[0] * self.places for _ in range(samples)]
        self.carry = [[0] * samples for _ in range(samples)]
        for row in self.rows:
            for place, sample in enumerate(row):
                self.count[sample][place] += 1
        served = [sum(counts) for counts in self.count]
        self.low = [times // self.places for times in served]
        self.high = [-(-times // self.places) for times in served]
        self.cost = 0
        self.at: list[list[list[int]]] = []  # [place][sample]: rows of the window that have it there

    def open(self, start: int, stop: int) -> None:
        """Take the rows from `start` up to `stop` as the window, and their carry-over into account."""
        self.start, self.stop = start, stop
        self.at = [[[] for _ in self.count] for _ in range(self.places)]
        for index in range(start, stop):
            self._count_carry_over(self.rows[index], 1)
            for place, sample in enumerate(self.rows[index]):
                self.at[place][sample].append(index)

    def window(self) -> list[list[int]]:
        """A copy of the rows of the window."""
        return [list(row) for row in self.rows[self.start : self.stop]]

    def put_back(self, rows: list[list[int]]) -> None:
        """Set the rows of the window to an earlier state."""
        for index, row in enumerate(rows, start=self.start):
            for by, there in ((-1, self.rows[index]), (1, row)):
                self._count_carry_over(there, by)
                for place, sample in enumerate(there):
                    self.count[sample][place] += by
            self.rows[index] = row

    def _count_carry_over(self, row: list[int], by: int) -> None:
        for previous, following in pairwise(row):
            old = self.carry[previous][following]
            self.cost += by * (2 * old + by)
            self.carry[previous][following] = old + by

    def swap(self, index: int, p: int, q: int) -> None:
        """Exchange places p and q of one row, and keep every count and the cost up to date."""
        row = self.rows[index]
        joints = sorted({j for j in (p - 1, p, q - 1, q) if 0 <= j < self.places - 1})
        for j in joints:
            a, b = row[j], row[j + 1]
            self.carry[a][b] -= 1
            self.cost -= 2 * self.carry[a][b] + 1
        a, b = row[p], row[q]
        row[p], row[q] = b, a
        for place, gone, come in ((p, a, b), (q, b, a)):
            self.at[place][gone].remove(index)
            self.at[place][come].append(index)
        self.count[a][p] -= 1
        self.count[a][q] += 1
        self.count[b][q] -= 1
        self.count[b][p] += 1
        for j in joints:
            a, b = row[j], row[j + 1]
            self.cost += 2 * self.carry[a][b] + 1
            self.carry[a][b] += 1

    def chain(self, p: int, q: int, chance: Chance) -> list[int] | None:
        """Swap places p and q in row after row until every place count is in its range again.

        Returns the rows swapped, or None (with everything as before) where the chain grows too long.
        """
        first = self.start + chance.below(self.stop - self.start)
        changed = [first]
        waiting = list(self.rows[first])[p : p + 1] + list(self.rows[first])[q : q + 1]
        self.swap(first, p, q)
        while waiting:
            sample = waiting.pop()
            for here, there in ((p, q), (q, p)):
                while (
                    self.count[sample][here] > self.high[sample]
                    or self.count[sample][there] < self.low[sample]
                ):
                    fit = [i for i in self.at[here][sample] if i not in changed]
                    if not fit or len(changed) >= LONGEST_CHAIN:
                        self.undo(changed, p, q)
                        return None
                    index = chance.choice(fit)
                    waiting.append(self.rows[index][there])
                    self.swap(index, p, q)
                    changed.append(index)
        return changed

    def undo(self, changed: list[int], p: int, q: int) -> None:
        for index in changed:
            self.swap(index, p, q)


def better_carry_over(
    rows: Sequence[Order], samples: int, chance: Chance, tries_per_row: int, window: int
) -> list[Order]:
    """Rows with the same samples in each row, places as balanced as before, carry-over as even as found.

    rows : serving orders of one length in which a sample's counts at the places differ by at most one
    tries_per_row : how many chains of swaps are tried (late acceptance hill climbing, Burke and Bykov 2017,
        European Journal of Operational Research 258, 70-78: whole numbers only, so the same on every machine)
    window : so many rows are bettered at a time, given those before them, so that first rows are even too;
        the last window is tried longer, whatever `tries_per_row`
    """
    seating = _Seating(rows, samples)
    if seating.places < 2:
        return list(rows)
    for start in range(0, len(rows), window):
        stop = min(start + window, len(rows))
        seating.open(start, stop)
        tries = LAST_TRIES if stop == len(rows) else tries_per_row * (stop - start)
        _climb(seating, samples, chance, tries)
    return [tuple(row) for row in seating.rows]


def _climb(seating: _Seating, samples: int, chance: Chance, tries: int) -> None:
    places = seating.places
    goal = least_squares(seating.stop * (places - 1), samples * (samples - 1))
    best, best_cost = seating.window(), seating.cost
    recent = [seating.cost] * MEMORY
    for step in range(tries):
        if best_cost <= goal:
            break
        before = seating.cost
        p = chance.below(places - 1)
        q = p + 1 + chance.below(places - 1 - p)
        changed = seating.chain(p, q, chance)
        if changed is not None and seating.cost > max(before, recent[step % MEMORY]):
            seating.undo(changed, p, q)
        recent[step % MEMORY] = seating.cost
        if seating.cost < best_cost:
            best, best_cost = seating.window(), seating.cost
    if best_cost < seating.cost:
        seating.put_back(best)
