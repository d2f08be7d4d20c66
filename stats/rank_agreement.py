"""Do two measures put a few samples into the same order? Rank correlations with exact p, and what few can show."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import count, p_text, significant
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats

WALKED = 8  # up to so many samples every order is walked: 8! = 40 320
SAMPLED = 19_999
CHUNK = 2048


@dataclass(frozen=True, slots=True)
class RankAgreement(Result):
    """Agreement of two orders of the same samples.

    tau : Kendall's tau-b; rho : Spearman's; None where one side is constant
    tau_p, rho_p : two-sided; least_p : the smallest p that a perfect agreement of so many samples could give
    """

    n: int
    tau: float | None
    tau_p: float | None
    rho: float | None
    rho_p: float | None
    least_p: float
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """One sentence for the reader."""
        if self.tau is None or self.tau_p is None:
            return "One of the two does not vary, so that there is no order to compare."
        found = f"Kendall's tau {significant(self.tau, 2)}, {p_text(self.tau_p)}"
        if self.least_p > self.alpha:
            return (
                f"{count(self.n, 'product')} are too few to show agreement: even a perfect order would give "
                f"{p_text(self.least_p)} ({found})."
            )
        few = (
            f" With {count(self.n, 'product')} even a perfect order gives no less than {p_text(self.least_p)}."
            if self.n <= WALKED
            else ""
        )
        if self.tau_p > self.alpha:
            return f"No agreement of the two orders was shown ({found}); it may still be there.{few}"
        way = "agree" if self.tau > 0 else "run against each other"
        return f"The two orders {way} more than chance explains ({found}).{few}"


def rank_agreement(
    first: Sequence[float], second: Sequence[float], *, alpha: float = 0.05, seed: int = 0
) -> RankAgreement:
    """Kendall's tau-b and Spearman's rho of two measures of the same samples.

    first, second : (samples,), at least 3, no not-a-number (ValueError). p from all orders up to 8 samples;
    beyond, tau's without ties is exact (recursion), the others from sampled orders.
    Sources: Kendall (1938), Biometrika 30, 81-93, and Kendall & Gibbons, Rank Correlation Methods (1990);
    Spearman (1904), American Journal of Psychology 15, 72-101.
    """
    x, y = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if x.shape != y.shape or x.ndim != 1 or len(x) < 3:
        raise ValueError(f"first, second: at least 3 samples measured both ways are needed, but got {len(x)}")
    if np.isnan(x).any() or np.isnan(y).any():
        raise ValueError("first, second: not a number; leave out what was not measured both ways")
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    n = len(x)
    least = 2 / math.factorial(n)
    if np.ptp(x) == 0 or np.ptp(y) == 0:
        return RankAgreement(
            n, None, None, None, None, least, alpha, "rank correlation", ("one side is constant",)
        )
    tied = len(set(x)) < n or len(set(y)) < n
    orders, how = _orders(n, seed)
    rho, rho_p = _permuted(_centred_ranks(x)[None], _centred_ranks(y), orders)
    tau, tau_p = _permuted(_signs(x), _signs(y), orders)
    if not tied and n > WALKED:
        from scipy import stats as scipy_stats

        tau_p = float(scipy_stats.kendalltau(x, y, method="exact").pvalue)
        how = f"tau exact, rho from {SAMPLED} sampled orders (seed {seed})"
    notes = (f"p-values: {how}",) + (("ties count half",) if tied else ())
    return RankAgreement(
        n, tau, tau_p, rho, rho_p, least, alpha, "Kendall's tau-b and Spearman's rho, two-sided", notes
    )


def _orders(n: int, seed: int) -> tuple[np.ndarray, str]:
    if n <= WALKED:
        return np.array(list(permutations(range(n)))), f"from all {math.factorial(n)} orders"
    rng = np.random.default_rng(seed)
    drawn = np.vstack([np.arange(n), *(rng.permutation(n) for _ in range(SAMPLED))])
    return drawn, f"from {SAMPLED} sampled orders (seed {seed}), the one seen counted among them"


def _centred_ranks(values: Floats) -> Floats:
    from scipy.stats import rankdata

    ranks: Floats = rankdata(values)
    centred: Floats = ranks - ranks.mean()
    return centred


def _signs(values: Floats) -> Floats:
    """Sign of each difference, (samples, samples)."""
    return np.sign(values[:, None] - values[None, :])


def _permuted(x: Floats, y: Floats, orders: np.ndarray) -> tuple[float, float]:
    """Correlation of x with y, and the share of orders of y whose correlation is at least as far from 0.

    Vectors (1, n) and (n,) of centred ranks, or matrices (n, n) of signs.
    """
    size = math.sqrt(float((x**2).sum()) * float((y**2).sum()))
    if y.ndim == 1:
        found = (y[orders] @ x[0]) / size
    else:
        found = np.concatenate(
            [
                np.einsum("ij,oij->o", x, y[part[:, :, None], part[:, None, :]])
                for part in np.array_split(orders, math.ceil(len(orders) / CHUNK))
            ]
        )
        found = found / size
    seen = float(found[0])
    return seen, float((np.abs(found) >= abs(seen) - 1e-9).mean())
