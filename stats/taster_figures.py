"""Figures per taster, for all tasters at once: no model is fitted in a loop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.additive_fit import DUST, AdditiveFit, solve_singular, sums_by

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stats.score_table import Codes, Floats, ScoreTable

    NDArrayBool = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Discrimination:
    """Per taster: sums of squares and degrees of freedom of score ~ condition + sample, sample last.

    total : sum of squares about the taster's mean
    repeat_ss, repeat_df : within the same sample under the same condition
    """

    n: Floats
    ss: Floats
    df: Floats
    error_ss: Floats
    error_df: Floats
    repeat_ss: Floats
    repeat_df: Floats
    total: Floats


@dataclass(frozen=True, slots=True)
class Agreement:
    """Per taster: Pearson r with the mean of the others, and how the taster uses the scale.

    r : not-a-number where it is not defined; cells : number of cells compared
    slope : of the taster's scores on the panel's means; sd : of the taster's cell means
    """

    r: Floats
    cells: Codes
    slope: Floats
    sd: Floats


def discrimination(table: ScoreTable) -> Discrimination:
    """One-way analysis of variance per taster, conditions as blocks where there are several.

    The normal equations of every taster are solved as one stack. ISO 8586 (Annex on monitoring assessors)
    for the one-way form.
    """
    condition = table.codes.get("condition", np.zeros_like(table.taster))
    t, k, s = len(table.tasters), len(table.levels.get("condition", ("",))), len(table.samples)
    n = np.bincount(table.taster, minlength=t).astype(np.float64)
    mean = sums_by(table.taster, table.score, t) / n
    y = table.score - mean[table.taster]
    block = table.taster * k + condition
    cell = block * s + table.sample
    N = np.bincount(cell, minlength=t * k * s).astype(np.float64)
    sums = sums_by(cell, y, t * k * s)
    within = y - (sums / np.maximum(N, 1))[cell]
    counts, by_cell = N.reshape(t, k, s), sums.reshape(t, k, s)
    per_block = counts.sum(axis=2)
    inverse = np.where(per_block > 0, 1 / np.maximum(per_block, 1), 0.0)
    block_mean = by_cell.sum(axis=2) * inverse
    C = -np.einsum("tks,tk,tku->tsu", counts, inverse, counts)
    C[:, np.arange(s), np.arange(s)] += counts.sum(axis=1)
    Q = by_cell.sum(axis=1) - np.einsum("tks,tk->ts", counts, block_mean)
    effect, rank = solve_singular(C, Q)
    level = block_mean - np.einsum("tks,ts->tk", counts, effect) * inverse
    residual = y - level.reshape(-1)[block] - effect[table.taster, table.sample]
    return Discrimination(
        n=n,
        ss=np.maximum((effect * Q).sum(axis=1), 0.0),
        df=rank.astype(np.float64),
        error_ss=sums_by(table.taster, residual**2, t),
        error_df=n - (per_block > 0).sum(axis=1) - rank,
        repeat_ss=sums_by(table.taster, within**2, t),
        repeat_df=n - (counts > 0).sum(axis=(1, 2)),
        total=sums_by(table.taster, y**2, t),
    )


def agreement(table: Floats, fit: AdditiveFit) -> Agreement:
    """Compare every taster's cell means with the mean of the others over the same cells.

    Where cells are missing, each taster's level is removed first, so that it does not matter who scored
    which sample. The taster's own scores are left out of the mean ("corrected").
    """
    mask = ~np.isnan(table)
    own = np.where(mask, table - fit.row[:, None], 0.0)
    others = mask.sum(axis=0) - mask
    shared = mask & (others > 0)
    rest = np.where(shared, (own.sum(axis=0) - own) / np.maximum(others, 1), 0.0)
    cells = shared.sum(axis=1)
    x, y = _centred(own, shared), _centred(rest, shared)
    panel = _centred(np.broadcast_to(fit.column, table.shape), mask)
    full = _centred(own, mask)
    varied = (full**2).sum(axis=1) > DUST * np.maximum((np.where(mask, table, 0.0) ** 2).sum(axis=1), 1e-300)
    xx, yy = (x**2).sum(axis=1), (y**2).sum(axis=1)
    defined = varied & (cells >= 3) & (xx > 0) & (yy > DUST * max(float((own**2).sum()), 1e-300))
    pp = (panel**2).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        r = np.where(defined, (x * y).sum(axis=1) / np.sqrt(xx * yy), np.nan)
        slope = np.where(pp > 0, (full * panel).sum(axis=1) / pp, np.nan)
        sd = np.sqrt((full**2).sum(axis=1) / (mask.sum(axis=1) - 1.0))
    return Agreement(np.clip(r, -1.0, 1.0), cells, slope, np.where(varied, sd, 0.0))


def _centred(values: Floats, mask: NDArrayBool) -> Floats:
    count = np.maximum(mask.sum(axis=1, keepdims=True), 1)
    mean = np.where(mask, values, 0.0).sum(axis=1, keepdims=True) / count
    centred: Floats = np.where(mask, values - mean, 0.0)
    return centred


def drift(table: ScoreTable, cell: Codes, fit: AdditiveFit) -> tuple[Floats, Floats]:
    """Slope per place in the order of (score - taster's level - panel's cell mean), and its two-sided p.

    t with n - 2 degrees of freedom per taster, the panel's means taken as known; not-a-number where a
    taster has fewer than four scores or one position only.
    """
    from scipy.special import stdtr

    if table.position is None:
        raise ValueError("drift needs a position on every row")
    t = len(table.tasters)

    def total(values: Floats) -> Floats:
        return sums_by(table.taster, values, t)

    n = total(np.ones_like(table.score))
    gap = table.score - fit.row[table.taster] - fit.column[cell]
    x = table.position - (total(table.position) / n)[table.taster]
    y = gap - (total(gap) / n)[table.taster]
    xx, xy, yy = total(x * x), total(x * y), total(y * y)
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.where((xx > 0) & (n >= 4), xy / xx, np.nan)
        residual = np.maximum(yy - slope * xy, 0.0) / (n - 2)
        known = residual > DUST * np.maximum(yy, 1e-300)
        p = np.where(known, 2 * stdtr(n - 2, -np.abs(slope) / np.sqrt(residual / xx)), np.nan)
    return slope, p
