"""Least squares for rows and columns with gaps: the closed forms that incomplete tables need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from stats.score_table import Codes, Floats, ScoreTable

# A sum of squares below this share of the total is rounding dust, not variation.
DUST = 1e-12


@dataclass(frozen=True, slots=True)
class FTest:
    """An F test; `f` and `p_value` are None, with the reason, where the data cannot give one."""

    f: float | None
    df_num: float
    df_den: float
    p_value: float | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class AdditiveFit:
    """y = row + column + error by least squares, from a table with gaps.

    row : effect per row, holding the level; column : effect per column, summing to zero
    residual : as the table, zero in the gaps
    ss_column, ss_row : sums of squares, each after the other; ss_error
    rank_column : number of estimable contrasts between columns
    """

    row: Floats
    column: Floats
    residual: Floats
    ss_column: float
    ss_row: float
    ss_error: float
    rank_column: int
    df_row: int
    df_error: int
    per_column: float
    per_row: float


def sums_by(codes: Codes, values: Floats, size: int) -> Floats:
    """Sum of `values` for each code 0..size-1."""
    return np.bincount(codes, weights=values, minlength=size).astype(np.float64)


def f_test(ss: float, df_num: float, ss_error: float, df_den: float, total: float) -> FTest:
    """F = (ss/df_num)/(ss_error/df_den), or the reason why there is none."""
    from scipy.special import fdtrc

    if df_num <= 0:
        return FTest(None, df_num, df_den, None, "nothing to compare")
    if df_den <= 0:
        return FTest(None, df_num, df_den, None, "no degrees of freedom are left for the error")
    if ss_error <= DUST * total:
        return FTest(None, df_num, df_den, None, "the error is zero, so that F has no denominator")
    f = max(ss, 0.0) / df_num / (ss_error / df_den)
    return FTest(float(f), df_num, df_den, float(fdtrc(df_num, df_den, f)))


def cell_table(table: ScoreTable) -> tuple[Floats, Codes]:
    """Means by taster and cell (sample × condition, replicates averaged), and each row's cell.

    Only cells that somebody scored have a column; gaps are not-a-number.
    """
    key = table.sample
    if "condition" in table.codes:
        key = key * len(table.levels["condition"]) + table.codes["condition"]
    used, cell = np.unique(key, return_inverse=True)
    shape = (len(table.tasters), len(used))
    flat = table.taster * shape[1] + cell
    counts = np.bincount(flat, minlength=shape[0] * shape[1])
    sums = np.bincount(flat, weights=table.score, minlength=shape[0] * shape[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        means: Floats = (sums / counts).reshape(shape)
    return means, cell


def solve_singular(C: Floats, Q: Floats) -> tuple[Floats, Codes]:
    """Minimum-norm solutions of C x = Q for a stack of symmetric matrices, and their ranks."""
    values, vectors = np.linalg.eigh(C)
    kept = values > 1e-9 * np.maximum(values[..., -1:], 1.0)
    inverse = np.where(kept, 1.0 / np.where(kept, values, 1.0), 0.0)
    within = np.einsum("...ij,...i->...j", vectors, Q)
    x: Floats = np.einsum("...ij,...j->...i", vectors, inverse * within)
    return x, kept.sum(axis=-1)


def additive_fit(table: Floats) -> AdditiveFit:
    """Fit row + column to a table whose gaps are not-a-number; rows without any value are not allowed.

    Reduced normal equations for columns, rows absorbed (Searle, Linear Models, 1971, ch. 7).
    """
    mask = ~np.isnan(table)
    N = mask.astype(np.float64)
    n_row, n_column, n = N.sum(axis=1), N.sum(axis=0), int(mask.sum())
    level = float(np.nanmean(table))
    Y = np.where(mask, table - level, 0.0)
    row_mean = Y.sum(axis=1) / n_row
    C = np.diag(n_column) - N.T @ (N / n_row[:, None])
    column, rank = solve_singular(C, Y.sum(axis=0) - N.T @ row_mean)
    row = row_mean - N @ column / n_row
    residual = np.where(mask, Y - row[:, None] - column, 0.0)
    ss_error = float((residual**2).sum())
    within_row = float((np.where(mask, Y - row_mean[:, None], 0.0) ** 2).sum())
    column_mean = np.divide(Y.sum(axis=0), n_column, out=np.zeros_like(n_column), where=n_column > 0)
    within_column = float((np.where(mask, Y - column_mean, 0.0) ** 2).sum())
    # Blocks that share no column with each other cost one more contrast each.
    df_row = len(n_row) + int(rank) - int((n_column > 0).sum())
    df_error = n - len(n_row) - int(rank)
    return AdditiveFit(
        row=row + level + column.mean(),
        column=column - column.mean(),
        residual=residual,
        ss_column=max(within_row - ss_error, 0.0),
        ss_row=max(within_column - ss_error, 0.0),
        ss_error=ss_error,
        rank_column=int(rank),
        df_row=df_row,
        df_error=df_error,
        per_column=float(np.trace(C)) / max(int(rank), 1),
        per_row=(n - float((n_column > 0).sum())) / max(df_row, 1),
    )
