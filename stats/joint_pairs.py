"""Which samples are really apart: simultaneous intervals of all differences, from joint draws."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from stats.comparisons_letters import compact_letters
from stats.phrasing import count, listing
from stats.results import Result
from stats.score_table import ByName

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats

# A spread below this share of the values' size is rounding dust: the difference is then taken as exact.
DUST = 1e-9


@dataclass(frozen=True, slots=True)
class ApartPair:
    """`a` minus `b`: low, high are simultaneous limits; p_adjusted is corrected for all pairs together."""

    a: str
    b: str
    difference: float
    standard_error: float
    low: float
    high: float
    p_adjusted: float
    apart: bool


@dataclass(frozen=True, slots=True)
class JointPairs(Result):
    """All pairs of samples.

    letters : sample -> letters; two that share one are not told apart
    leaders : the samples that are not told apart from the highest, which comes first
    critical : by how many standard errors a difference must exceed nothing
    """

    pairs: tuple[ApartPair, ...]
    letters: ByName
    leaders: tuple[str, ...]
    critical: float
    alpha: float
    draws: int
    method: str = "single-step max-t over all pairs, from joint draws"
    notes: tuple[str, ...] = (
        "intervals and p-values hold for all pairs together: the chance of even one false difference stays near alpha",
    )

    def sentence(self) -> str:
        """One sentence for the reader."""
        if len(self.letters) < 2:
            return "There is nothing to compare with."
        apart = [f"{pair.a} and {pair.b}" for pair in self.pairs if pair.apart]
        if not apart:
            return (
                f"None of the {count(len(self.pairs), 'pair')} was told apart; that does not make them equal."
            )
        return f"Told apart: {listing(apart)}."


def joint_pairs(
    names: Sequence[str],
    estimates: Sequence[float],
    draws: Floats,
    *,
    alpha: float = 0.05,
    df: float | None = None,
) -> JointPairs:
    """Every pair with an interval that holds for all pairs at once.

    estimates : (samples,); draws : (draws, samples) whose spread around their own mean is that of the estimates.
    df : of a standard error that was estimated anew for each pair while all of a draw was widened by one factor
        (few tasters); no p is then below Šidák's with Student's t, since one factor understates how the standard
        errors of several pairs differ. None where draws carry all of it.
    ValueError for not-a-number, alpha outside 0..1 or a shape that does not fit.

    The greatest standardised deviation over all pairs is found in each draw; its 1 - alpha quantile takes the
    place of the t quantile, so that the correlation of the differences is used and nothing is assumed normal.
    Source: Westfall & Young (1993), Resampling-Based Multiple Testing, single-step maxT; Hothorn, Bretz &
    Westfall (2008), Biometrical Journal 50, 346-363; Šidák (1967), Journal of the American Statistical Association
    62, 626-633; that separate standard errors of few make pairs liberal: Dunnett (1980), ibid. 75, 796-800. All from
    memory.
    """
    values, mean = np.asarray(draws, dtype=float), np.asarray(estimates, dtype=float)
    if values.ndim != 2 or values.shape[1] != len(names) or mean.shape != (len(names),) or len(values) < 2:
        raise ValueError(f"draws: need one column for each of {len(names)} samples, but got {values.shape}")
    if np.isnan(values).any() or np.isnan(mean).any():
        raise ValueError("draws: not a number; leave out a sample whose value is not known")
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    index = list(combinations(range(len(names)), 2))
    dust = DUST * max(1.0, float(np.abs(mean).max(initial=0.0)))
    error, furthest = _spreads(values, dust)
    bound = _Bound(df, len(index)) if df is not None else None
    critical = float(np.quantile(furthest, 1 - alpha))
    if bound:
        critical = max(critical, bound.critical(alpha))
    pairs = tuple(
        _pair(
            (names[i], names[j]), float(mean[i] - mean[j]), error[k], furthest, bound, (critical, alpha, dust)
        )
        for k, (i, j) in enumerate(index)
    )
    return _gathered(names, mean, pairs, critical, alpha, len(values))


@dataclass(frozen=True, slots=True)
class _Bound:
    """Šidák's bound with t. The draws' own spread is that of t, wider than the standard error by √(df / (df - 2))."""

    df: float
    pairs: int

    @property
    def wider(self) -> float:
        return float(np.sqrt(self.df / (self.df - 2))) if self.df > 2 else 1.0

    def p_value(self, statistic: float) -> float:
        from scipy.stats import t

        return float(
            -np.expm1(self.pairs * np.log1p(-min(2 * t.sf(statistic * self.wider, self.df), 1 - 1e-16)))
        )

    def critical(self, alpha: float) -> float:
        from scipy.stats import t

        each = -np.expm1(np.log1p(-alpha) / max(self.pairs, 1))
        return float(t.isf(each / 2, self.df)) / self.wider


def _gathered(
    names: Sequence[str],
    mean: Floats,
    pairs: tuple[ApartPair, ...],
    critical: float,
    alpha: float,
    draws: int,
) -> JointPairs:
    apart = {(pair.a, pair.b) for pair in pairs if pair.apart}
    order = sorted(range(len(names)), key=lambda i: (-mean[i], i))
    top = names[order[0]] if order else ""
    leaders = tuple(
        name
        for name in (names[i] for i in order)
        if name == top or ((top, name) not in apart and (name, top) not in apart)
    )
    letters = compact_letters(names, [float(one) for one in mean], sorted(apart)) if names else ByName()
    return JointPairs(pairs, letters, leaders, critical, alpha, draws)


def _spreads(values: Floats, dust: float) -> tuple[list[float], Floats]:
    """Standard error of each pair's difference, in the order of `combinations`, and the greatest standardised
    deviation of any pair in each draw, (draws,)."""
    centred = np.ascontiguousarray((values - values.mean(axis=0)).T)
    errors: list[float] = []
    furthest = np.zeros(len(values))
    for i in range(len(centred) - 1):
        apart = centred[i] - centred[i + 1 :]
        error = np.sqrt(np.einsum("pd,pd->p", apart, apart) / (len(values) - 1))
        open_ = error > dust
        errors += [float(one) if wide else 0.0 for one, wide in zip(error, open_, strict=True)]
        if open_.any():
            np.abs(apart, out=apart)
            furthest = np.maximum(furthest, (apart[open_] / error[open_, None]).max(axis=0))
    return errors, furthest


def _pair(
    names: tuple[str, str],
    difference: float,
    error: float,
    furthest: Floats,
    bound: _Bound | None,
    limits: tuple[float, float, float],
) -> ApartPair:
    critical, alpha, dust = limits
    if error == 0:
        p = 1.0 if abs(difference) <= dust else 0.0
    else:
        p = float((1 + (furthest >= abs(difference) / error).sum()) / (1 + len(furthest)))
        p = max(p, bound.p_value(abs(difference) / error)) if bound else p
    return ApartPair(
        a=names[0],
        b=names[1],
        difference=difference,
        standard_error=error,
        low=difference - critical * error,
        high=difference + critical * error,
        p_adjusted=p,
        apart=p <= alpha,
    )
