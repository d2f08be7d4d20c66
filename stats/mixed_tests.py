"""F and t tests of fixed effects in a mixed model, with Satterthwaite's degrees of freedom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from stats.mixed import MixedFit
    from stats.score_table import Floats

# Degrees of freedom of the parts of an F that differ by less are taken as equal (as in R's lmerTest).
EQUAL_DF = 1e-8
# A direction whose share of the variance is below this is no part of the hypothesis.
RANK_TOLERANCE = 1e-8


@dataclass(frozen=True, slots=True)
class FTest:
    """F with numerator and denominator degrees of freedom and its p-value."""

    f: float
    df_num: float
    df_den: float
    p_value: float


def satterthwaite(fit: MixedFit, L: Floats) -> Floats:
    """Degrees of freedom of each row's estimate L b, float (rows,): 2 var^2 / Var(var).

    L : (rows, p). Source: Giesbrecht & Burns (1985), Biometrics 41, 477-486.
    """
    variance = np.einsum("ri,ij,rj->r", L, fit.covariance, L)
    slopes = np.einsum("ri,kij,rj->rk", L, fit.covariance_slopes, L)
    spread = np.einsum("rk,kl,rl->r", slopes, fit.parameter_covariance, slopes)
    df: Floats = 2 * variance**2 / np.maximum(spread, 1e-300)
    return df


def f_test(fit: MixedFit, L: Floats) -> FTest:
    """Test L b = 0 for L (q, p) by q independent one-degree tests along the eigenvectors of L C L'.

    Source: Fai & Cornelius (1996), Journal of Statistical Computation and Simulation 54, 363-378.
    """
    from scipy.special import fdtrc

    values, vectors = np.linalg.eigh(L @ fit.covariance @ L.T)
    kept = values > RANK_TOLERANCE * values.max()
    along = vectors[:, kept].T @ L
    squares = (along @ fit.coefficients) ** 2 / values[kept]
    q = int(kept.sum())
    f = float(squares.sum() / q)
    df_den = _joint_df(satterthwaite(fit, along))
    return FTest(f, float(q), df_den, float(fdtrc(q, df_den, f)))


def _joint_df(df: Floats) -> float:
    """Degrees of freedom whose F has the same mean as the sum of the parts' squared t."""
    q = len(df)
    if q == 1 or float(np.max(np.abs(np.diff(df)), initial=0.0)) < EQUAL_DF:
        return float(df.mean())
    if (df <= 2).any():
        return 2.0
    mean = float((df / (df - 2)).sum())
    return 2 * mean / (mean - q)
