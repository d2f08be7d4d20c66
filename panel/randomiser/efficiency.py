"""How much an incomplete-block plan tells about differences, against complete blocks with as many cups."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

SINGULAR = 1e-9


def efficiency_of(blocks: Sequence[Sequence[int]], samples: int) -> float:
    """Average efficiency factor of blocks: harmonic mean of the canonical ones, over mean replication.

    blocks : each a sequence of different sample indices; empty blocks count nothing
    Returns 0 (no comparison possible between some samples) to 1 (complete blocks), rounded to nine decimals;
    1 for a single sample.
    Source: John and Williams (1995), Cyclic and Computer Generated Designs, 2nd edition, section 2.2; the
    average over all pairs of samples of the variance ratio.
    """
    if samples < 2:
        return 1.0
    information = [[1.0 / samples] * samples for _ in range(samples)]
    cups = 0
    for block in blocks:
        cups += len(block)
        for i in block:
            information[i][i] += 1.0
            for j in block:
                information[i][j] -= 1.0 / len(block)
    trace = _trace_of_inverse(information)
    return 0.0 if trace is None else round((samples - 1) / (trace - 1.0) * samples / cups, 9)


def efficiency_bound(blocks: Sequence[Sequence[int]], samples: int) -> float:
    """What `efficiency_of` cannot exceed with blocks of these sizes; a balanced plan reaches it.

    Arithmetic in place of harmonic mean: t (k - 1) / (k (t - 1)) for blocks of k out of t samples.
    """
    cups = sum(len(block) for block in blocks)
    if samples < 2 or not cups:
        return 1.0
    total = sum(len(block) - 1 for block in blocks if block)
    return round(total / (samples - 1) * samples / cups, 9)


def _trace_of_inverse(matrix: list[list[float]]) -> float | None:
    """Trace of the inverse (Gauss and Jordan with pivots); None for a singular matrix.

    Plain arithmetic in a fixed order rather than a numeric library, so that the figure is the same everywhere.
    """
    n = len(matrix)
    rows = [line + [1.0 if i == j else 0.0 for j in range(n)] for i, line in enumerate(matrix)]
    for i in range(n):
        pivot = max(range(i, n), key=lambda r: abs(rows[r][i]))
        if abs(rows[pivot][i]) < SINGULAR:
            return None
        rows[i], rows[pivot] = rows[pivot], rows[i]
        scale = rows[i][i]
        rows[i] = [value / scale for value in rows[i]]
        for r in range(n):
            factor = rows[r][i]
            if r != i and factor:
                rows[r] = [a - factor * b for a, b in zip(rows[r], rows[i], strict=True)]
    return sum(rows[i][n + i] for i in range(n))
