"""Incomplete blocks: each taster takes some of the samples, at one sitting or several."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from math import isqrt
from typing import TYPE_CHECKING

from panel.randomiser.balance import Balance, Bound, Order, Table, balance_of
from panel.randomiser.chance import Chance, check_count
from panel.randomiser.choosing import searched_rows
from panel.randomiser.forced import MOST_TASTERS
from panel.randomiser.known_plans import balanced_plan, resolvable_plan
from panel.randomiser.seating import arranged
from panel.randomiser.squares import MOST_SAMPLES

if TYPE_CHECKING:
    pass

Rows = list[list[tuple[int, ...]]]  # per taster, per sitting, a block
STEPS_PER_ROW, STEPS, STEPS_AT_LAST = 8_000, 30_000, 160_000  # of the search, per group of rows
COHORT = 120  # rows searched at once where no balanced plan is known


@dataclass(frozen=True, slots=True)
class IncompleteBlocks:
    """Serving orders in which a sitting of a taster holds `per_taster` of the samples.

    orders : one tuple of sample indices from 0 per taster in serving order; sittings one after the other
    sets : [taster][sitting], the same cut into sittings
    blocks : for each row the number (from 1) of the group of rows it was drawn in
    balance : places, carry-over, concurrence and efficiency, within sittings
    bound : proven lower bounds of the spreads; with a reference, over the other samples
    notes : plain sentences
    """

    samples: int
    per_taster: int
    sittings: int
    reference: int | None
    orders: tuple[Order, ...]
    sets: tuple[tuple[Order, ...], ...]
    blocks: tuple[int, ...]
    balance: Balance
    bound: Bound
    notes: tuple[str, ...]

    @property
    def concurrence(self) -> Table:
        """[i][j], how many sittings of a taster held both samples."""
        return self.balance.concurrence

    @property
    def efficiency(self) -> float:
        """Average efficiency factor (see `efficiency_of`)."""
        return self.balance.efficiency or 0.0

    @property
    def efficiency_bound(self) -> float:
        """What no plan of these block sizes can exceed."""
        return self.balance.efficiency_bound or 0.0


def incomplete_blocks(
    samples: int,
    per_taster: int,
    tasters: int,
    seed: int = 0,
    *,
    sittings: int = 1,
    reference: int | None = None,
) -> IncompleteBlocks:
    """Balanced incomplete blocks where a balanced plan is known, near-balanced ones by search elsewhere.

    samples : 3 to 60
    per_taster : samples at one sitting, from 2 to one less than all
    sittings : of each taster, each with other samples; where they hold all samples together the plan is
        resolvable: each taster is a complete block, and each sitting an incomplete one inside it
    reference : a sample that stands in every block, so that the others are all compared with it
    Raises ValueError for numbers out of range.
    Source: ISO 29842:2024; Cochran and Cox (1957), Experimental Designs, chapters 9, 11 and 13. Places inside
    blocks: see `arranged`.
    """
    check_blocks(samples, per_taster, tasters, sittings, reference)
    chance = Chance(seed, f"blocks of {per_taster} out of {samples}")
    others = [sample for sample in range(samples) if sample != reference]
    size = per_taster - (reference is not None)
    rows: Rows = []
    numbers: list[int] = []
    for number, group in enumerate(_groups(len(others), size, sittings, tasters, chance), start=1):
        rows += [[tuple(others[s] for s in block) for block in row] for row in group]
        numbers += [number] * len(group)
    rows = _spread_over_sittings(rows, samples, chance)
    if reference is not None:
        rows = [[(*block, reference) for block in row] for row in rows]
    seated = arranged([block for row in rows for block in row], samples, chance)
    sets = tuple(tuple(seated[i : i + sittings]) for i in range(0, len(seated), sittings))
    balance = balance_of(seated, samples)
    bound = _bound(samples, per_taster, tasters * sittings, sittings, reference, balance)
    return IncompleteBlocks(
        samples=samples,
        per_taster=per_taster,
        sittings=sittings,
        reference=reference,
        orders=tuple(tuple(sample for order in row for sample in order) for row in sets),
        sets=sets,
        blocks=tuple(numbers),
        balance=balance,
        bound=bound,
        notes=_notes(per_taster, samples, balance, bound, reference),
    )


def check_blocks(samples: int, per_taster: int, tasters: int, sittings: int, reference: int | None) -> None:
    """Raise ValueError where `incomplete_blocks` cannot be drawn."""
    check_count("samples", samples, 3, MOST_SAMPLES, "samples")
    check_count(
        "per_taster", per_taster, 2, samples - 1, f"samples out of {samples} (all of them: see williams)"
    )
    check_count("tasters", tasters, 1, MOST_TASTERS, "tasters")
    check_count("sittings", sittings, 1, 50, "sittings")
    if reference is not None:
        check_count("reference", reference, 0, samples - 1, "(the index of a sample)")
    fixed = 0 if reference is None else 1
    if (per_taster - fixed) * sittings > samples - fixed:
        raise ValueError(
            f"{sittings} sittings of {per_taster} samples are more than the {samples} samples"
            f"{' with the reference in each' if fixed else ''}; ask for fewer sittings or samples per sitting"
        )


def _groups(samples: int, size: int, sittings: int, tasters: int, chance: Chance) -> list[Rows]:
    """Groups of rows, each as balanced as found; whole balanced plans first."""
    plan: Rows | None = None
    if sittings == 1 and size < samples:
        known = balanced_plan(samples, size)
        plan = None if known is None else [[block] for block in known]
    elif size * sittings == samples:
        plan = resolvable_plan(samples, size)
    groups: list[Rows] = []
    met = [[0] * samples for _ in range(samples)]
    while (left := tasters - sum(map(len, groups))) > 0:
        count = min(left, len(plan or ()) or COHORT)
        steps = min(STEPS_PER_ROW * count, STEPS_AT_LAST if count == left else STEPS)
        group = _next_group(plan, (size, sittings, count, steps), met, chance)
        for block in (block for row in group for block in row):
            for i in block:
                for j in block:
                    met[i][j] += 1
        groups.append(group)
    return groups


def _next_group(
    plan: Rows | None, shape: tuple[int, int, int, int], met: list[list[int]], chance: Chance
) -> Rows:
    size, sittings, count, steps = shape
    samples = len(met)
    if size == samples:
        return [[tuple(range(samples))] for _ in range(count)]
    tries = []
    if plan:
        names = chance.shuffled(range(samples))
        named = [[tuple(names[s] for s in block) for block in row] for row in chance.shuffled(plan)]
        tries.append(_evenly_ordered(named, samples)[:count])
        uses, meetings, _ = _unevenness(tries[0], samples)
        if count == len(plan) or max(uses, meetings) <= 1:
            return tries[0]
    rows = searched_rows(samples, size, sittings, count, chance, met, steps)
    tries.append(_evenly_ordered([[tuple(block) for block in row[:-1]] for row in rows], samples))
    return min(tries, key=lambda rows: _unevenness(rows, samples))


def _unevenness(rows: Rows, samples: int) -> tuple[int, int, int]:
    met = balance_of([block for row in rows for block in row], samples)
    uses = [met.concurrence[i][i] for i in range(samples)]
    squares = sum(count * count for line in met.concurrence for count in line)
    return max(uses) - min(uses), met.concurrence_spread, squares


def _evenly_ordered(rows: Rows, samples: int) -> Rows:
    """The rows in an order in which first rows use samples, and pairs, as equally as a greedy choice finds."""
    met = [[0] * samples for _ in range(samples)]
    left, ordered = list(rows), []

    def burden(row: list[tuple[int, ...]]) -> tuple[int, int]:
        uses = sum(met[i][i] for block in row for i in block)
        pairs = sum(met[i][j] for block in row for i in block for j in block if i < j)
        return uses, pairs

    while left:
        row = min(left, key=burden)
        left.remove(row)
        ordered.append(row)
        for block in row:
            for i in block:
                for j in block:
                    met[i][j] += 1
    return ordered


def _spread_over_sittings(rows: Rows, samples: int, chance: Chance) -> Rows:
    """The blocks of each row in an order that puts every sample into every sitting about equally often."""
    count = [[0] * max(len(row) for row in rows) for _ in range(samples)]
    ordered: Rows = []
    for row in rows:
        few = len(row) <= 4
        ways = list(permutations(row)) if few else [tuple(chance.shuffled(row)) for _ in range(24)]
        best = min(
            chance.shuffled(ways),
            key=lambda way: sum(count[s][sitting] for sitting, block in enumerate(way) for s in block),
        )
        for sitting, block in enumerate(best):
            for sample in block:
                count[sample][sitting] += 1
        ordered.append(list(best))
    return ordered


def _bound(
    samples: int, size: int, blocks: int, sittings: int, reference: int | None, balance: Balance
) -> Bound:
    fixed = 0 if reference is None else 1
    met = _without(balance.concurrence, reference, both=True)
    seats = _without(balance.position, reference, both=False)
    followed = _without(balance.carry_over, reference, both=True)
    concurrence = _least_concurrence_spread(samples - fixed, size - fixed, blocks, sittings)
    # With a reference, how often the others follow each other depends on its places: only 0 is proven.
    cells = (samples - fixed) * size
    position = 0 if blocks * (size - fixed) % cells == 0 else 1
    carry_over = 0 if fixed or blocks * (size - 1) % (samples * (samples - 1)) == 0 else 1
    reached = Balance(seats, followed, met)
    return Bound(
        position=position,
        carry_over=carry_over,
        concurrence=concurrence,
        position_reached=reached.position_spread == position,
        carry_over_reached=reached.carry_over_spread == carry_over,
        concurrence_reached=reached.concurrence_spread == concurrence,
    )


def _without(table: Table, reference: int | None, *, both: bool) -> Table:
    keep = [i for i in range(len(table)) if i != reference]
    return tuple(tuple(table[i][j] for j in keep) if both else table[i] for i in keep)


def _least_concurrence_spread(samples: int, size: int, blocks: int, sittings: int) -> int:
    """A proven lower bound: 1 where the mean is no whole number, 2 where it is and no balanced plan exists."""
    if size in (1, samples):
        return 0
    meetings, more = divmod(blocks * size * (size - 1), samples * (samples - 1))
    if more:
        return 1
    impossible = (
        blocks * size % samples != 0  # equal meetings need equal use
        or blocks < samples  # Fisher (1940)
        or (size * sittings == samples and blocks < samples + blocks * size // samples - 1)  # Bose (1942)
        or (blocks == samples and samples % 2 == 0 and isqrt(size - meetings) ** 2 != size - meetings)
        # the line above: Bruck, Ryser and Chowla (1950) for an even number; below: Hall and Connor (1954)
        or (samples, size, blocks) == (15, 5, 21)
    )
    return 2 if impossible else 0


def _notes(size: int, samples: int, balance: Balance, bound: Bound, reference: int | None) -> tuple[str, ...]:
    spread = Balance((), (), _without(balance.concurrence, reference, both=True)).concurrence_spread
    pairs = (
        "every two samples meet equally often: a balanced plan"
        if spread == 0
        else f"the numbers of times that two samples meet differ by at most {spread} "
        f"(proven lower bound {bound.concurrence})"
    )
    notes = [
        f"A sitting holds {size} of the {samples} samples; {pairs}. Efficiency {balance.efficiency:.3f} of at most "
        f"{balance.efficiency_bound:.3f}.",
        f"Counts of a sample at a place differ by at most {balance.position_spread}, those of one sample directly "
        f"after another by at most {balance.carry_over_spread}.",
    ]
    if reference is not None:
        notes.append("The reference stands in every block; the bounds are those of the other samples.")
    return tuple(notes)
