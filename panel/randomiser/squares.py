"""Complete serving orders: Williams squares, and free orders where tasters are no multiple of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.randomiser.balance import Balance, Bound, Order, balance_of
from panel.randomiser.chance import Chance, check_count
from panel.randomiser.forced import MOST_TASTERS
from panel.randomiser.rowwise import rows_without_repeats
from panel.randomiser.search import better_carry_over
from panel.randomiser.sequences import ROWS, clash, starting_rows, zigzag

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_SAMPLES = 60
NEVER_ONE = {(5, 4), (5, 5), (5, 6), (7, 6), (7, 7)}  # samples, tasters: a carry-over spread below 2
Rows = list[Order]


@dataclass(frozen=True, slots=True)
class CompleteOrders:
    """Serving orders in which every taster takes every sample.

    orders : one tuple of sample indices from 0 per taster, in serving order, in dealing order
    blocks : for each row the number (from 1) of the balanced block it belongs to; rows are dealt block by
        block and in random order inside a block
    balance : places and first-order carry-over
    bound : proven lower bounds of the spreads, and whether they are reached
    notes : plain sentences
    """

    samples: int
    orders: tuple[Order, ...]
    blocks: tuple[int, ...]
    balance: Balance
    bound: Bound
    notes: tuple[str, ...]


def williams(samples: int, tasters: int | None = None, seed: int = 0) -> CompleteOrders:
    """Serving orders balanced for place and, after that, for first-order carry-over.

    samples : 1 to 60
    tasters : how many rows; None gives all rows of the square (even number of samples) or two squares (odd)
    seed : whole number from 0 to 2**128 - 1; randomises sample labels, rows and squares
    Where tasters are no multiple of the square, part of a square is dealt or free orders are searched: the
    places always reach their bound. The carry-over does too, except for odd numbers of samples with between
    half and one and a half times as many tasters, where it may miss it by one, seldom two. Raises ValueError
    for a number out of range.
    Source: Williams (1949), Australian Journal of Scientific Research 2, 149-168; MacFie and others (1989),
    Journal of Sensory Studies 4, 129-148. Our rows for odd numbers: see `sequences`.
    """
    check_count("samples", samples, 1, MOST_SAMPLES, "samples")
    rows_in_full = samples if samples % 2 == 0 or samples == 1 else 2 * samples
    if tasters is None:
        tasters = rows_in_full
    check_count("tasters", tasters, 1, MOST_TASTERS, "tasters")
    chance = Chance(seed, f"complete orders of {samples}")
    blocks: list[Rows] = []
    for group in _groups(samples, tasters, chance):
        # Each group is balanced as a whole, so it may be given its own random labels.
        names = chance.shuffled(range(samples))
        for square in group:
            blocks.append(chance.shuffled(tuple(names[s] for s in row) for row in square))
    orders = tuple(row for block in blocks for row in block)
    numbers = tuple(number for number, block in enumerate(blocks, start=1) for _ in block)
    balance = balance_of(orders, samples)
    bound = _bound(samples, tasters, balance)
    return CompleteOrders(samples, orders, numbers, balance, bound, _notes(samples, tasters, balance, bound))


def _groups(samples: int, tasters: int, chance: Chance) -> Iterator[list[Rows]]:
    """Groups of blocks of rows that sum to so many rows; a group is what may be relabelled on its own."""
    if samples % 2 == 0 or samples == 1:
        square = _square(zigzag(samples))
        whole, rest = divmod(tasters, samples)
        yield from ([square] for _ in range(whole))
        if rest:
            yield [chance.chosen(square, rest)]
    elif samples not in ROWS:
        yield from _truncated_pair(samples, tasters)
    else:
        yield from _odd(samples, tasters, chance)


def _square(row: Order) -> Rows:
    return [tuple((sample + step) % len(row) for sample in row) for step in range(len(row))]


def _odd(samples: int, tasters: int, chance: Chance) -> Iterator[list[Rows]]:
    first, partner, second, third = (_square(row) for row in starting_rows(samples))
    whole, rest = divmod(tasters, samples)
    # More than half a square is dealt as a whole square short of some rows.
    short = samples - rest if 2 * rest > samples else 0
    squares = whole + (1 if short else 0)
    if squares == 1:
        yield [_searched(samples, tasters, chance)]
        return
    last = [second, third, first] if squares % 2 else [partner, first]
    for _ in range((squares - len(last)) // 2 if short else squares // 2 - squares % 2):
        yield [first, partner]
    if short:
        yield [*last[:-1], _without(first[0], short, chance)]
    elif squares % 2:
        yield last
    if rest and not short:
        yield [_apart(first[0], rest, chance)]


def _truncated_pair(samples: int, tasters: int) -> Iterator[list[Rows]]:
    """Williams squares and their mirror images, cut off where the tasters end."""
    row = zigzag(samples)
    whole, rest = divmod(tasters, 2 * samples)
    pair = [_square(row), _square(row[::-1])]
    yield from (pair for _ in range(whole))
    if rest:
        yield [pair[0][:rest], *([pair[1][: rest - samples]] if rest > samples else [])]


def _apart(row: Order, count: int, chance: Chance) -> Rows:
    """So many rows of the cyclic square (at most half of them) in which no ordered pair comes twice."""
    square, step, start = _square(row), clash(row) or 1, chance.below(len(row))
    return [square[(start + 2 * step * i) % len(row)] for i in range(count)]


def _without(row: Order, count: int, chance: Chance) -> Rows:
    taken = set(_apart(row, count, chance))
    return [one for one in _square(row) if one not in taken]


def _searched(samples: int, count: int, chance: Chance) -> Rows:
    """More than half a square and less than one and a half, in free rows."""
    hopeless = (samples, count) in NEVER_ONE
    if count < samples and not hopeless and (rows := rows_without_repeats(samples, count, chance)):
        return rows
    row, _, other, _ = starting_rows(samples)
    step = 2 * clash(row)
    square = [_square(row)[step * i % samples] for i in range(samples)]
    chosen = (square + _apart(other, samples // 2, chance))[:count]
    return chosen if count == samples else better_carry_over(chosen, samples, chance, 0, count)


def _simple_bound(samples: int, tasters: int) -> int:
    return 0 if tasters % samples == 0 else 1


def _bound(samples: int, tasters: int, balance: Balance) -> Bound:
    position = carry_over = _simple_bound(samples, tasters)
    if samples == 1:
        position = carry_over = 0
    # With a whole mean a spread that is not 0 is at least 2. One Latin square of order 3, 5 or 7 is never
    # balanced for carry-over: no row-complete square exists (Denes and Keedwell 1974). The other sizes in
    # `NEVER_ONE` were ruled out by going through all sets of rows with balanced places.
    if (samples, tasters) in NEVER_ONE:
        carry_over = 2
    # Three samples: with x and y the uses of the two cyclic classes of orders, balanced places need all sums
    # x + y within one; then only one class is uneven, and the pair counts are sums of two x or of two y.
    if samples == 3 and tasters % 6 in (2, 3, 4):
        carry_over = 2
    return Bound(
        position=position,
        carry_over=carry_over,
        concurrence=None,
        position_reached=balance.position_spread == position,
        carry_over_reached=balance.carry_over_spread == carry_over,
        concurrence_reached=True,
    )


def _notes(samples: int, tasters: int, balance: Balance, bound: Bound) -> tuple[str, ...]:
    reached = (
        "no plan of this size can do better"
        if bound.reached
        else (f"the proven lower bounds are {bound.position} and {bound.carry_over}")
    )
    if balance.position_spread == balance.carry_over_spread == 0:
        return (
            f"Every taster takes all {samples} samples; over {tasters} orders each sample stands at each place, "
            "and directly after each other one, equally often.",
        )
    return (
        f"Every taster takes all {samples} samples; over {tasters} orders the counts of a sample at a place "
        f"differ by at most {balance.position_spread}, those of one sample directly after another by at most "
        f"{balance.carry_over_spread}: {reached}.",
    )
