"""Rankings and scores read as ranks, every taster having had every sample: Friedman and Kendall."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import count, listing, p_text, significant
from stats.ranking_exact import random_shuffles, sum_of_squares_distribution, upper_tail
from stats.ranking_pairs import RankPair, RankTest, complete_pairs
from stats.results import Result
from stats.score_table import ByName, read_scores

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stats.multiplicity import Correction
    from stats.score_table import Frame, ScoreTable

    Floats = NDArray[np.float64]

# Scores closer than this, relative to the largest, are the same score written in binary.
SAME = 1e-9
INDEPENDENT = "assumes that tasters judge independently of each other"


@dataclass(frozen=True, slots=True)
class FriedmanTest(Result):
    """Friedman's test of equal rank distributions.

    statistic : chi-square form, corrected for ties; df = samples - 1; p_value from the chi-square
    p_exact : permutation p conditional on the ties; exact, or by Monte Carlo (`exact_how` says), or None
    f, f_df_num, f_df_den, p_f : Iman and Davenport's F form; f None where all tasters agree completely
    rank_sums, mean_ranks : sample -> value; rank 1 is the lowest score
    lsd : ISO 8587's least significant difference of two rank sums at alpha, z sqrt(j p (p + 1) / 6)
    pairs : compared by `comparisons`, adjusted by `correction`
    """

    statistic: float
    df: int
    p_value: float
    p_exact: float | None
    exact_how: str
    f: float | None
    f_df_num: int
    f_df_den: int
    p_f: float
    kendall_w: float
    rank_sums: ByName
    mean_ranks: ByName
    lsd: float
    pairs: tuple[RankPair, ...]
    samples: tuple[str, ...]
    tasters: tuple[str, ...]
    alpha: float
    correction: str
    comparisons: str
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The finding for a reader: the smaller panel's exact p where there is one."""
        p = self.p_value if self.p_exact is None else self.p_exact
        tail = (
            f"Friedman's chi-square {significant(self.statistic)}, df {self.df}, {p_text(p)}"
            f"{f' ({self.exact_how})' if self.p_exact is not None else ''}; {count(len(self.tasters), 'taster')}"
        )
        if p > self.alpha:
            return (
                f"No significant difference in rank between the {len(self.samples)} samples was shown "
                f"({tail}); this does not show that they are the same."
            )
        found = [f"{pair.a} from {pair.b}" for pair in self.pairs if pair.p_adjusted <= self.alpha]
        named = f"apart from each other: {listing(found)}" if found else "though no single pair stands out"
        return f"The {len(self.samples)} samples were ranked differently ({tail}); {named}."


def friedman(
    frame: Frame,
    *,
    alpha: float = 0.05,
    correction: Correction = "holm",
    comparisons: RankTest = "rank-sum",
    draws: int = 20_000,
    seed: int = 0,
) -> FriedmanTest:
    """Friedman's rank test for complete blocks: does any sample tend to be scored higher?

    frame : long, columns `taster, sample, score`; replicates are averaged per taster and sample first.
        Scores are ranked within tasters, ties sharing the average rank. A taster who lacks a sample is
        left out and named in the notes (use `durbin` or `skillings_mack` to keep everybody).
    alpha : level of `lsd` and of the sentence; correction : "holm", "benjamini-hochberg" or "none"
    comparisons : "rank-sum" (ISO 8587), "conover" or "nemenyi" (which adjusts by itself)
    draws, seed : Monte Carlo shuffles where the exact distribution is too large; 0 draws for none

    ValueError where fewer than two tasters or samples are complete. Sources: ISO 8587; Conover (1999),
    section 5.8 (ties); Iman & Davenport (1980), Communications in Statistics A9, 571-595.
    """
    from scipy.special import chdtrc

    _check_alpha(alpha)
    ranks, names, tasters, notes = complete_ranks(frame)
    (n, k), sums = ranks.shape, ranks.sum(axis=0)
    statistic = friedman_statistic(ranks)
    (f, p_f), (p_exact, how) = _f_form(statistic, n, k), _permutation_p(ranks, draws, seed)
    rows, said = complete_pairs(names, ranks, comparisons, correction)
    return FriedmanTest(
        statistic=statistic,
        df=k - 1,
        p_value=float(chdtrc(k - 1, statistic)),
        p_exact=p_exact,
        exact_how=how,
        f=f,
        f_df_num=k - 1,
        f_df_den=(k - 1) * (n - 1),
        p_f=p_f,
        kendall_w=statistic / (n * (k - 1)),
        rank_sums=ByName.of(names, sums),
        mean_ranks=ByName.of(names, sums / n),
        lsd=least_significant_difference(n, k, alpha),
        pairs=rows,
        samples=names,
        tasters=tasters,
        alpha=alpha,
        correction=correction,
        comparisons=comparisons,
        method="Friedman's test, chi-square form corrected for ties",
        notes=(*notes, f"pairs: {said}", INDEPENDENT),
    )


def complete_ranks(frame: Frame) -> tuple[Floats, tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Ranks (tasters, samples) of the complete tasters, names of samples and tasters, notes."""
    table = read_scores(frame)
    cells, notes = ranked_cells(table)
    whole: NDArray[np.bool_] = ~np.asarray(np.isnan(cells).any(axis=1))
    gone = [name for name, kept in zip(table.tasters, whole, strict=True) if not kept]
    if whole.sum() < 2:
        raise ValueError(
            f"frame: only {count(int(whole.sum()), 'taster')} scored all {len(table.samples)} samples; "
            f"at least 2 are needed (durbin or skillings_mack take incomplete blocks)"
        )
    if gone:
        shown = listing(gone[:5]) + (f" and {len(gone) - 5} more" if len(gone) > 5 else "")
        notes += (f"{count(len(gone), 'taster')} without all samples left out: {shown}",)
    tasters = tuple(name for name, kept in zip(table.tasters, whole, strict=True) if kept)
    return cells[whole], table.samples, tasters, notes


def ranked_cells(table: ScoreTable) -> tuple[Floats, tuple[str, ...]]:
    """Average ranks within each taster, nan where not served; replicates averaged first."""
    cells = table.cell_means()
    scale = np.nanmax(np.abs(cells)) or 1.0
    # Averages and decimal scores carry binary dust that would break ties.
    cells = np.round(cells / scale / SAME) * SAME
    lower = (cells[:, None, :] < cells[:, :, None]).sum(axis=2)
    equal = (cells[:, None, :] == cells[:, :, None]).sum(axis=2)
    ranks: Floats = np.where(np.isnan(cells), np.nan, lower + (equal + 1) / 2)
    notes = table.notes
    if (table.cell_counts() > 1).any():
        notes += ("several scores of one taster for one sample were averaged before ranking",)
    return ranks, notes


def friedman_statistic(ranks: Floats) -> float:
    """The tie-corrected chi-square form for complete ranks; 0 where every taster tied everything."""
    n, k = ranks.shape
    spread = float(((ranks - (k + 1) / 2) ** 2).sum())
    between = float(((ranks.sum(axis=0) - n * (k + 1) / 2) ** 2).sum())
    return (k - 1) * between / spread if spread > 0 else 0.0


def least_significant_difference(tasters: int, samples: int, alpha: float = 0.05) -> float:
    """Least difference of two rank sums that is significant on its own, z sqrt(j p (p + 1) / 6).

    j tasters ranked p samples; two-sided alpha; source: ISO 8587. Without ties, and for one pair.
    """
    from scipy.special import ndtri

    _check_alpha(alpha)
    return float(ndtri(1 - alpha / 2) * np.sqrt(tasters * samples * (samples + 1) / 6))


def _f_form(statistic: float, n: int, k: int) -> tuple[float | None, float]:
    """Iman and Davenport's F and its p-value; F None (infinite) where all tasters agree completely."""
    from scipy.special import fdtrc

    rest = n * (k - 1) - statistic
    if rest <= SAME * n:
        return None, 0.0
    f = (n - 1) * statistic / rest
    return f, float(fdtrc(k - 1, (k - 1) * (n - 1), f))


def _permutation_p(ranks: Floats, draws: int, seed: int) -> tuple[float | None, str]:
    observed = float((ranks.sum(axis=0) ** 2).sum())
    exact = sum_of_squares_distribution(ranks)
    if exact is not None:
        return upper_tail(*exact, observed), "exact permutation"
    if draws < 1:
        return None, "chi-square approximation"
    if ranks.size > 1000:
        return None, "chi-square approximation: panel too large to need a permutation"
    values = (random_shuffles(ranks, draws, seed) ** 2).sum(axis=1)
    hits = int((values >= observed * (1 - SAME)).sum())
    return (hits + 1) / (draws + 1), f"permutation, {draws} shuffles, seed {seed}"


@dataclass(frozen=True, slots=True)
class KendallConcordance(Result):
    """Kendall's coefficient of concordance between tasters.

    w : 0 (no agreement) to 1 (complete), corrected for ties
    statistic : chi-square form n (k - 1) w; df, p_value from the chi-square; p_exact as in `friedman`
    mean_spearman : mean rank correlation over all pairs of tasters, (n w - 1) / (n - 1)
    """

    w: float
    statistic: float
    df: int
    p_value: float
    p_exact: float | None
    exact_how: str
    mean_spearman: float
    rank_sums: ByName
    mean_ranks: ByName
    samples: tuple[str, ...]
    tasters: tuple[str, ...]
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The agreement for a reader."""
        p = self.p_value if self.p_exact is None else self.p_exact
        return (
            f"Kendall's W is {significant(self.w)} over {count(len(self.tasters), 'taster')} and "
            f"{len(self.samples)} samples (0 is no agreement, 1 is complete; {p_text(p)} against no agreement)."
        )


def kendall_w(frame: Frame, *, draws: int = 20_000, seed: int = 0) -> KendallConcordance:
    """Kendall's W: how far do the tasters rank the samples alike?

    frame, draws, seed and missing samples : as for `friedman`. Corrected for ties.
    Source: Kendall & Babington Smith (1939); ties as in Zar, Biostatistical Analysis 5e, eq. 20.22.
    """
    test = friedman(frame, draws=draws, seed=seed)
    n = len(test.tasters)
    return KendallConcordance(
        w=test.kendall_w,
        statistic=test.statistic,
        df=test.df,
        p_value=test.p_value,
        p_exact=test.p_exact,
        exact_how=test.exact_how,
        mean_spearman=(n * test.kendall_w - 1) / (n - 1),
        rank_sums=test.rank_sums,
        mean_ranks=test.mean_ranks,
        samples=test.samples,
        tasters=test.tasters,
        method="Kendall's coefficient of concordance, corrected for ties",
        notes=tuple(note for note in test.notes if not note.startswith("pairs:")),
    )


def _check_alpha(alpha: float) -> None:
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
