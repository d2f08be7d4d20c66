"""Less than a square of free rows in which no sample has a place twice and no succession comes twice."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from panel.randomiser.balance import Order
    from panel.randomiser.chance import Chance

MOST_CUPS_TRIED = 50_000  # rows × samples over all attempts
MOST_NODES = 400  # of the search for one row


def rows_without_repeats(samples: int, count: int, chance: Chance) -> list[Order] | None:
    """So many rows (fewer than samples), or None where they were not found.

    Row after row is a path through the successions and places still free, by depth first with the samples
    first that have fewest successors left; a row that is not found in time starts everything anew.
    """
    for _ in range(MOST_CUPS_TRIED // (samples * count)):
        free = _Free(samples)
        rows: list[Order] = []
        while len(rows) < count:
            row = free.path(chance)
            if row is None:
                break
            free.take(row)
            rows.append(row)
        if len(rows) == count:
            return rows
    return None


class _Free:
    def __init__(self, samples: int) -> None:
        self.places = [[True] * samples for _ in range(samples)]  # [sample][place]
        self.after = [[i != j for j in range(samples)] for i in range(samples)]  # [previous][next]
        self.nodes = 0

    def take(self, row: Order) -> None:
        for place, sample in enumerate(row):
            self.places[sample][place] = False
            if place:
                self.after[row[place - 1]][sample] = False

    def path(self, chance: Chance) -> Order | None:
        self.nodes = 0
        row: list[int] = []
        left = chance.shuffled(range(len(self.places)))
        return tuple(row) if self._extended(row, left, chance) else None

    def _extended(self, row: list[int], left: list[int], chance: Chance) -> bool:
        if not left:
            return True
        self.nodes += 1
        if self.nodes > MOST_NODES:
            return False
        place = len(row)
        fit = [s for s in left if self.places[s][place] and (not row or self.after[row[-1]][s])]
        fit = sorted(chance.shuffled(fit), key=lambda s: sum(self.after[s][other] for other in left))
        for sample in fit:
            row.append(sample)
            if self._extended(row, [other for other in left if other != sample], chance):
                return True
            row.pop()
        return False
