"""Pairs of samples compared: rows with interval, adjusted p-value and standardised effect."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.comparisons_range import (
    dunnett_quantile,
    dunnett_tail,
    product_loadings,
    range_quantile,
    range_tail,
)
from stats.multiplicity import adjust as adjusted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Adjustment = Literal["tukey", "dunnett", "holm", "benjamini-hochberg", "none"]
# Below, the range's integrals run off; Bonferroni's bound takes over.
LEAST_DF = 1.0
ADJUSTMENTS = ("tukey", "dunnett", "holm", "benjamini-hochberg", "none")


@dataclass(frozen=True, slots=True)
class Pair:
    """Sample `a` minus sample `b`.

    low, high : confidence limits of the difference (simultaneous for Tukey and Dunnett, else of this
        pair alone); None where the method gives none
    effect_size : Cohen's dz (mean within-taster difference over its standard deviation), None where it
        is not defined; effect_low, effect_high : its limits
    """

    a: str
    b: str
    difference: float
    standard_error: float
    df: float | None
    low: float | None
    high: float | None
    p_value: float
    p_adjusted: float
    effect_size: float | None = None
    effect_low: float | None = None
    effect_high: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Contrasts:
    """Differences to be compared: a[i] - b[i] with standard errors, df and their correlations."""

    names: tuple[str, ...]
    a: NDArray[np.int64]
    b: NDArray[np.int64]
    difference: Floats
    standard_error: Floats
    df: Floats
    correlation: Floats | None = None


def all_pairs(size: int, reference: int | None = None) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Index arrays of all pairs i < j, or of every other sample against the reference."""
    if reference is None:
        first, second = np.triu_indices(size, k=1)
        return first.astype(np.int64), second.astype(np.int64)
    others = np.array([i for i in range(size) if i != reference], dtype=np.int64)
    return others, np.full(size - 1, reference, dtype=np.int64)


def check_adjustment(adjust: str, reference: str | None, names: Sequence[str]) -> int | None:
    """The index of the reference sample, or None; a ValueError where the two do not fit together."""
    if adjust not in ADJUSTMENTS:
        raise ValueError(f"adjust must be one of {', '.join(ADJUSTMENTS)}, but got {adjust!r}")
    if reference is None:
        if adjust == "dunnett":
            raise ValueError("reference: Dunnett's test needs the name of the reference sample")
        return None
    if reference not in names:
        raise ValueError(f"reference: {reference!r} is no sample; there are {', '.join(names)}")
    if adjust == "tukey":
        raise ValueError("adjust: Tukey compares all pairs; against a reference use 'dunnett' or 'holm'")
    return list(names).index(reference)


def compare(
    contrasts: Contrasts, adjust: Adjustment, confidence: float
) -> tuple[tuple[Pair, ...], tuple[str, ...]]:
    """Rows for all contrasts, and notes on how they were adjusted.

    Tukey: Kramer's form, studentized range. Dunnett: many-to-one t with the correlations of the
    estimates. Holm and Benjamini-Hochberg: on the t tests' p-values.
    """
    from scipy.special import stdtr

    t = np.abs(contrasts.difference / contrasts.standard_error)
    degrees = np.minimum(contrasts.df, 1e9)
    p = 2 * stdtr(degrees, -t)
    p_adjusted, half, notes = _adjusted(contrasts, t, p, adjust, confidence)
    rows = zip(contrasts.a, contrasts.b, strict=True)
    width = half * contrasts.standard_error
    return tuple(
        Pair(
            a=contrasts.names[i],
            b=contrasts.names[j],
            difference=float(contrasts.difference[r]),
            standard_error=float(contrasts.standard_error[r]),
            df=float(contrasts.df[r]),
            low=float(contrasts.difference[r] - width[r]),
            high=float(contrasts.difference[r] + width[r]),
            p_value=float(p[r]),
            p_adjusted=float(p_adjusted[r]),
        )
        for r, (i, j) in enumerate(rows)
    ), notes


def _adjusted(
    contrasts: Contrasts, t: Floats, p: Floats, adjust: Adjustment, confidence: float
) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Adjusted p-values, half widths of the intervals in standard errors, and how, in words."""
    from scipy.special import stdtrit

    degrees = np.minimum(contrasts.df, 1e9)
    if adjust in ("holm", "benjamini-hochberg", "none"):
        said = {"holm": "Holm", "benjamini-hochberg": "Benjamini-Hochberg", "none": "not adjusted"}[adjust]
        half = stdtrit(degrees, (1 + confidence) / 2)
        return (
            np.array(adjusted(p.tolist(), adjust), dtype=float),
            half,
            (f"pairs: {said}, intervals each for one pair alone",),
        )
    p_adjusted, half, notes = (_tukey if adjust == "tukey" else _dunnett)(contrasts, t, p, confidence)
    if (few := contrasts.df < LEAST_DF).any():
        p_adjusted = np.where(few, np.minimum(1.0, p * len(p)), p_adjusted)
        half = np.where(few, stdtrit(degrees, 1 - (1 - confidence) / 2 / len(p)), half)
        notes += ("pairs with less than one degree of freedom: Bonferroni",)
    return p_adjusted, half, notes


def _tukey(
    contrasts: Contrasts, t: Floats, p: Floats, confidence: float
) -> tuple[Floats, Floats, tuple[str, ...]]:
    size, enough = len(contrasts.names), np.maximum(contrasts.df, LEAST_DF)
    p_adjusted = np.maximum(range_tail(t * np.sqrt(2), size, enough), p)
    half = range_quantile(confidence, size, enough) / np.sqrt(2)
    return p_adjusted, half, ("pairs: Tukey (Kramer's form), intervals simultaneous",)


def _dunnett(
    contrasts: Contrasts, t: Floats, p: Floats, confidence: float
) -> tuple[Floats, Floats, tuple[str, ...]]:
    if contrasts.correlation is None:
        raise ValueError("correlation: Dunnett's test needs the correlations of the differences")
    loadings, miss = product_loadings(contrasts.correlation)
    notes: tuple[str, ...] = (
        "pairs: Dunnett against the reference sample, two-sided, intervals simultaneous",
    )
    if miss > 1e-6:
        notes += (f"Dunnett: correlations approximated by products of loadings, largest miss {miss:.2g}",)
    enough = np.maximum(contrasts.df, LEAST_DF)
    p_adjusted = np.maximum(dunnett_tail(t, loadings, enough), p)
    return p_adjusted, dunnett_quantile(confidence, loadings, enough), notes


def with_effect_sizes(
    pairs: tuple[Pair, ...], cells: Floats, names: Sequence[str], confidence: float
) -> tuple[Pair, ...]:
    """The pairs with Cohen's dz and its interval, from cell means (tasters, samples) with nan for gaps.

    dz = mean / standard deviation of the within-taster differences of tasters who scored both; the
    interval inverts the noncentral t. Source: Cohen (1988), Statistical Power Analysis, section 2.3.5;
    interval: Cumming & Finch (2001), Educational and Psychological Measurement 61, 532-574.
    """
    if not pairs:
        return pairs
    place = {name: i for i, name in enumerate(names)}
    first = cells[:, [place[pair.a] for pair in pairs]]
    second = cells[:, [place[pair.b] for pair in pairs]]
    gaps = first - second
    present = ~np.isnan(gaps)
    n = present.sum(axis=0)
    mean = np.where(present, gaps, 0).sum(axis=0) / np.maximum(n, 1)
    spread = np.sqrt((np.where(present, gaps - mean, 0) ** 2).sum(axis=0) / np.maximum(n - 1, 1))
    usable = (n > 1) & (spread > 1e-12 * (1 + np.abs(mean)))
    dz = np.where(usable, mean / np.where(usable, spread, 1), np.nan)
    low, high = _dz_interval(dz, n, confidence)
    return tuple(
        replace(pair, effect_size=_known(dz[r]), effect_low=_known(low[r]), effect_high=_known(high[r]))
        for r, pair in enumerate(pairs)
    )


def _dz_interval(dz: Floats, n: NDArray[np.int64], confidence: float) -> tuple[Floats, Floats]:
    """Noncentrality limits of t = dz sqrt(n), divided by sqrt(n); by bisection on all pairs at once."""
    from scipy.special import nctdtr

    root = np.sqrt(np.maximum(n, 1))
    t, df = dz * root, np.maximum(n - 1, 1).astype(float)
    size = np.abs(t)
    tail = (1 - confidence) / 2

    def solve(target: float) -> Floats:
        low = size - 8 - 4 * size / np.sqrt(df)
        high = size + 8 + 4 * size / np.sqrt(df)
        for _ in range(60):
            middle = (low + high) / 2
            above = nctdtr(df, middle, size) > target
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        found: Floats = (low + high) / 2
        return found

    with np.errstate(invalid="ignore"):
        near, far = solve(1 - tail) / root, solve(tail) / root
    negative = t < 0
    return np.where(negative, -far, near), np.where(negative, -near, far)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
