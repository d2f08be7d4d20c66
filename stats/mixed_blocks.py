"""Sums over independent blocks of rows, the only large arithmetic of the mixed model.

Rows that share no level of any random term are independent, so the covariance matrix of the scores is
block diagonal: one block per taster in a tasting. Blocks with the same pattern of levels share their
inverse, so a complete panel of any size needs one small inverse.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stats.score_table import Codes, Floats

    # From a pattern's covariance pieces to the matrix M whose sum F'MF is wanted.
    Kernel = Callable[["Pattern"], Floats]


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """Blocks that share one arrangement of random levels.

    rows : int (blocks, size), row numbers of the frame; kernels : per random term the 0/1 matrix ZZ'
        (size, size); stacked : F rows (blocks, size, q); products : sum over blocks of F_i F_j'
        (size * size, q * q) where that is the cheaper way, else None
    """

    rows: Codes
    kernels: tuple[Floats, ...]
    stacked: Floats
    products: Floats | None

    @property
    def blocks(self) -> int:
        return len(self.rows)

    @property
    def size(self) -> int:
        return int(self.rows.shape[1])

    def quadratic(self, middle: Floats) -> Floats:
        """Sum over blocks of F' M F, float (q, q)."""
        q = self.stacked.shape[2]
        if self.products is not None:
            return (middle.ravel() @ self.products).reshape(q, q)
        out: Floats = np.tensordot(self.stacked, middle @ self.stacked, axes=([0, 1], [0, 1]))
        return out


def patterns(F: Floats, terms: Sequence[Codes]) -> tuple[Pattern, ...]:
    """Blocks of rows of F (n, q) = [X | y] under the random terms' level codes, grouped by pattern."""
    block = _components(len(F), terms)
    order = np.lexsort((*reversed(terms), block))
    starts = np.flatnonzero(np.diff(block[order], prepend=-1))
    sizes = np.diff(starts, append=len(F))
    local = (
        np.stack([_within(block, codes)[order] for codes in terms], axis=1) if terms else order[:, None] * 0
    )
    found = []
    for size in np.unique(sizes):
        at = starts[sizes == size][:, None] + np.arange(size)
        _, group = np.unique(local[at].reshape(len(at), -1), axis=0, return_inverse=True)
        found += [_pattern(F, order[at[group == kind]], terms) for kind in range(int(group.max()) + 1)]
    return tuple(found)


def _within(block: Codes, codes: Codes) -> Codes:
    """Levels of a term numbered from 0 within each block."""
    pairs, index = np.unique(block * (int(codes.max()) + 1) + codes, return_inverse=True)
    blocks = pairs // (int(codes.max()) + 1)
    first = np.flatnonzero(np.diff(blocks, prepend=-1))
    numbered: Codes = (index - first[block]).astype(np.int64)
    return numbered


def _pattern(F: Floats, rows: Codes, terms: Sequence[Codes]) -> Pattern:
    first = rows[0]
    kernels = tuple(np.equal.outer(codes[first], codes[first]).astype(float) for codes in terms)
    stacked = F[rows]
    blocks, size, q = stacked.shape
    products = None
    if blocks > q and size * size * q * q <= 4_000_000:
        wide = stacked.reshape(blocks, size * q)
        products = (wide.T @ wide).reshape(size, q, size, q).transpose(0, 2, 1, 3).reshape(size**2, q**2)
    return Pattern(rows, kernels, stacked, products)


def _components(n: int, terms: Sequence[Codes]) -> Codes:
    """Codes of the groups of rows connected through any shared random level."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if not terms:
        return np.arange(n, dtype=np.int64)
    offsets = n + np.concatenate([[0], np.cumsum([int(codes.max()) + 1 for codes in terms])])
    level = np.concatenate([codes + offset for codes, offset in zip(terms, offsets[:-1], strict=True)])
    row = np.tile(np.arange(n), len(terms))
    total = int(offsets[-1])
    graph = coo_array((np.ones(len(row)), (row, level)), shape=(total, total))
    found: Codes = connected_components(graph, directed=False)[1][:n].astype(np.int64)
    return found
