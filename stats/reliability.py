"""Intraclass correlations of a panel, named as Shrout & Fleiss (1979) name them, with intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats.additive_fit import DUST, AdditiveFit
from stats.results import Estimate

if TYPE_CHECKING:
    from stats.score_table import Floats


@dataclass(frozen=True, slots=True)
class Reliability:
    """How far a panel's scores separate the samples from everything else.

    single : ICC(2,1), one taster's score, tasters drawn at random, absolute agreement
    average : ICC(2,k), the mean of `tasters_per_sample` tasters
    cronbach : Cronbach's alpha, which equals ICC(3,k): consistency of that mean, level ignored
    Each is an `Estimate`; its estimate is None where the scores do not vary.
    """

    single: Estimate
    average: Estimate
    cronbach: Estimate
    tasters_per_sample: float


def reliability(table: Floats, fit: AdditiveFit, confidence: float) -> Reliability:
    """ICC(2,1), ICC(2,k) and ICC(3,k) from the mean squares of tasters (rows) × cells (columns).

    Complete tables: Shrout & Fleiss 1979, Psychol. Bull. 86:420; intervals McGraw & Wong 1996, Psychol.
    Methods 1:30, table 7 (Satterthwaite for ICC(2,·), exact F for ICC(3,k)). Tables with gaps: variance
    components by fitting constants (Henderson's method 3, 1953), intervals by the same formulae at the
    effective numbers of tasters per sample and samples per taster, hence approximate.
    """
    import numpy as np

    complete = not np.isnan(table).any()
    k = float(table.shape[0]) if complete else fit.per_column
    n = float(table.shape[1]) if complete else fit.per_row
    how = "McGraw & Wong 1996" if complete else "McGraw & Wong 1996 at effective numbers, approximate"
    total = fit.ss_column + fit.ss_row + fit.ss_error
    if min(fit.rank_column, fit.df_row, fit.df_error) < 1 or total == 0:
        none = Estimate(None, None, None, confidence, how="not estimable")
        return Reliability(none, none, none, k)
    msr, msc = fit.ss_column / fit.rank_column, fit.ss_row / fit.df_row
    mse = fit.ss_error / fit.df_error
    denominator = msr + (k - 1) * mse + k * (msc - mse) / n
    single = (msr - mse) / denominator if denominator > DUST * total else None
    spread = msr + (msc - mse) / n
    average = (msr - mse) / spread if spread > DUST * total else None
    low, high = _limits_single(msr, msc, mse, k, n, single, fit, confidence)
    return Reliability(
        Estimate(single, low, high, confidence, how=how),
        Estimate(average, _spearman_brown(low, k), _spearman_brown(high, k), confidence, how=how),
        _cronbach(msr, mse, fit, confidence, complete),
        k,
    )


def _spearman_brown(icc: float | None, k: float) -> float | None:
    if icc is None or 1 + (k - 1) * icc <= 0:
        return None
    return k * icc / (1 + (k - 1) * icc)


def _limits_single(
    msr: float,
    msc: float,
    mse: float,
    k: float,
    n: float,
    icc: float | None,
    fit: AdditiveFit,
    confidence: float,
) -> tuple[float | None, float | None]:
    from scipy.special import fdtri

    total = fit.ss_column + fit.ss_row + fit.ss_error
    if icc is None or icc >= 1 - 1e-12 or fit.ss_error <= DUST * total:
        return None, None
    a = k * icc / (n * (1 - icc))
    b = 1 + k * icc * (n - 1) / (n * (1 - icc))
    v = (a * msc + b * mse) ** 2 / ((a * msc) ** 2 / fit.df_row + (b * mse) ** 2 / fit.df_error)
    tail = 1 - (1 - confidence) / 2
    f_low, f_high = fdtri(fit.rank_column, v, tail), fdtri(v, fit.rank_column, tail)
    other = k * msc + (k * n - k - n) * mse
    # Sample means that are all equal leave nothing to divide by, or infinities.
    below, above = f_low * other + n * msr, other + n * f_high * msr
    low = n * (msr - f_low * mse) / below if DUST * total < below < math.inf else None
    high = n * (f_high * msr - mse) / above if DUST * total < above < math.inf else None
    return None if low is None else float(low), None if high is None else float(high)


def _cronbach(msr: float, mse: float, fit: AdditiveFit, confidence: float, complete: bool) -> Estimate:
    from scipy.special import fdtri

    total = fit.ss_column + fit.ss_row + fit.ss_error
    if fit.ss_column <= DUST * total:
        return Estimate(None, None, None, confidence, how="the samples' means are all the same")
    alpha = 1 - mse / msr
    if fit.ss_error <= DUST * total:
        return Estimate(alpha, None, None, confidence, how="no interval: the tasters agree completely")
    tail, f = 1 - (1 - confidence) / 2, msr / mse
    low = 1 - float(fdtri(fit.rank_column, fit.df_error, tail)) / f
    high = 1 - 1 / (f * float(fdtri(fit.df_error, fit.rank_column, tail)))
    return Estimate(alpha, low, high, confidence, how="Feldt 1965" if complete else "Feldt 1965, approximate")
