"""Least squares with tasters (and what is nested in them) swept out, never written as dummy columns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stats.score_table import Codes, Floats

# A direction whose sum of squares is below this share of the largest is dust, not a parameter.
RANK_TOLERANCE = 1e-10


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A least-squares fit: coefficients of the global columns, their unscaled covariance, and the rest."""

    coefficients: Floats
    unscaled: Floats
    residuals: Floats
    rss: float
    df: int
    rank: int


def sum_coded(levels: int) -> Floats:
    """Sum-to-zero coding, float (levels, levels - 1): a term's effects add up to nothing."""
    return np.vstack([np.eye(levels - 1), -np.ones((1, levels - 1))])


def crossed(first: Floats, second: Floats) -> Floats:
    """Columns of an interaction: every column of one times every column of the other."""
    return (first[:, :, None] * second[:, None, :]).reshape(len(first), -1)


def means_by(group: Codes, columns: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Column means per group (groups, columns) and rows per group."""
    counts = np.bincount(group)
    sums = np.stack([np.bincount(group, weights=column) for column in columns.T], axis=1)
    return sums / counts[:, None], counts


def cells(*factors: Codes) -> Codes:
    """One code per combination that occurs."""
    key = np.zeros_like(factors[0])
    for codes in factors:
        key = key * (int(codes.max()) + 1) + codes
    found: Codes = np.unique(key, return_inverse=True)[1]
    return found


def swept(columns: Floats, taster: Codes, nested: tuple[Codes, ...]) -> tuple[Floats, int]:
    """`columns` with taster effects removed, and with each nested factor's effects within taster; and
    how many parameters that took.

    taster : codes (n,), rows sorted by taster; nested : factor codes, each crossed with taster.
    """
    if len(nested) <= 1:
        group = cells(taster, *nested)
        means, counts = means_by(group, columns)
        return columns - means[group], len(counts)
    out, rank = np.empty_like(columns), 0
    edges = np.flatnonzero(np.diff(taster)) + 1
    for rows in np.split(np.arange(len(taster)), edges):
        dummies = np.hstack([np.equal.outer(codes[rows], np.unique(codes[rows])) for codes in nested])
        u, size, _ = np.linalg.svd(dummies.astype(float), full_matrices=False)
        u = u[:, size**2 > RANK_TOLERANCE * size[0] ** 2]
        out[rows] = columns[rows] - u @ (u.T @ columns[rows])
        rank += u.shape[1]
    return out, rank


def fit(y: Floats, X: Floats, taster: Codes, nested: tuple[Codes, ...] = ()) -> Fit:
    """Least squares of y on global columns X (n, q) beside the swept taster terms.

    A column that the swept terms already explain gets a zero coefficient; `rank` counts the others.
    """
    both, taken = swept(np.column_stack([X, y]), taster, nested)
    design, target = both[:, :-1], both[:, -1]
    scale = max(float((X**2).sum(axis=0).max(initial=0.0)), 1e-300)
    values, vectors = np.linalg.eigh(design.T @ design)
    kept = values > RANK_TOLERANCE * scale
    unscaled = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    coefficients = unscaled @ (design.T @ target)
    residuals = target - design @ coefficients
    rank = int(kept.sum())
    return Fit(
        coefficients=coefficients,
        unscaled=unscaled,
        residuals=residuals,
        rss=float(residuals @ residuals),
        df=len(y) - taken - rank,
        rank=rank,
    )
