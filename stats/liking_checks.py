"""What the residuals say about the model: normality, equal spread, outliers. Flags, never verdicts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stats.liking_rows import ResidualChecks
from stats.phrasing import p_text, significant

if TYPE_CHECKING:
    from stats.score_table import Floats, ScoreTable

# Common practice, no source: below 1 % a check is worth a note; above 5000 any departure is significant.
FLAG_BELOW = 0.01
SHAPIRO_LIMIT = 5000
OUTLIER_SD = 4.0


def check_residuals(residuals: Floats, table: ScoreTable) -> ResidualChecks:
    """Checks of residuals (n,) in the table's row order.

    Normality: Shapiro & Wilk (1965), up to 5000 residuals, else D'Agostino & Pearson (1973). Spread:
    Levene's test about medians, Brown & Forsythe (1974), between samples.
    """
    spread = float(np.sqrt(np.mean(residuals**2)))
    if spread <= 1e-10 * (1 + float(np.abs(table.score).max())):
        return ResidualChecks(None, None, 0.0, 0.0, "", ("the model fits every score exactly",))
    z = residuals / spread
    p_normal = _normality(residuals)
    p_equal = _equal_spread(residuals, table)
    worst = int(np.argmax(np.abs(z)))
    at = f"taster {table.tasters[table.taster[worst]]}, sample {table.samples[table.sample[worst]]}"
    skew = float(np.mean(z**3))
    flags = []
    if p_normal is not None and p_normal < FLAG_BELOW:
        flags.append(
            f"residuals are not normal ({p_text(p_normal)}, skewness {significant(skew, 2)}): "
            f"compare with the ordinal check or the permutation test"
        )
    if p_equal is not None and p_equal < FLAG_BELOW:
        flags.append(f"the spread of residuals differs between samples ({p_text(p_equal)})")
    if abs(z[worst]) > OUTLIER_SD:
        flags.append(
            f"one residual lies {significant(abs(float(z[worst])), 2)} standard deviations out ({at})"
        )
    return ResidualChecks(p_normal, p_equal, skew, float(z[worst]), at, tuple(flags))


def _normality(residuals: Floats) -> float | None:
    from scipy import stats as tests

    if len(residuals) < 4:
        return None
    if len(residuals) <= SHAPIRO_LIMIT:
        return float(tests.shapiro(residuals).pvalue)
    return float(tests.normaltest(residuals).pvalue)


def _equal_spread(residuals: Floats, table: ScoreTable) -> float | None:
    """Levene's F on distances from each sample's median; None where a sample has fewer than 3 scores."""
    from scipy.special import fdtrc

    counts = np.bincount(table.sample)
    if counts.min() < 3:
        return None
    distance = np.empty_like(residuals)
    for code in range(len(counts)):
        mine = table.sample == code
        distance[mine] = np.abs(residuals[mine] - np.median(residuals[mine]))
    means = np.bincount(table.sample, weights=distance) / counts
    within = float(((distance - means[table.sample]) ** 2).sum())
    between = float((counts * (means - distance.mean()) ** 2).sum())
    df_num, df_den = len(counts) - 1, len(residuals) - len(counts)
    if within <= 0:
        return None
    return float(fdtrc(df_num, df_den, between / df_num / (within / df_den)))
