"""Balanced incomplete blocks that are known, and how to write them out."""

from __future__ import annotations

from itertools import combinations
from math import comb

from panel.randomiser.catalogue import CLASSES, PLANS

Block = tuple[int, ...]
MOST_SUBSETS = 60  # all subsets of a size serve as a balanced plan while they are no more than this


def balanced_plan(samples: int, size: int) -> list[Block] | None:
    """A balanced incomplete block plan: every pair of samples equally often in one block; None if none known.

    Pairs, all but one sample, the catalogue, complements of those, and all subsets where these are few.
    """
    small = min(size, samples - size)
    if small == 1:
        plan: list[Block] = [(sample,) for sample in range(samples)]
    elif small == 2:
        plan = list(combinations(range(samples), 2))
    elif (samples, small) in PLANS:
        plan = _developed(samples, *PLANS[samples, small])
    elif rows := resolvable_plan(samples, small):
        plan = [block for row in rows for block in row]
    elif comb(samples, small) <= MOST_SUBSETS:
        plan = list(combinations(range(samples), small))
    else:
        return None
    if size == small:
        return plan
    return [tuple(sample for sample in range(samples) if sample not in block) for block in plan]


def resolvable_plan(samples: int, size: int) -> list[list[Block]] | None:
    """A balanced plan in rows of blocks that hold every sample once together; None if none known."""
    if samples % size:
        return None
    if size == 2:
        # Round robin: one sample stays, the others turn round it.
        turn = samples - 1
        pairs = [(i, turn - i) for i in range(1, samples // 2)]
        flat = _developed(samples, turn, [(turn, 0), *pairs])
    elif samples == size * size and size in (3, 5, 7):
        flat = _affine_plane(size)
    elif (samples, size) in CLASSES:
        flat = _developed(samples, *CLASSES[samples, size])
    else:
        return None
    per_row = samples // size
    return [flat[i : i + per_row] for i in range(0, len(flat), per_row)]


def _affine_plane(prime: int) -> list[Block]:
    """The lines of the affine plane over a prime field, parallel ones together (Bose 1938)."""
    upright = [tuple(range(x * prime, (x + 1) * prime)) for x in range(prime)]
    sloped = [
        tuple(x * prime + (slope * x + start) % prime for x in range(prime))
        for slope in range(prime)
        for start in range(prime)
    ]
    return [*upright, *sloped]


def _developed(samples: int, turn: int, base: list[Block] | str) -> list[Block]:
    """The base blocks under the turns 0, 1, ... turn - 1, which move each run of `turn` samples round.

    Samples beyond the last whole run stay. Blocks come turn by turn, so that base blocks that hold every
    sample once give rows that do.
    """
    blocks = _read(base) if isinstance(base, str) else base
    whole = samples // turn * turn

    def moved(sample: int, by: int) -> int:
        return sample if sample >= whole else sample // turn * turn + (sample % turn + by) % turn

    return [tuple(sorted(moved(s, by) for s in block)) for by in range(turn) for block in blocks]


def _read(text: str) -> list[Block]:
    return [tuple(int(digit, 36) for digit in block) for block in text.split()]
