"""Permutation distributions of rank statistics: every taster's own ranks shuffled within the taster.

Ties are kept as they are, so the distributions are conditional on them; without ties they are the
usual exact ones.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import permutations
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

# Largest number of (sums, permutation) pairs formed over all tasters: about half a second.
BUDGET = 1_500_000
# Doubled ranks differ by 1 at least; floating dust must not turn a tie into a loss.
DUST = 1e-9


@cache
def _orders(size: int) -> Ints:
    """All permutations of 0..size-1, int (size!, size)."""
    return np.array(list(permutations(range(size))), dtype=np.int64)


def sum_of_squares_distribution(ranks: Floats) -> tuple[Floats, Floats] | None:
    """Values and probabilities of the sum of squared rank sums, or None where it would take too long.

    ranks : (tasters, samples), average ranks within each taster, no gaps. All tasters' shuffles are
    equally likely and independent, so rank sums may be sorted after every taster: few states remain.
    """
    tasters, samples = ranks.shape
    if samples > 6:
        return None
    doubled = np.rint(2 * ranks).astype(np.int64)
    if (np.abs(doubled - 2 * ranks) > DUST).any():
        return None
    orders = _orders(samples)
    base = int(doubled.sum(axis=1).max()) * tasters + 1
    if samples * math.log2(base) > 62:
        return None
    place = base ** np.arange(samples, dtype=np.int64)
    states, weights, left = np.sort(doubled[:1], axis=1), np.ones(1), BUDGET
    for to_come, row in zip(range(tasters - 1, 0, -1), doubled[1:], strict=True):
        shuffled, repeats = np.unique(row[orders], axis=0, return_counts=True)
        # The states only become more, so what this taster costs the others to come will cost at least.
        if len(states) * len(shuffled) * to_come > left:
            return None
        left -= len(states) * len(shuffled)
        states, weights = _add(states, weights, shuffled, repeats / len(orders), place)
    values, where = np.unique((states**2).sum(axis=1), return_inverse=True)
    return values / 4.0, np.bincount(where, weights=weights).astype(float)


def _add(states: Ints, weights: Floats, shuffled: Ints, chance: Floats, place: Ints) -> tuple[Ints, Floats]:
    sums = np.sort((states[:, None, :] + shuffled[None, :, :]).reshape(-1, states.shape[1]), axis=1)
    keys, first, where = np.unique(sums @ place, return_index=True, return_inverse=True)
    mixed = np.bincount(where, weights=np.outer(weights, chance).ravel(), minlength=len(keys))
    return sums[first], mixed.astype(float)


def upper_tail(values: Floats, chances: Floats, observed: float) -> float:
    """P(value >= observed), summed from the small end."""
    return min(1.0, float(chances[values >= observed - DUST * max(1.0, abs(observed))].sum()))


def random_shuffles(ranks: Floats, draws: int, seed: int) -> Floats:
    """Rank sums of `draws` random shuffles, float (draws, samples); nan (a gap) stays where it is."""
    rng = np.random.default_rng(seed)
    samples = ranks.shape[1]
    sums = np.zeros((draws, samples))
    for row in ranks:
        held = np.flatnonzero(~np.isnan(row))
        sums[:, held] += rng.permuted(np.tile(row[held], (draws, 1)), axis=1)
    return sums


def trend_distribution(ranks: Floats) -> tuple[Floats, Floats] | None:
    """Values and probabilities of Page's L = sum of place x rank sum, or None where too long (above 8).

    ranks : (tasters, samples) with the samples in the predicted order.
    """
    samples = ranks.shape[1]
    if samples > 8:
        return None
    doubled = np.rint(2 * ranks).astype(np.int64)
    orders = _orders(samples)
    places = np.arange(1, samples + 1)
    low, total = 0, np.ones(1)
    seen: dict[bytes, tuple[int, Floats]] = {}
    for row in np.sort(doubled, axis=1):
        key = row.tobytes()
        if key not in seen:
            scores = row[orders] @ places
            seen[key] = int(scores.min()), np.bincount(scores - scores.min()) / len(orders)
        start, chances = seen[key]
        low += start
        total = np.convolve(total, chances)
    return (low + np.arange(len(total))) / 2.0, total
