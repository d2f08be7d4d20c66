"""Pairs of rank sums compared: ISO 8587, Conover and Nemenyi for complete blocks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.comparisons import all_pairs
from stats.comparisons_range import LARGE_DF, range_tail
from stats.multiplicity import CORRECTIONS, Correction, adjust

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

RankTest = Literal["rank-sum", "conover", "nemenyi"]


@dataclass(frozen=True, slots=True)
class RankPair:
    """Samples `a` and `b` by their rank sums.

    difference : rank sum of a minus rank sum of b; mean_difference : the same per taster
    standard_error : of the difference; df : of its t test, None for normal and range forms
    p_value : of this pair alone; p_adjusted : over all pairs
    effect_size : share of tasters who ranked a above b minus share who ranked it below, -1..1 (None
        where no taster had both)
    """

    a: str
    b: str
    difference: float
    mean_difference: float
    standard_error: float
    df: float | None
    p_value: float
    p_adjusted: float
    effect_size: float | None


def rank_pairs(
    names: tuple[str, ...],
    ranks: Floats,
    standard_error: float | Floats,
    df: float | None,
    correction: Correction,
    rank_sums: Floats | None = None,
) -> tuple[RankPair, ...]:
    """All pairs by the normal (df None) or t test of their rank sums.

    ranks : (tasters, samples), nan where not served; standard_error of a difference: one, or one per pair.
    """
    from scipy.special import ndtr, stdtr

    sums = np.nansum(ranks, axis=0) if rank_sums is None else rank_sums
    a, b = all_pairs(len(names))
    gap = sums[a] - sums[b]
    error = np.broadcast_to(np.asarray(standard_error, dtype=float), gap.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.where(gap == 0, 0.0, np.abs(gap) / error)
    p = 2 * (ndtr(-size) if df is None else stdtr(df, -size))
    p_adjusted = adjust(p, correction)
    served = np.maximum((~np.isnan(ranks)).sum(axis=0).max(), 1)
    above = ranks[:, a] - ranks[:, b]
    both = (~np.isnan(above)).sum(axis=0)
    lead = np.nansum(np.sign(above), axis=0)
    return tuple(
        RankPair(
            a=names[i],
            b=names[j],
            difference=float(gap[r]),
            mean_difference=float(gap[r] / served),
            standard_error=float(error[r]),
            df=df,
            p_value=float(p[r]),
            p_adjusted=p_adjusted[r],
            effect_size=float(lead[r] / both[r]) if both[r] else None,
        )
        for r, (i, j) in enumerate(zip(a, b, strict=True))
    )


def complete_pairs(
    names: tuple[str, ...], ranks: Floats, test: RankTest, correction: Correction
) -> tuple[tuple[RankPair, ...], str]:
    """Pairs after Friedman's test on complete ranks, and how they were compared, in words.

    "rank-sum" : normal test behind ISO 8587's least significant difference, with the permutation variance,
        which without ties is j p (p + 1) / 6 (j tasters, p samples)
    "conover" : t test, Conover (1999), Practical Nonparametric Statistics, 3rd ed., section 5.8
    "nemenyi" : studentized range; Nemenyi (1963); adjusts for all pairs itself
    """
    tasters, samples = ranks.shape
    squares = float((ranks**2).sum())
    spread = squares - tasters * samples * (samples + 1) ** 2 / 4
    if test == "rank-sum":
        error = float(np.sqrt(2 * spread / (samples - 1)))
        said = f"normal test of rank sums (ISO 8587), {CORRECTIONS[correction]}"
        return rank_pairs(names, ranks, error, None, correction), said
    if test == "conover":
        df = float((tasters - 1) * (samples - 1))
        sums = ranks.sum(axis=0)
        left = max(squares - float((sums**2).sum()) / tasters, 0.0)
        error = float(np.sqrt(2 * tasters * left / df))
        return rank_pairs(
            names, ranks, error, df, correction
        ), f"t test of rank sums (Conover), {CORRECTIONS[correction]}"
    if test == "nemenyi":
        error = float(np.sqrt(tasters * samples * (samples + 1) / 6))
        rows = rank_pairs(names, ranks, error, None, "none")
        sizes = np.array([abs(row.difference) / error for row in rows])
        wide = range_tail(sizes * np.sqrt(2), samples, LARGE_DF)
        return tuple(
            replace(row, p_adjusted=max(float(p), row.p_value)) for row, p in zip(rows, wide, strict=True)
        ), "studentized range of rank sums (Nemenyi)"
    raise ValueError(f"comparisons must be 'rank-sum', 'conover' or 'nemenyi', but got {test!r}")
