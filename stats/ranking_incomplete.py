"""Rankings where tasters did not all have every sample: Durbin for balanced blocks, Skillings-Mack for any."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.multiplicity import CORRECTIONS
from stats.phrasing import count, listing, p_text, significant
from stats.ranking import ranked_cells
from stats.ranking_exact import random_shuffles
from stats.ranking_pairs import RankPair, rank_pairs
from stats.results import Result
from stats.score_table import ByName, read_scores

if TYPE_CHECKING:
    from stats.multiplicity import Correction
    from stats.score_table import Floats, Frame

# Shares of the largest eigenvalue below this are dust: the covariance of rank sums has rank samples - 1.
RANK_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class DurbinTest(Result):
    """Durbin's test for balanced incomplete blocks.

    statistic, df, p_value : chi-square form, corrected for ties; f, f_df_num, f_df_den, p_f : F form (f
        None where the ranks leave no error)
    least_difference : of two rank sums by Conover's t test at alpha
    per_taster, per_sample, together : samples per taster, tasters per sample, tasters per pair
    """

    statistic: float
    df: int
    p_value: float
    f: float | None
    f_df_num: int
    f_df_den: int
    p_f: float
    rank_sums: ByName
    mean_ranks: ByName
    pairs: tuple[RankPair, ...]
    least_difference: float
    per_taster: int
    per_sample: int
    together: int
    samples: tuple[str, ...]
    tasters: tuple[str, ...]
    alpha: float
    correction: str
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The finding for a reader."""
        tail = (
            f"Durbin's chi-square {significant(self.statistic)}, df {self.df}, {p_text(self.p_value)}; "
            f"{count(len(self.tasters), 'taster')} with {self.per_taster} of {len(self.samples)} samples each"
        )
        return _ranked_sentence(tail, self.p_value <= self.alpha, self.pairs, self.alpha)


@dataclass(frozen=True, slots=True)
class SkillingsMackTest(Result):
    """Skillings and Mack's test for blocks with any gaps.

    statistic, df, p_value : chi-square form; p_permutation : by shuffling within tasters, None if not asked
    adjusted_sums : sample -> weighted sum of centred ranks; served : sample -> tasters who had it
    """

    statistic: float
    df: int
    p_value: float
    p_permutation: float | None
    adjusted_sums: ByName
    mean_ranks: ByName
    served: ByName
    samples: tuple[str, ...]
    tasters: tuple[str, ...]
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The finding for a reader."""
        p = self.p_value if self.p_permutation is None else self.p_permutation
        tail = (
            f"Skillings-Mack statistic {significant(self.statistic)}, df {self.df}, {p_text(p)}; "
            f"{count(len(self.tasters), 'taster')}"
        )
        return _ranked_sentence(tail, p <= self.alpha, (), self.alpha)


def durbin(frame: Frame, *, alpha: float = 0.05, correction: Correction = "holm") -> DurbinTest:
    """Durbin's rank test for a balanced incomplete block design.

    frame : long, columns `taster, sample, score`; replicates are averaged first; scores are ranked within
        tasters, ties sharing the average rank. Every taster must have the same number of samples, every
        sample as many tasters, every pair of samples as many tasters; a missing score breaks that and is
        a ValueError that points to `skillings_mack`.
    correction : of the pairs' p-values (Conover's t test), "holm", "benjamini-hochberg" or "none"

    Source: Durbin (1951); ties, F form and pairs: Conover (1999), Practical Nonparametric Statistics,
    3rd ed., section 5.9, eq. 5.9.2-5.9.5.
    """
    from scipy.special import chdtrc, stdtrit

    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    table = read_scores(frame)
    ranks, notes = ranked_cells(table)
    k, r, together = _balance(ranks, table.samples)
    b, t = ranks.shape
    sums = np.nansum(ranks, axis=0)
    spread = float(np.nansum(ranks**2)) - b * k * (k + 1) ** 2 / 4
    between = float((sums**2).sum()) - r * b * k * (k + 1) ** 2 / 4
    statistic = (t - 1) * between / spread if spread > 0 else 0.0
    df_den = b * k - b - t + 1
    f, p_f = _f_form(statistic, b * (k - 1), t - 1, df_den)
    left = max(spread * 2 * r / df_den * (1 - statistic / (b * (k - 1))), 0.0) if df_den > 0 else 0.0
    error = float(np.sqrt(left))
    return DurbinTest(
        statistic=statistic,
        df=t - 1,
        p_value=float(chdtrc(t - 1, statistic)),
        f=f,
        f_df_num=t - 1,
        f_df_den=df_den,
        p_f=p_f,
        rank_sums=ByName.of(table.samples, sums),
        mean_ranks=ByName.of(table.samples, sums / r),
        pairs=rank_pairs(table.samples, ranks, error, float(max(df_den, 1)), correction),
        least_difference=float(stdtrit(max(df_den, 1), 1 - alpha / 2) * error),
        per_taster=k,
        per_sample=r,
        together=together,
        samples=table.samples,
        tasters=table.tasters,
        alpha=alpha,
        correction=correction,
        method="Durbin's test for balanced incomplete blocks, chi-square form corrected for ties",
        notes=(*notes, f"pairs: t test of rank sums (Conover), {CORRECTIONS[correction]}"),
    )


def skillings_mack(frame: Frame, *, alpha: float = 0.05, draws: int = 0, seed: int = 0) -> SkillingsMackTest:
    """Skillings and Mack's rank test for blocks with arbitrary gaps; Friedman's where there are none.

    frame : as for `friedman`, but any taster with at least two samples counts; others are left out and
        said in the notes. Ties share the average rank (the chi-square is then a little conservative).
    draws : shuffles for a permutation p (recommended with many ties or few tasters); seed : public

    ValueError where the design falls into unconnected parts. Source: Skillings & Mack (1981),
    Technometrics 23, 171-177.
    """
    from scipy.special import chdtrc

    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    table = read_scores(frame)
    ranks, notes = ranked_cells(table)
    had = (~np.isnan(ranks)).sum(axis=1)
    ranks, tasters = ranks[had > 1], tuple(n for n, k in zip(table.tasters, had, strict=True) if k > 1)
    lone = [name for name, k in zip(table.tasters, had, strict=True) if k < 2]
    if lone:
        notes += (f"{count(len(lone), 'taster')} with a single sample left out: {listing(lone[:5])}",)
    weighted, inverse, df = _skillings_mack_parts(ranks, table.samples)
    sums = np.nansum(weighted, axis=0)
    statistic = float(sums @ inverse @ sums)
    p_permutation = None
    if draws > 0:
        shuffled = random_shuffles(weighted, draws, seed)
        values = np.einsum("di,ij,dj->d", shuffled, inverse, shuffled)
        p_permutation = (int((values >= statistic * (1 - 1e-9)).sum()) + 1) / (draws + 1)
        notes += (f"p by {draws} shuffles within tasters, seed {seed}",)
    served = (~np.isnan(ranks)).sum(axis=0)
    return SkillingsMackTest(
        statistic=statistic,
        df=df,
        p_value=float(chdtrc(df, statistic)),
        p_permutation=p_permutation,
        adjusted_sums=ByName.of(table.samples, sums),
        mean_ranks=ByName.of(table.samples, np.nanmean(ranks, axis=0)),
        served=ByName.of(table.samples, served),
        samples=table.samples,
        tasters=tasters,
        alpha=alpha,
        method="Skillings-Mack test for incomplete blocks",
        notes=notes,
    )


def _skillings_mack_parts(ranks: Floats, samples: tuple[str, ...]) -> tuple[Floats, Floats, int]:
    """Weighted centred ranks, generalised inverse of their sums' covariance, and its rank."""
    present = ~np.isnan(ranks)
    size = present.sum(axis=1, keepdims=True)
    weighted = (ranks - (size + 1) / 2) * np.sqrt(12 / (size + 1))
    together = present.T.astype(float) @ present
    np.fill_diagonal(together, 0.0)
    covariance = np.diag(together.sum(axis=1)) - together
    values, vectors = np.linalg.eigh(covariance)
    kept = values > RANK_TOLERANCE * max(values.max(initial=0.0), 1.0)
    if kept.sum() < len(samples) - 1:
        raise ValueError(
            "sample: the rankings do not connect all samples (some were never compared within a taster, "
            "directly or through other samples)"
        )
    return weighted, (vectors[:, kept] / values[kept]) @ vectors[:, kept].T, int(kept.sum())


def _balance(ranks: Floats, samples: tuple[str, ...]) -> tuple[int, int, int]:
    """Samples per taster, tasters per sample, tasters per pair; a ValueError where they vary."""
    present = ~np.isnan(ranks)
    per_taster, per_sample = present.sum(axis=1), present.sum(axis=0)
    pairs = (present.T.astype(int) @ present)[np.triu_indices(len(samples), k=1)]
    for what, counts in (
        ("tasters had between {} and {} samples", per_taster),
        ("samples were had by between {} and {} tasters", per_sample),
        ("pairs of samples were had together by between {} and {} tasters", pairs),
    ):
        if counts.min() != counts.max():
            said = what.format(counts.min(), counts.max())
            raise ValueError(f"frame: not balanced, {said}; use skillings_mack, which takes any gaps")
    return int(per_taster[0]), int(per_sample[0]), int(pairs[0])


def _f_form(statistic: float, most: float, df_num: int, df_den: int) -> tuple[float | None, float]:
    from scipy.special import fdtrc

    rest = most - statistic
    if rest <= 1e-9 * most or df_den < 1:
        return None, 0.0 if df_den >= 1 else 1.0
    f = statistic / df_num / (rest / df_den)
    return f, float(fdtrc(df_num, df_den, f))


def _ranked_sentence(tail: str, found: bool, pairs: tuple[RankPair, ...], alpha: float) -> str:
    if not found:
        return (
            f"No significant difference in rank between the samples was shown ({tail}); "
            f"this does not show that they are the same."
        )
    apart = [f"{pair.a} from {pair.b}" for pair in pairs if pair.p_adjusted <= alpha]
    named = f" Apart from each other: {listing(apart)}." if apart else ""
    return f"The samples were ranked differently ({tail}).{named}"
