"""From orders to servings: which sample stands at which position of which sitting, in which condition."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from panel.randomiser.chance import Chance
from panel.randomiser.forced import forced_choice
from panel.randomiser.incomplete import incomplete_blocks
from panel.randomiser.seating import arranged
from panel.randomiser.squares import williams

if TYPE_CHECKING:
    from panel.randomiser.balance import Bound, Order
    from panel.randomiser.wish import Wish


class Draft(NamedTuple):
    """A serving before it has its code. `same_as` is the position (from 1) of the cup it stays in."""

    sample: int
    condition: int
    replicate: int
    task: int
    sitting: int
    same_as: int | None
    warm_up: bool
    run: int  # servings of one run are balanced together; -1 for a warm-up


@dataclass(frozen=True, slots=True)
class Run:
    """Samples that one taster takes one after another; items are (sample, condition)."""

    sitting: int
    replicate: int
    items: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """All runs of all tasters, with what the designs behind them say."""

    runs: list[list[Run]]
    blocks: tuple[int, ...]
    bounds: tuple[Bound, ...]
    notes: tuple[str, ...]


class Stream(NamedTuple):
    """Orders for all tasters and replicates of one condition: row `taster * replicates + replicate`."""

    orders: tuple[Order, ...]
    blocks: tuple[int, ...]
    bound: Bound


def complete_layout(wish: Wish) -> Layout:
    """Every taster takes every sample, in each condition and replicate."""
    mixed = wish.condition_mode == "crossed"
    items = wish.samples * wish.conditions if mixed else wish.samples
    streams: list[Stream] = []
    for index in range(wish.conditions if wish.condition_mode == "separate" else 1):
        seed = Chance(wish.seed, f"condition {index}").bits(128)
        design = williams(items, wish.tasters * wish.replicates, seed)
        before = [order[-1] for order in streams[-1].orders] if streams else []
        orders = without_repeats(
            design.orders, design.blocks, wish.replicates // wish.sittings, before, Chance(seed, "joints")
        )
        streams.append(Stream(orders, design.blocks, design.bound))
        notes = design.notes
    runs = [
        _runs_of(
            wish, [[s.orders[taster * wish.replicates + r] for s in streams] for r in range(wish.replicates)]
        )
        for taster in range(wish.tasters)
    ]
    blocks = tuple(streams[0].blocks[taster * wish.replicates] for taster in range(wish.tasters))
    return Layout(runs, blocks, tuple(s.bound for s in streams), notes)


def incomplete_layout(wish: Wish, per_taster: int) -> Layout:
    """Every taster takes some samples at each sitting, in each condition and replicate."""
    design = incomplete_blocks(
        wish.samples, per_taster, wish.tasters, wish.seed, sittings=wish.sittings, reference=wish.reference
    )
    mixed = wish.condition_mode == "crossed"
    blocks = [block for row in design.sets for block in row]
    if mixed:
        blocks = [
            tuple(s + c * wish.samples for c in range(wish.conditions) for s in block) for block in blocks
        ]
    items = wish.samples * (wish.conditions if mixed else 1)
    rounds = [
        (condition, replicate)
        for condition in range(wish.conditions if wish.condition_mode == "separate" else 1)
        for replicate in range(1, wish.replicates + 1)
    ]
    # Later rounds serve the same samples in places of their own, as balanced as those of the first.
    orders = [
        blocks
        if index == 0 and not mixed
        else arranged(blocks, items, Chance(wish.seed, f"places of round {index}"))
        for index in range(len(rounds))
    ]
    runs = [
        [
            Run(
                sitting + 1,
                replicate,
                as_items(wish, orders[index][taster * wish.sittings + sitting], condition),
            )
            for sitting in range(wish.sittings)
            for index, (condition, replicate) in enumerate(rounds)
        ]
        for taster in range(wish.tasters)
    ]
    return Layout(runs, design.blocks, (design.bound,), design.notes)


def _runs_of(wish: Wish, orders: list[list[Order]]) -> list[Run]:
    """One taster's runs; `orders` is [replicate][stream]."""
    runs = []
    per_sitting = wish.replicates // wish.sittings
    for sitting in range(wish.sittings):
        replicates = range(sitting * per_sitting, (sitting + 1) * per_sitting)
        # All of one condition (every replicate of it) before the next condition starts.
        for stream in range(len(orders[0])):
            runs += [Run(sitting + 1, r + 1, as_items(wish, orders[r][stream], stream)) for r in replicates]
    return runs


def as_items(wish: Wish, order: Order, condition: int) -> tuple[tuple[int, int], ...]:
    """An order of samples, or of samples × conditions where these are mixed, as (sample, condition)."""
    if wish.condition_mode == "crossed":
        return tuple((item % wish.samples, item // wish.samples) for item in order)
    return tuple((sample, condition) for sample in order)


def without_repeats(
    orders: tuple[Order, ...], blocks: tuple[int, ...], together: int, before: list[int], chance: Chance
) -> tuple[Order, ...]:
    """The rows with some exchanged inside their blocks, so that no taster has a sample twice running.

    together : rows that one taster takes one after another
    before : the last sample of each row's taster in the condition before, by row; may be empty
    """
    rows = list(orders)

    def repeats(index: int) -> bool:
        if not 0 <= index < len(rows):
            return False
        if index % together:
            return rows[index - 1][-1] == rows[index][0]
        return bool(before) and before[index + together - 1] == rows[index][0]

    members: dict[int, list[int]] = {}
    for index, block in enumerate(blocks):
        members.setdefault(block, []).append(index)
    for index in range(len(rows)):
        if not repeats(index):
            continue
        for other in chance.shuffled(members[blocks[index]]):
            touched = {index, index + 1, other, other + 1}
            worse = sum(repeats(i) for i in touched)
            rows[index], rows[other] = rows[other], rows[index]
            if sum(repeats(i) for i in touched) < worse:
                break
            rows[index], rows[other] = rows[other], rows[index]
    return tuple(rows)


def forced_layout(wish: Wish) -> Layout:
    """Forced-choice sets: one per condition and replicate."""
    sets = wish.replicates * (1 if wish.condition_mode == "same cup" else wish.conditions)
    design = forced_choice(wish.method, wish.tasters, wish.seed, sets, reference=wish.reference)
    if wish.condition_mode == "crossed":
        turns = williams(wish.conditions, wish.tasters * wish.replicates, wish.seed).orders
    else:
        turns = (tuple(range(sets // wish.replicates)),) * (wish.tasters * wish.replicates)
    per_sitting = wish.replicates // wish.sittings
    runs: list[list[Run]] = []
    for taster in range(wish.tasters):
        mine = iter(design.sets[taster])
        row: list[Run] = []
        for sitting in range(wish.sittings):
            drawn = [
                Run(sitting + 1, r + 1, tuple((sample, condition) for sample in next(mine)))
                for r in range(sitting * per_sitting, (sitting + 1) * per_sitting)
                for condition in turns[taster * wish.replicates + r]
            ]
            if wish.condition_mode == "separate":
                drawn.sort(key=lambda run: run.items[0][1])
            row += drawn
        runs.append(row)
    blocks = tuple(taster // design.block_size + 1 for taster in range(wish.tasters))
    return Layout(runs, blocks, (), design.notes)


def drafts_of(wish: Wish, runs: list[Run], warm_up: int | None) -> list[Draft]:
    """One taster's servings in order. A rating task is one serving; a set or a ranking is one task."""
    drafts: list[Draft] = []
    task = 0
    together = wish.in_sets or wish.method == "ranking"
    conditions = range(1, wish.conditions if wish.condition_mode == "same cup" else 1)
    for number, run in enumerate(runs):
        if warm_up is not None and (number == 0 or runs[number - 1].sitting != run.sitting):
            task += 1
            drafts.append(Draft(warm_up, 0, 0, task, run.sitting, None, True, -1))
        key = number * wish.conditions
        sets = [run.items] if together else [(item,) for item in run.items]
        for items in sets:
            task += 1
            first = len(drafts) + 1
            for sample, condition in items:
                drafts.append(Draft(sample, condition, run.replicate, task, run.sitting, None, False, key))
            for later in conditions:
                task += 1
                for offset, (sample, _) in enumerate(items):
                    drafts.append(
                        Draft(
                            sample,
                            later,
                            run.replicate,
                            task,
                            run.sitting,
                            first + offset,
                            False,
                            key + later,
                        )
                    )
    return drafts
