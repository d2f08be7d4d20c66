"""The rows and the result of an analysis of liking or intensity scores."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats.phrasing import count, listing, p_text, significant
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Callable

    from stats.comparisons import Pair
    from stats.results import Estimate
    from stats.score_table import ByName, Floats


@dataclass(frozen=True, slots=True)
class AnovaRow:
    """One line of the table. `error` names the line the F is taken over; None where there is no F.

    In the mixed model sums of squares are those of a fixed model with the same F, as is usual.
    """

    term: str
    df: float
    df_den: float | None
    sum_of_squares: float | None
    mean_square: float | None
    f: float | None
    p_value: float | None
    error: str | None


@dataclass(frozen=True, slots=True)
class SampleMean:
    """A sample's estimated mean (adjusted for tasters and conditions) beside its raw mean over n scores.

    condition : None for the mean over conditions; raw_mean : nan where there is no score (n = 0)
    """

    sample: str
    n: int
    mean: float
    raw_mean: float
    standard_error: float
    df: float
    low: float
    high: float
    condition: str | None = None


@dataclass(frozen=True, slots=True)
class VarianceRow:
    """A random term of the mixed model and its variance; zero where the fit lies on the boundary."""

    term: str
    variance: float
    groups: int


@dataclass(frozen=True, slots=True, eq=False)
class Estimated:
    """What either method hands over, before means, pairs and letters are made.

    mean (samples,), mean_covariance (samples, samples) : estimated means; mean_df : of their intervals
    cell_mean, cell_error, cell_df : of each sample in each condition, samples outermost; empty without
    contrast_df : from weights of the means (rows, samples) to degrees of freedom (rows,)
    """

    table: tuple[AnovaRow, ...]
    mean: Floats
    mean_covariance: Floats
    mean_df: Floats
    cell_mean: Floats
    cell_error: Floats
    cell_df: Floats
    contrast_df: Callable[[Floats], Floats]
    taster_variance: float
    residual_variance: float
    random: tuple[VarianceRow, ...]
    residuals: Floats
    formula: str
    method: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ResidualChecks:
    """What the residuals look like. p_normal: Shapiro-Wilk; p_equal: Levene's test about medians."""

    p_normal: float | None
    p_equal: float | None
    skewness: float
    largest: float
    largest_at: str
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HedonicAnova(Result):
    """Analysis of variance of scores by sample, tasters taken into account.

    f, df_num, df_den, p_value : test of equal sample means
    table : lines with sums of squares, F and what it was taken over; means, pairs : per sample, per pair
    condition_means : per sample and condition, by the model fitted (without interaction: parallel)
    letters : sample -> letters; two samples without a common letter differ at alpha (empty where the
        pairs are against a reference only)
    taster_variance, residual_variance : on the scale of score squared; taster's is 0 at the boundary
    random : the mixed model's random terms (empty for the two-way method); singular : a variance is 0
    partial_eta_squared : share of sample in sample plus its error, with interval
    formula : the model in the usual notation
    """

    f: float
    df_num: float
    df_den: float
    p_value: float
    table: tuple[AnovaRow, ...]
    means: tuple[SampleMean, ...]
    condition_means: tuple[SampleMean, ...]
    pairs: tuple[Pair, ...]
    letters: ByName
    taster_variance: float
    residual_variance: float
    random: tuple[VarianceRow, ...]
    singular: bool
    partial_eta_squared: Estimate
    checks: ResidualChecks
    rows: int
    tasters: tuple[str, ...]
    samples: tuple[str, ...]
    conditions: tuple[str, ...]
    formula: str
    interaction: bool
    adjust: str
    reference: str | None
    alpha: float
    confidence: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The finding for a reader, with F, df and p, and which samples stand apart."""
        tail = (
            f"F({_degrees(self.df_num)}, {_degrees(self.df_den)}) = {significant(self.f)}, "
            f"{p_text(self.p_value)}; {count(len(self.tasters), 'taster')}, {count(self.rows, 'score')}"
        )
        singular = " One variance was estimated as zero (a singular fit)." if self.singular else ""
        if self.p_value > self.alpha:
            return (
                f"No significant difference in mean score between the {len(self.samples)} samples was shown "
                f"({tail}); this does not show that they are the same.{singular}"
            )
        return (
            f"The mean scores of the {len(self.samples)} samples differ ({tail}). {self._apart()}{singular}"
        )

    def _apart(self) -> str:
        ordered = sorted(self.means, key=lambda row: (-row.mean, row.sample))
        top = ordered[0]
        best = f"{top.sample} scored highest ({significant(top.mean)})"
        over = [
            p.b if p.a == top.sample else p.a
            for p in self.pairs
            if top.sample in (p.a, p.b) and p.p_adjusted <= self.alpha
        ]
        if not over:
            return f"{best}, but not significantly above any other single sample."
        place = {row.sample: i for i, row in enumerate(ordered)}
        over.sort(key=lambda name: place[name])
        if len(over) == len(self.samples) - 1 and len(over) > 1:
            return f"{best}, above every other sample."
        return f"{best}, above {listing(over)}."


def _degrees(df: float) -> str:
    """Whole degrees of freedom as they are, others with one decimal."""
    return f"{df:.0f}" if abs(df - round(df)) < 1e-6 else f"{df:.1f}"
