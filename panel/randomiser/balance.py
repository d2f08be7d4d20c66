"""How balanced a set of serving orders is: places, first-order carry-over, pairs met in one block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.randomiser.efficiency import efficiency_bound, efficiency_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

Table = tuple[tuple[int, ...], ...]
Order = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Balance:
    """Counts over serving orders of samples 0 to n - 1.

    position : [sample][place], how often the sample was served at that place (places from 0)
    carry_over : [previous][next], how often `next` came directly after `previous`
    concurrence : [i][j], how many orders held both; on the diagonal, how many held the sample
    position_spread : largest less smallest count of `position`
    carry_over_spread : the same over the pairs of different samples of `carry_over`
    concurrence_spread : the same over the pairs of different samples of `concurrence`
    efficiency : average efficiency factor of the orders as blocks (see `efficiency_of`), 1 where each holds
        every sample; None where an order holds a sample twice
    efficiency_bound : what no orders of these lengths can exceed; None as above
    """

    position: Table
    carry_over: Table
    concurrence: Table
    efficiency: float | None = None
    efficiency_bound: float | None = None

    @property
    def position_spread(self) -> int:
        """Largest less smallest count of a sample at a place."""
        return _spread(count for row in self.position for count in row)

    @property
    def carry_over_spread(self) -> int:
        """Largest less smallest count of one sample directly after a different one."""
        return _spread(_off_diagonal(self.carry_over))

    @property
    def concurrence_spread(self) -> int:
        """Largest less smallest count of two different samples in one order."""
        return _spread(_off_diagonal(self.concurrence))

    def to_dict(self) -> dict[str, object]:
        """The counts and spreads in plain JSON types."""
        return {
            "position": [list(row) for row in self.position],
            "carry_over": [list(row) for row in self.carry_over],
            "concurrence": [list(row) for row in self.concurrence],
            "position_spread": self.position_spread,
            "carry_over_spread": self.carry_over_spread,
            "concurrence_spread": self.concurrence_spread,
            "efficiency": self.efficiency,
            "efficiency_bound": self.efficiency_bound,
        }


@dataclass(frozen=True, slots=True)
class Bound:
    """What no plan of this size can beat, and whether this plan reaches it.

    position, carry_over, concurrence : proven lower bounds of the spreads (see `Balance`); the one for
        carry-over holds for plans whose places are as balanced as possible, since places come first.
        concurrence is None for complete plans, where every order holds every sample
    position_reached, carry_over_reached, concurrence_reached : whether the plan has exactly that spread
    """

    position: int
    carry_over: int
    concurrence: int | None
    position_reached: bool
    carry_over_reached: bool
    concurrence_reached: bool

    @property
    def reached(self) -> bool:
        """Whether every bound is reached, so that no better plan exists."""
        return self.position_reached and self.carry_over_reached and self.concurrence_reached

    def to_dict(self) -> dict[str, object]:
        """The bounds in plain JSON types."""
        return {
            "position": self.position,
            "carry_over": self.carry_over,
            "concurrence": self.concurrence,
            "reached": self.reached,
        }


def balance_of(orders: Iterable[Sequence[int]], samples: int) -> Balance:
    """The balance of orders as planned, or as really served.

    orders : one sequence of sample indices (0 to samples - 1) per taster; lengths may differ, an empty
        order counts nothing
    samples : how many samples there are
    Raises ValueError for an index outside 0 to samples - 1.
    """
    rows = [tuple(order) for order in orders]
    for number, row in enumerate(rows, start=1):
        wrong = [sample for sample in row if not 0 <= sample < samples]
        if wrong:
            raise ValueError(
                f"order {number} holds sample {wrong[0]!r}; with {samples} samples only 0 to {samples - 1} exist"
            )
    return balance_within([[(sample, 0) for sample in row] for row in rows], samples, 0)


def balance_within(runs: Sequence[Sequence[tuple[int, int]]], samples: int, condition: int) -> Balance:
    """The balance of one condition's servings in runs of (sample, condition).

    Places count every serving of the run; carry-over counts the serving directly before, whatever its
    condition, so that where conditions are mixed a sample may follow itself.
    """
    places = max((len(run) for run in runs), default=0)
    position = [[0] * places for _ in range(samples)]
    carry_over = [[0] * samples for _ in range(samples)]
    concurrence = [[0] * samples for _ in range(samples)]
    for run in runs:
        for place, (sample, served) in enumerate(run):
            if served == condition:
                position[sample][place] += 1
                if place:
                    carry_over[run[place - 1][0]][sample] += 1
    blocks = [[sample for sample, served in run if served == condition] for run in runs]
    for block in blocks:
        held = set(block)
        for i in held:
            for j in held:
                concurrence[i][j] += 1
    return Balance(
        _frozen(position), _frozen(carry_over), _frozen(concurrence), *_efficiencies(blocks, samples)
    )


def _efficiencies(blocks: Sequence[Sequence[int]], samples: int) -> tuple[float | None, float | None]:
    if any(len(set(block)) < len(block) for block in blocks) or not any(blocks):
        return None, None
    if all(len(block) in (0, samples) for block in blocks):
        return 1.0, 1.0
    return efficiency_of(blocks, samples), efficiency_bound(blocks, samples)


def _frozen(table: list[list[int]]) -> Table:
    return tuple(tuple(row) for row in table)


def _off_diagonal(table: Table) -> Iterable[int]:
    return (count for i, row in enumerate(table) for j, count in enumerate(row) if i != j)


def _spread(counts: Iterable[int]) -> int:
    listed = list(counts)
    return max(listed) - min(listed) if listed else 0
