"""Forced-choice sets: every order of serving used equally, dealt in random blocks of all orders."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import permutations

from panel.randomiser.balance import Balance, Order, balance_of
from panel.randomiser.chance import Chance, check_count

MOST_TASTERS = 100_000


def _arrangements(*compositions: tuple[int, ...]) -> tuple[Order, ...]:
    return tuple(sorted({order for held in compositions for order in permutations(held)}))


# Method -> its orders of samples 0 and 1. In a duo-trio set the reference stands first.
# 3-AFC asks for the strongest of three: sample 1 is the one expected to be stronger, served once.
ORDERS: dict[str, tuple[Order, ...]] = {
    "triangle": _arrangements((0, 0, 1), (0, 1, 1)),  # ISO 4120: six orders
    "duo-trio": ((0, 0, 1), (0, 1, 0), (1, 0, 1), (1, 1, 0)),  # ISO 10399, balanced reference
    "2-AFC": _arrangements((0, 1)),  # ISO 5495
    "3-AFC": _arrangements((0, 0, 1)),  # ISO 13301
    "tetrad": _arrangements((0, 0, 1, 1)),  # ISO 6658: six orders
    "two-out-of-five": _arrangements((0, 0, 0, 1, 1), (0, 0, 1, 1, 1)),  # ISO 6658: twenty orders
    "same-different": ((0, 0), (0, 1), (1, 0), (1, 1)),  # ASTM E2139
    "A-not-A": ((0,), (1,)),  # ISO 8588
    "paired preference": _arrangements((0, 1)),  # ISO 5495
}


@dataclass(frozen=True, slots=True)
class ForcedChoice:
    """Sets of a forced-choice test, one row per taster.

    orders : one tuple of sample indices (0 or 1) per taster in serving order; with replicates, the sets
        one after the other
    sets : [taster][replicate], the same cut into sets
    usage : how often each order was used over all sets
    balance : places and carry-over within the sets
    block_size : how many rows use every order once; rows are dealt in such blocks, each in random order,
        so that any first rows use the orders as equally as their number lets them
    """

    method: str
    orders: tuple[Order, ...]
    sets: tuple[tuple[Order, ...], ...]
    usage: dict[Order, int]
    balance: Balance
    block_size: int
    notes: tuple[str, ...]


def forced_choice(
    method: str, tasters: int, seed: int = 0, replicates: int = 1, *, reference: int | None = None
) -> ForcedChoice:
    """Sets of two samples for a forced-choice test.

    method : "triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad", "two-out-of-five", "same-different",
        "A-not-A" or "paired preference"
    tasters : how many rows
    replicates : sets per taster; within a taster no order comes twice before all were used
    reference : duo-trio only: the sample that is always the reference (constant reference); None balances
        both samples as the reference
    Raises ValueError for an unknown method or a number out of range.
    Source: ISO 4120:2021 (triangle, orders dealt in groups of six), ISO 10399, ISO 5495, ISO 6658.
    """
    orders = orders_of(method, reference)
    check_count("tasters", tasters, 1, MOST_TASTERS, "tasters")
    check_count("replicates", replicates, 1, 100, "sets per taster")
    sets = _dealt(orders, tasters, replicates, Chance(seed, f"orders of {method}"))
    counted = Counter(one for row in sets for one in row)
    usage = {order: counted[order] for order in orders}
    spread = max(usage.values()) - min(usage.values())
    note = (
        f"The {len(orders)} orders of the {method} test are dealt in random blocks of {len(orders)}; "
        f"over {tasters * replicates} sets their use differs by {spread}."
    )
    return ForcedChoice(
        method=method,
        orders=tuple(tuple(sample for one in row for sample in one) for row in sets),
        sets=sets,
        usage=usage,
        balance=balance_of((one for row in sets for one in row), 2),
        block_size=len(orders),
        notes=(note,),
    )


def orders_of(method: str, reference: int | None = None) -> tuple[Order, ...]:
    """The orders of serving that a method uses (with `reference` as in `forced_choice`)."""
    if method not in ORDERS:
        raise ValueError(f"method must be one of {', '.join(ORDERS)}, but got {method!r}")
    if reference is None:
        return ORDERS[method]
    if method != "duo-trio":
        raise ValueError(f"reference is for the duo-trio test only, but the method is {method!r}")
    if reference not in (0, 1):
        raise ValueError(f"reference must be sample 0 or 1, but got {reference!r}")
    return tuple(order for order in ORDERS[method] if order[0] == reference)


def _dealt(
    orders: tuple[Order, ...], tasters: int, replicates: int, chance: Chance
) -> tuple[tuple[Order, ...], ...]:
    rows: list[tuple[Order, ...]] = []
    many = len(orders)
    while len(rows) < tasters:
        # A random Latin square: its rows are tasters, its columns replicates, so that each replicate of
        # a full block uses every order once, and so does each taster within `many` replicates.
        grids = []
        for start in range(0, replicates, many):
            deck, shifts = chance.shuffled(orders), chance.shuffled(range(many))
            grids.append((deck, shifts[: replicates - start]))
        for row in chance.shuffled(range(many)):
            rows.append(tuple(deck[(row + shift) % many] for deck, shifts in grids for shift in shifts))
    return tuple(rows[:tasters])
