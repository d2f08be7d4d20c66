"""Liking and intensity scores: do the samples' means differ, by how much, and which from which?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.comparisons import (
    Adjustment,
    Contrasts,
    all_pairs,
    check_adjustment,
    compare,
    with_effect_sizes,
)
from stats.comparisons_letters import compact_letters
from stats.liking_checks import check_residuals
from stats.liking_rows import HedonicAnova, SampleMean
from stats.liking_two_way import two_way
from stats.results import Estimate
from stats.score_table import ByName, read_scores

if TYPE_CHECKING:
    from stats.comparisons import Pair
    from stats.score_table import Codes, Floats, Frame, ScoreTable

Method = Literal["two-way"]


def hedonic_anova(
    frame: Frame,
    *,
    method: Method = "two-way",
    interaction: bool = False,
    adjust: Adjustment = "tukey",
    reference: str | None = None,
    alpha: float = 0.05,
    confidence: float = 0.95,
) -> HedonicAnova:
    """Test equal sample means and estimate them, tasters taken into account.

    frame : long, columns `taster, sample, score` and where present `replicate, condition`; a condition
        with two levels or more is a second factor. One attribute at a time.
    method : "two-way" takes tasters as fixed blocks (exact F where every taster scored everything
        equally often)
    interaction : also fit sample × condition
    adjust : "tukey" (all pairs), "dunnett" (against `reference`), "holm", "benjamini-hochberg", "none"
    reference : name of the reference sample; pairs are then only those against it
    alpha : level of letters and sentence; confidence : of all intervals

    Missing scores are dropped and said in the notes, nothing is imputed. ValueError for fewer than two
    samples or tasters, unconnected samples, scores without error variation, or duplicates. Sources:
    ISO 11136 (liking); Searle, Casella & McCulloch (1992), Variance Components; for Satterthwaite's
    degrees of freedom Fai & Cornelius (1996), Journal of Statistical Computation and Simulation 54.
    """
    for name, value in (("alpha", alpha), ("confidence", confidence)):
        if not 0 < value < 1:
            raise ValueError(f"{name} must lie between 0 and 1, but got {value!r}")
    table = read_scores(frame)
    against = check_adjustment(adjust, reference, table.samples)
    if method != "two-way":
        raise ValueError(f"method must be 'two-way', but got {method!r}")
    return _two_way(table, interaction, adjust, against, alpha, confidence)


def _two_way(
    table: ScoreTable,
    interaction: bool,
    adjust: Adjustment,
    against: int | None,
    alpha: float,
    confidence: float,
) -> HedonicAnova:
    found = two_way(table, interaction)
    row = next(line for line in found.table if line.term == "sample")
    assert row.f is not None
    assert row.p_value is not None
    assert row.df_den is not None
    dfs = np.full(len(table.samples), found.df)
    a, b = all_pairs(len(table.samples), against)
    contrasts = _contrasts(table, found.mean, found.mean_covariance, a, b, np.full(len(a), found.df))
    pairs, letters, said = _compared(table, contrasts, found.mean, adjust, against, alpha, confidence)
    checks = check_residuals(found.residuals, table)
    return HedonicAnova(
        f=row.f,
        df_num=row.df,
        df_den=row.df_den,
        p_value=row.p_value,
        table=found.table,
        means=_mean_rows(table, found.mean, np.sqrt(np.diag(found.mean_covariance)), dfs, confidence),
        pairs=pairs,
        letters=letters,
        taster_variance=found.taster_variance,
        residual_variance=found.residual_variance,
        random=(),
        singular=False,
        partial_eta_squared=_eta(row.f, row.df, row.df_den, confidence),
        checks=checks,
        rows=table.rows,
        tasters=table.tasters,
        samples=table.samples,
        conditions=table.levels.get("condition", ()),
        formula=found.formula,
        interaction=interaction,
        adjust=adjust,
        reference=None if against is None else table.samples[against],
        alpha=alpha,
        confidence=confidence,
        method="two-way analysis of variance, tasters as blocks, samples adjusted for them (Type II)",
        notes=(*table.notes, *found.notes, *said, *checks.flags),
    )


def _contrasts(
    table: ScoreTable, mean: Floats, covariance: Floats, a: Codes, b: Codes, df: Floats
) -> Contrasts:
    pick = np.zeros((len(a), len(mean)))
    pick[np.arange(len(a)), a] = 1.0
    pick[np.arange(len(a)), b] -= 1.0
    full = pick @ covariance @ pick.T
    error = np.sqrt(np.diag(full))
    return Contrasts(table.samples, a, b, mean[a] - mean[b], error, df, full / np.outer(error, error))


def _compared(
    table: ScoreTable,
    contrasts: Contrasts,
    mean: Floats,
    adjust: Adjustment,
    against: int | None,
    alpha: float,
    confidence: float,
) -> tuple[tuple[Pair, ...], ByName, tuple[str, ...]]:
    pairs, notes = compare(contrasts, adjust, confidence)
    pairs = with_effect_sizes(pairs, table.cell_means(), table.samples, confidence)
    if against is not None:
        return pairs, ByName(), notes
    different = [(pair.a, pair.b) for pair in pairs if pair.p_adjusted <= alpha]
    return pairs, compact_letters(table.samples, mean.tolist(), different), notes


def _mean_rows(
    table: ScoreTable, mean: Floats, error: Floats, df: Floats, confidence: float
) -> tuple[SampleMean, ...]:
    from scipy.special import stdtrit

    counts = np.bincount(table.sample)
    raw = np.bincount(table.sample, weights=table.score) / counts
    half = stdtrit(np.minimum(df, 1e9), (1 + confidence) / 2) * error
    return tuple(
        SampleMean(
            sample=name,
            n=int(counts[i]),
            mean=float(mean[i]),
            raw_mean=float(raw[i]),
            standard_error=float(error[i]),
            df=float(df[i]),
            low=float(mean[i] - half[i]),
            high=float(mean[i] + half[i]),
        )
        for i, name in enumerate(table.samples)
    )


def _eta(f: float, df_num: float, df_den: float, confidence: float) -> Estimate:
    """Partial eta squared F df1 / (F df1 + df2), limits by inverting the noncentral F.

    Source: Steiger (2004), Psychological Methods 9, 164-182.
    """
    from scipy.special import ncfdtr

    def limit(target: float) -> float:
        low, high = 0.0, 10 * (f * df_num + df_num + 20)
        if ncfdtr(df_num, df_den, 1e-12, f) <= target:
            return 0.0
        for _ in range(80):
            middle = (low + high) / 2
            above = ncfdtr(df_num, df_den, middle, f) > target
            low, high = (middle, high) if above else (low, middle)
        return low / (low + df_num + df_den + 1)

    tail = (1 - confidence) / 2
    return Estimate(
        estimate=f * df_num / (f * df_num + df_den),
        low=limit(1 - tail),
        high=limit(tail),
        confidence=confidence,
        how="noncentral F, inverted",
    )
