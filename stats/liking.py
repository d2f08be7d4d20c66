"""Liking and intensity scores: do the samples' means differ, by how much, and which from which?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

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
from stats.liking_mixed import mixed_anova
from stats.liking_rows import HedonicAnova, SampleMean
from stats.liking_two_way import two_way
from stats.mixed_tests import FTest
from stats.results import Estimate
from stats.score_table import ByName, read_scores

if TYPE_CHECKING:
    from stats.comparisons import Pair
    from stats.liking_rows import Estimated
    from stats.score_table import Codes, Floats, Frame, ScoreTable

Method = Literal["two-way", "mixed"]


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
        equally often); "mixed" takes them as random and fits by REML with Satterthwaite degrees of
        freedom (incomplete and unbalanced tables).
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
    if method not in ("two-way", "mixed"):
        raise ValueError(f"method must be 'two-way' or 'mixed', but got {method!r}")
    found = two_way(table, interaction) if method == "two-way" else mixed_anova(table, interaction)
    compared = _compared(table, found, adjust, against, alpha, confidence)
    asked = {"interaction": interaction, "adjust": adjust, "reference": reference, "alpha": alpha}
    return _assembled(table, found, compared, confidence, asked)


def _assembled(
    table: ScoreTable,
    found: Estimated,
    compared: tuple[tuple[Pair, ...], ByName, tuple[str, ...]],
    confidence: float,
    asked: dict[str, Any],
) -> HedonicAnova:
    row, (pairs, letters, said) = _tested(found), compared
    checks = check_residuals(found.residuals, table)
    return HedonicAnova(
        f=row.f,
        df_num=row.df_num,
        df_den=row.df_den,
        p_value=row.p_value,
        table=found.table,
        means=_mean_rows(table, found, confidence),
        condition_means=_condition_rows(table, found, confidence),
        pairs=pairs,
        letters=letters,
        taster_variance=found.taster_variance,
        residual_variance=found.residual_variance,
        random=found.random,
        singular=any(term.variance == 0 for term in found.random),
        partial_eta_squared=_eta(row, confidence),
        checks=checks,
        rows=table.rows,
        tasters=table.tasters,
        samples=table.samples,
        conditions=table.levels.get("condition", ()),
        formula=found.formula,
        **asked,
        confidence=confidence,
        method=found.method,
        notes=(*table.notes, *found.notes, *said, *checks.flags),
    )


def _tested(found: Estimated) -> FTest:
    row = next(line for line in found.table if line.term == "sample")
    if row.f is None or row.p_value is None or row.df_den is None:
        raise ValueError("score: the test of samples is not defined (no error to test it over)")
    return FTest(row.f, row.df, row.df_den, row.p_value)


def _compared(
    table: ScoreTable,
    found: Estimated,
    adjust: Adjustment,
    against: int | None,
    alpha: float,
    confidence: float,
) -> tuple[tuple[Pair, ...], ByName, tuple[str, ...]]:
    a, b = all_pairs(len(table.samples), against)
    weights = np.zeros((len(a), len(found.mean)))
    weights[np.arange(len(a)), a] = 1.0
    weights[np.arange(len(a)), b] = -1.0
    covariance = weights @ found.mean_covariance @ weights.T
    error = np.sqrt(np.diag(covariance))
    contrasts = Contrasts(
        names=table.samples,
        a=a,
        b=b,
        difference=found.mean[a] - found.mean[b],
        standard_error=error,
        df=found.contrast_df(weights),
        correlation=covariance / np.outer(error, error),
    )
    pairs, notes = compare(contrasts, adjust, confidence)
    pairs = with_effect_sizes(pairs, table.cell_means(), table.samples, confidence)
    if against is not None:
        return pairs, ByName(), notes
    different = [(pair.a, pair.b) for pair in pairs if pair.p_adjusted <= alpha]
    return pairs, compact_letters(table.samples, found.mean.tolist(), different), notes


def _mean_rows(table: ScoreTable, found: Estimated, confidence: float) -> tuple[SampleMean, ...]:
    error = np.sqrt(np.diag(found.mean_covariance))
    places: list[tuple[str, str | None]] = [(name, None) for name in table.samples]
    return _rows(table.sample, table, places, (found.mean, error, found.mean_df), confidence)


def _condition_rows(table: ScoreTable, found: Estimated, confidence: float) -> tuple[SampleMean, ...]:
    if not table.has("condition"):
        return ()
    conditions = table.levels["condition"]
    places: list[tuple[str, str | None]] = [(s, c) for s in table.samples for c in conditions]
    code = table.sample * len(conditions) + table.codes["condition"]
    return _rows(code, table, places, (found.cell_mean, found.cell_error, found.cell_df), confidence)


def _rows(
    code: Codes,
    table: ScoreTable,
    places: list[tuple[str, str | None]],
    estimates: tuple[Floats, Floats, Floats],
    confidence: float,
) -> tuple[SampleMean, ...]:
    from scipy.special import stdtrit

    counts = np.bincount(code, minlength=len(places))
    sums = np.bincount(code, weights=table.score, minlength=len(places))
    mean, error, df = estimates
    half = stdtrit(np.minimum(df, 1e9), (1 + confidence) / 2) * error
    return tuple(
        SampleMean(
            sample=sample,
            n=int(counts[i]),
            mean=float(mean[i]),
            raw_mean=float(sums[i] / counts[i]) if counts[i] else float("nan"),
            standard_error=float(error[i]),
            df=float(df[i]),
            low=float(mean[i] - half[i]),
            high=float(mean[i] + half[i]),
            condition=condition,
        )
        for i, (sample, condition) in enumerate(places)
    )


def _eta(test: FTest, confidence: float) -> Estimate:
    """Partial eta squared F df1 / (F df1 + df2), limits by inverting the noncentral F.

    Source: Steiger (2004), Psychological Methods 9, 164-182.
    """
    from scipy.special import ncfdtr

    f, df_num, df_den = test.f, test.df_num, test.df_den

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
