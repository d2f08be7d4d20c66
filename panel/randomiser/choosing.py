"""Which samples share a block: search for plans in which every pair meets as equally often as can be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.randomiser.search import least_squares

if TYPE_CHECKING:
    from panel.randomiser.chance import Chance

Row = list[list[int]]  # one taster's blocks, one per sitting; the last list holds the samples left out
MEMORY = 20  # how many steps back late acceptance compares with


def searched_rows(
    samples: int, size: int, sittings: int, count: int, chance: Chance, met: list[list[int]], steps: int
) -> list[Row]:
    """Rows of `sittings` blocks of `size` different samples, with equal use and equal meetings as far as found.

    Late acceptance hill climbing over exchanges: of two samples between the blocks of two rows, or between
    the blocks of one row. The sum of squared meetings decides; the use of the samples stays within one where
    a row has one block, and is weighted in where it has several and leaves samples out.

    met : how often each pair met, and on the diagonal each sample was used, in rows drawn before
    """
    uses = [met[i][i] for i in range(samples)]
    state = _Meetings(_dealt(samples, size, sittings, count, uses, chance), met)
    step_of = _between_rows if sittings == 1 else _inside_a_row
    goal = state.goal()
    recent = [state.cost] * MEMORY
    best, best_cost = state.copied(), state.cost
    for step in range(steps if size > 1 else 0):
        if best_cost <= goal:
            break
        former = state.cost
        move = step_of(state, chance)
        if move is not None:
            state.exchange(*move)
            if state.cost > max(former, recent[step % MEMORY]):
                state.exchange(*move)
        recent[step % MEMORY] = state.cost
        if state.cost < best_cost:
            best, best_cost = state.copied(), state.cost
    return best


Spot = tuple[int, int, int]  # row, block, index in the block


class _Meetings:
    """Rows under change, with how often each pair met and each sample was used."""

    def __init__(self, rows: list[Row], before: list[list[int]]) -> None:
        self.rows = rows
        self.met = [list(line) for line in before]
        for row in rows:
            for block in row[:-1]:
                for i in block:
                    for j in block:
                        self.met[i][j] += 1
        # Diagonal (uses) and both halves of the table enter the sum, so that uneven use costs too.
        self.cost = sum(count * count for line in self.met for count in line)

    def goal(self) -> int:
        samples = len(self.met)
        uses = sum(self.met[i][i] for i in range(samples))
        meetings = (sum(map(sum, self.met)) - uses) // 2
        return 2 * least_squares(meetings, samples * (samples - 1) // 2) + least_squares(uses, samples)

    def exchange(self, one: Spot, other: Spot) -> None:
        block, there = self.rows[one[0]][one[1]], self.rows[other[0]][other[1]]
        self._count(one, -1)
        self._count(other, -1)
        block[one[2]], there[other[2]] = there[other[2]], block[one[2]]
        self._count(one, 1)
        self._count(other, 1)

    def _count(self, spot: Spot, by: int) -> None:
        """Count the meetings of the sample at a spot with the rest of its block, and its own use."""
        row = self.rows[spot[0]]
        if spot[1] == len(row) - 1:
            return
        block = row[spot[1]]
        sample = block[spot[2]]
        for other in block:
            old = self.met[sample][other]
            self.met[sample][other] = self.met[other][sample] = old + by
            self.cost += (1 if other == sample else 2) * by * (2 * old + by)

    def copied(self) -> list[Row]:
        return [[list(block) for block in row] for row in self.rows]


def _between_rows(state: _Meetings, chance: Chance) -> tuple[Spot, Spot] | None:
    if len(state.rows) < 2:
        return None
    a, b = chance.below(len(state.rows)), chance.below(len(state.rows))
    one, other = state.rows[a][0], state.rows[b][0]
    i, j = chance.below(len(one)), chance.below(len(other))
    if one[i] in other or other[j] in one:
        return None
    return (a, 0, i), (b, 0, j)


def _inside_a_row(state: _Meetings, chance: Chance) -> tuple[Spot, Spot] | None:
    a = chance.below(len(state.rows))
    row = state.rows[a]
    parts = len(row) if row[-1] else len(row) - 1
    s, t = chance.below(parts), chance.below(parts)
    if s == t:
        return None
    return (a, s, chance.below(len(row[s]))), (a, t, chance.below(len(row[t])))


def _dealt(samples: int, size: int, sittings: int, count: int, uses: list[int], chance: Chance) -> list[Row]:
    """Rows of the samples used least so far, so that the samples are used equally often."""
    used = list(uses)
    rows: list[Row] = []
    for _ in range(count):
        order = sorted(chance.shuffled(range(samples)), key=lambda sample: used[sample])
        hand = chance.shuffled(order[: size * sittings])
        for sample in hand:
            used[sample] += 1
        left = order[size * sittings :] if sittings > 1 else []
        rows.append([*(hand[i * size : (i + 1) * size] for i in range(sittings)), left])
    return rows
