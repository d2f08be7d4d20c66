"""The permutation distribution of Cochran's Q: exact where it can be walked, sampled where it cannot."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import count

if TYPE_CHECKING:
    from stats.score_table import Codes, Floats

STEPS = 60_000  # about a tenth of a second of walking; beyond it permutations are sampled
SAMPLED = 10_000
MANY = 60  # open blocks from which the chi-square form is close enough (common practice, no source)


def exact_or_sampled_p(rows: Codes, columns: Floats, k: int, seed: int) -> tuple[float | None, str]:
    """P(Q >= observed) when every block's answers are permuted over its samples.

    rows : number of checks per block; columns : per sample; k : number of samples
    Given the rows, Q rises with the sum of squared column totals, so that this is the statistic. Blocks that
    checked all or none do not matter. The exact walk adds one block at a time to the sorted column totals,
    which is enough because the blocks' answers are exchangeable over samples.
    """
    open_rows = np.sort(rows[(rows > 0) & (rows < k)])
    fixed = int((rows == k).sum())
    if len(open_rows) > MANY:
        return None, f"left to the chi-square form: {count(len(open_rows), 'block')} tell samples apart"
    observed = float(((columns - fixed) ** 2).sum())
    exact = _walk(open_rows, k, observed)
    if exact is not None:
        return exact, f"exact over the answers of {count(len(open_rows), 'block')}"
    return _sampled(open_rows, k, observed, seed), f"{SAMPLED} sampled permutations, seed {seed}"


def _walk(rows: Codes, k: int, observed: float) -> float | None:
    states: dict[tuple[int, ...], float] = {(0,) * k: 1.0}
    steps = 0
    for row in rows:
        choices = list(combinations(range(k), int(row)))
        steps += len(states) * len(choices)
        if steps > STEPS:
            return None
        grown: dict[tuple[int, ...], float] = {}
        for state, p in states.items():
            for chosen in choices:
                new = list(state)
                for one in chosen:
                    new[one] += 1
                key = tuple(sorted(new))
                grown[key] = grown.get(key, 0.0) + p / len(choices)
        states = grown
    reached = sum(p for state, p in states.items() if sum(one * one for one in state) >= observed - 1e-9)
    return min(reached, 1.0)


def _sampled(rows: Codes, k: int, observed: float, seed: int) -> float:
    """(1 + number at least as extreme) / (1 + number sampled): never zero, valid at any number."""
    rng = np.random.default_rng(seed)
    totals = np.zeros((SAMPLED, k))
    for row, blocks in zip(*np.unique(rows, return_counts=True), strict=True):
        if math.comb(k, int(row)) <= 256:
            # Blocks alike are drawn together: how many fall on each choice of samples is multinomial.
            choices = np.array([np.bincount(one, minlength=k) for one in combinations(range(k), int(row))])
            drawn = rng.multinomial(int(blocks), np.full(len(choices), 1 / len(choices)), size=SAMPLED)
            totals += drawn @ choices
        else:
            for _ in range(int(blocks)):
                # The `row` smallest of k uniform numbers are a uniform choice of `row` samples.
                order = rng.random((SAMPLED, k)).argsort(axis=1).argsort(axis=1)
                totals += order < int(row)
    hits = int(((totals**2).sum(axis=1) >= observed - 1e-9).sum())
    return (1 + hits) / (1 + SAMPLED)
