"""Clusters of rows: Ward then k-means, their tightness, and how far two partitions agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from stats.score_table import Codes, Floats

WARD_UP_TO = 200  # rows; beyond it the tree of all pairs costs more than it adds to k-means


def clusters(X: Floats, number: int) -> Codes:
    """Cluster code per row of X, from 0; the same rows always give the same clusters.

    k-means from Ward's clusters up to 200 rows; above, from the halves along the first principal component
    for two clusters (Ding & He 2004), else the tightest of ten starts by k-means++.
    """
    if len(X) <= WARD_UP_TO:
        from scipy.cluster.hierarchy import fcluster, linkage

        return _refined(X, _centres(X, fcluster(linkage(X, method="ward"), number, criterion="maxclust")))
    if number == 2:
        Y = X - X.mean(axis=0)
        side = (Y @ np.linalg.eigh(Y.T @ Y)[1][:, -1] > 0).astype(np.int64)
        return _refined(X, _centres(X, side))
    rng = np.random.default_rng(0)
    tries = [_refined(X, _spread_out(X, number, rng)) for _ in range(10)]
    return min(tries, key=lambda label: _within(X, label))


def _centres(X: Floats, label: Codes) -> Floats:
    return np.array([X[label == one].mean(axis=0) for one in np.unique(label)])


def _within(X: Floats, label: Codes) -> float:
    return sum(
        float(((X[label == one] - X[label == one].mean(axis=0)) ** 2).sum()) for one in np.unique(label)
    )


def _refined(X: Floats, start: Floats) -> Codes:
    """Lloyd's steps until nobody moves; an emptied cluster keeps its centre."""
    centres = start.copy()
    label = nearest(X, centres)
    for _ in range(100):
        for one in range(len(centres)):
            if (label == one).any():
                centres[one] = X[label == one].mean(axis=0)
        moved = nearest(X, centres)
        if (moved == label).all():
            break
        label = moved
    codes: Codes = np.unique(label, return_inverse=True)[1].astype(np.int64)
    return codes


def _spread_out(X: Floats, number: int, rng: np.random.Generator) -> Floats:
    """Starting centres drawn with probability by squared distance (Arthur & Vassilvitskii 2007)."""
    centres = [X[int(rng.integers(len(X)))]]
    while len(centres) < number:
        away = _distances(X, np.array(centres)).min(axis=1)
        centres.append(X[int(rng.choice(len(X), p=away / away.sum()))])
    return np.array(centres)


def _distances(X: Floats, centres: Floats) -> Floats:
    found: Floats = ((X[:, None, :] - centres) ** 2).sum(axis=2)
    return found


def nearest(X: Floats, centres: Floats) -> Codes:
    """The nearest centre of every row; the first one where two are equally near."""
    found: Codes = _distances(X, centres).argmin(axis=1).astype(np.int64)
    return found


def cluster_index(X: Floats, label: Codes) -> float:
    """Sum of squares within clusters over the total, along the lines that join the clusters' centres.

    0 is tight, 1 no clusters. Other directions hold no difference between clusters and would only dilute it.
    """
    kinds = np.unique(label)
    centres = _centres(X, label)
    basis = np.linalg.svd(centres - centres.mean(axis=0), full_matrices=False)[2][: max(len(kinds) - 1, 1)]
    P = X @ basis.T
    total = float(((P - P.mean(axis=0)) ** 2).sum())
    within = sum(float(((P[label == one] - P[label == one].mean(axis=0)) ** 2).sum()) for one in kinds)
    return within / total if total > 0 else 1.0


def null_indices(X: Floats, number: int, times: int, rng: np.random.Generator) -> Floats:
    """Cluster indices of clouds drawn from one Gaussian with the covariance of X."""
    covariance = np.atleast_2d(np.cov(X.T))
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    found = np.empty(times)
    for i in range(times):
        drawn = rng.standard_normal(X.shape) @ root.T
        found[i] = cluster_index(drawn, clusters(drawn, number))
    return found


def adjusted_rand(a: Codes, b: Codes) -> float:
    """Agreement of two partitions corrected for chance, 1 for the same (Hubert & Arabie 1985)."""
    table = np.zeros((int(a.max()) + 1, int(b.max()) + 1))
    np.add.at(table, (a, b), 1.0)

    def pairs(counts: Floats) -> float:
        return float((counts * (counts - 1) / 2).sum())

    both, first, second = pairs(table), pairs(table.sum(axis=1)), pairs(table.sum(axis=0))
    expected = first * second / (len(a) * (len(a) - 1) / 2)
    room = (first + second) / 2 - expected
    return 1.0 if room == 0 else (both - expected) / room
