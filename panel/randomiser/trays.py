"""Codes for the trays of a sitting: which codes share a tray, and which of them stands on which cup."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.randomiser.pool import FAR_APART, families, far_apart, too_close

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.randomiser.chance import Chance

Tray = list[str]
REPAIRS = 30  # passes of exchanges before a partition of the pool is given up
LARGEST_SHARED = 50  # larger trays do not fit beside each other into the pool: a family holds some 51 codes


@dataclass(frozen=True, slots=True)
class Cup:
    """A cup that needs a code: its sample, and the number of the set (task) it belongs to."""

    sample: int
    task: int


def deal_trays(
    count: int, size: int, pool: Sequence[str], taken: list[set[str]], chance: Chance
) -> list[Tray]:
    """Codes for `count` trays of `size` cups: no two on a tray close, none twice as far as the pool goes.

    taken : per tray the codes that its taster had at an earlier sitting; they are not given again
    """
    trays: list[Tray] = []
    while len(trays) < count:
        at_once = len(pool) // size if size <= LARGEST_SHARED else 1
        wanted = min(count - len(trays), max(1, at_once))
        # Later sittings get a choice of trays, since a taster's earlier codes rule some of them out.
        choice = min(2 * wanted, max(1, at_once)) if any(taken) else wanted
        dealt = _partition(choice, size, pool, chance)
        trays += _handed_out(dealt, taken[len(trays) : len(trays) + wanted], pool, chance)
    return trays


def _partition(count: int, size: int, pool: Sequence[str], chance: Chance) -> list[Tray]:
    """So many trays of different codes (fewer cups than the pool has), each tray free of close codes."""
    if size > FAR_APART:
        return [chance.chosen(pool, size)]
    if count == 1:
        return [chance.chosen(far_apart(size, pool, chance), size)]
    for _ in range(5):
        deck = [code for family in families(pool, chance) for code in family]
        trays = [deck[i * size : (i + 1) * size] for i in range(count)]
        unused = deck[count * size :]
        if _repaired(trays, unused, chance):
            return chance.shuffled([chance.shuffled(tray) for tray in trays])
    return _partition(count * 3 // 4, size, pool, chance)


def _repaired(trays: list[Tray], unused: Tray, chance: Chance) -> bool:
    """Exchange codes between trays until none holds two close codes; False where that was not found."""
    for _ in range(REPAIRS):
        clashing = [
            (t, i)
            for t, tray in enumerate(trays)
            for i, code in enumerate(tray)
            if any(too_close(code, other) for other in tray[:i])
        ]
        if not clashing:
            return True
        for t, i in chance.shuffled(clashing):
            _exchange(trays, unused, t, i, chance)
    return False


def _exchange(trays: list[Tray], unused: Tray, t: int, i: int, chance: Chance) -> None:
    """Give the code at tray t, cup i away for one that fits, taken from the unused or from another tray."""
    code, rest = trays[t][i], trays[t][:i] + trays[t][i + 1 :]
    for j in chance.shuffled(range(len(unused))):
        if _fits(unused[j], rest):
            trays[t][i], unused[j] = unused[j], code
            return
    spots = [(u, j) for u in range(len(trays)) if u != t for j in range(len(trays[u]))]
    for u, j in chance.shuffled(spots):
        other = trays[u]
        if _fits(other[j], rest) and _fits(code, other[:j] + other[j + 1 :]):
            trays[t][i], other[j] = other[j], code
            return
    # Nothing fits on both sides: move the clash elsewhere, so that the next pass starts from a new state.
    u, j = chance.choice(spots)
    trays[t][i], trays[u][j] = trays[u][j], code


def _fits(code: str, tray: Tray) -> bool:
    return not any(too_close(code, other) for other in tray)


def _handed_out(
    trays: list[Tray], taken: Sequence[set[str]], pool: Sequence[str], chance: Chance
) -> list[Tray]:
    """The trays in an order in which no taster meets a code again; a fresh tray where no order does it."""
    free = list(range(len(trays)))
    given: list[Tray] = []
    for earlier in taken[: len(trays)]:
        fit = next((t for t in free if earlier.isdisjoint(trays[t])), None)
        if fit is not None:
            free.remove(fit)
            given.append(trays[fit])
            continue
        swap = _swapped(given, taken, earlier, trays, free)
        others = {code for tray in [*given, *(trays[t] for t in free)] for code in tray}
        given.append(swap or _fresh(len(trays[0]), earlier, others, pool, chance))
    return given


def _swapped(
    given: list[Tray], taken: Sequence[set[str]], earlier: set[str], trays: list[Tray], free: list[int]
) -> Tray | None:
    """A tray already given that fits here, where its owner can take a free one instead."""
    for owner, tray in enumerate(given):
        if not earlier.isdisjoint(tray):
            continue
        other = next((t for t in free if taken[owner].isdisjoint(trays[t])), None)
        if other is not None:
            free.remove(other)
            given[owner] = trays[other]
            return tray
    return None


def _fresh(size: int, earlier: set[str], others: set[str], pool: Sequence[str], chance: Chance) -> Tray:
    """A tray without the taster's earlier codes and, if so many are left, without those of other tasters."""
    left = [code for code in pool if code not in earlier]
    unused = [code for code in left if code not in others]
    if size > FAR_APART:
        return chance.chosen(unused if len(unused) >= size else left, size)
    return chance.chosen(far_apart(size, unused, chance, fallback=left), size)


def seat_codes(
    trays: Sequence[Tray], cups: Sequence[Sequence[Cup]], samples: int, chance: Chance
) -> list[Tray]:
    """Each tray's codes in the order of its cups.

    First digits are spread evenly over the cups of each sample, and no tray of three cups or more, nor a
    set of so many, has its codes in ascending or descending order by position.
    """
    used = [[0] * 10 for _ in range(samples)]
    seated = []
    for tray, row in zip(trays, cups, strict=True):
        order = _best_seats(chance.shuffled(tray), row, used, chance)
        for code, cup in zip(order, row, strict=True):
            used[cup.sample][int(code[0])] += 1
        seated.append(order)
    return seated


def _best_seats(order: Tray, row: Sequence[Cup], used: list[list[int]], chance: Chance) -> Tray:
    """Exchange pairs of cups while that evens out first digits, then break up any rising or falling set."""
    size = len(order)

    def uneven(code: str, cup: Cup) -> int:
        return used[cup.sample][int(code[0])]

    pairs = [(i, j) for i in range(size) for j in range(i + 1, size)]
    for _ in range(2):
        for i, j in pairs:
            now = uneven(order[i], row[i]) + uneven(order[j], row[j])
            if uneven(order[j], row[i]) + uneven(order[i], row[j]) < now:
                order[i], order[j] = order[j], order[i]
    if not orderly(order, row):
        return order
    # The exchange that costs least evenness.
    fit = []
    for i, j in pairs:
        order[i], order[j] = order[j], order[i]
        if not orderly(order, row):
            fit.append((uneven(order[i], row[i]) + uneven(order[j], row[j]), i, j))
        order[i], order[j] = order[j], order[i]
    if not fit:
        return _shuffled_until_free(order, row, chance)
    _, i, j = min(fit)
    order[i], order[j] = order[j], order[i]
    return order


def _shuffled_until_free(order: Tray, row: Sequence[Cup], chance: Chance) -> Tray:
    while orderly(order, row):
        order = chance.shuffled(order)
    return order


def orderly(order: Sequence[str], row: Sequence[Cup]) -> bool:
    """Whether the codes of the tray, or of a set on it, rise or fall by position (three cups or more)."""
    sets: dict[int, list[str]] = {}
    for code, cup in zip(order, row, strict=True):
        sets.setdefault(cup.task, []).append(code)
    runs = [list(order), *sets.values()]
    return any(len(run) >= 3 and (run == sorted(run) or run == sorted(run, reverse=True)) for run in runs)


def kind_codes(
    kinds: int,
    pool: Sequence[str],
    rows: Sequence[Sequence[int]],
    sets: Sequence[Sequence[Cup]],
    chance: Chance,
) -> tuple[list[str], bool]:
    """One code per kind of cup (sample, condition, replicate), the same for every taster.

    rows : per tray the kinds of its cups in serving order; sets : the same cups with their tasks
    Returns the codes and whether no tray has them in rising or falling order (not always possible).
    """
    chosen: list[str] = []
    for _ in range(40):
        few = kinds <= FAR_APART
        chosen = chance.chosen(far_apart(kinds, pool, chance) if few else pool, kinds)
        if not any(
            orderly([chosen[kind] for kind in row], cups) for row, cups in zip(rows, sets, strict=True)
        ):
            return chosen, True
    return chosen, False
