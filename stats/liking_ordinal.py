"""Scores read as ordered categories: a cumulative logit model beside the analysis of means."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from stats.liking_absorbed import fit, means_by, sum_coded
from stats.phrasing import count, p_text
from stats.results import Result
from stats.score_table import ByName, read_scores

if TYPE_CHECKING:
    from stats.score_table import Floats, Frame, ScoreTable

# A line scale has no categories; 9-point scales have nine, 0..10 has eleven.
MOST_CATEGORIES = 15
# Log odds beyond this mean that the likelihood still rises towards infinity (common practice, no source).
SEPARATED = 10.0


@dataclass(frozen=True, slots=True)
class OrdinalCheck(Result):
    """Likelihood-ratio test of samples in a cumulative logit model.

    statistic, df, p_value : chi-square of the model with samples against that without
    log_odds : sample -> log odds of a higher category, against the average sample
    standard_errors : sample -> of log_odds; None each where samples are told apart completely
    same_order : whether samples line up as by their estimated means
    converged : whether the optimiser reached the maximum
    """

    statistic: float
    df: int
    p_value: float
    log_odds: ByName
    standard_errors: ByName
    categories: int
    same_order: bool
    converged: bool
    samples: tuple[str, ...]
    tasters: tuple[str, ...]
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """What the check says."""
        verdict = "differ" if self.p_value <= self.alpha else "are not shown to differ"
        order = "the same order as" if self.same_order else "another order than"
        return (
            f"Read as {self.categories} ordered categories, the samples {verdict} "
            f"(likelihood ratio, df {self.df}, {p_text(self.p_value)}; {count(len(self.tasters), 'taster')}), "
            f"in {order} by their means."
        )


def ordinal_check(frame: Frame, *, alpha: float = 0.05) -> OrdinalCheck:
    """Cumulative logit check of scores in few ordered categories (9-point scales).

    frame : long, columns `taster, sample, score`; missing scores are dropped and said. The taster's level
        (adjusted for the samples had) enters as a covariate; remaining dependence within tasters is not
        modelled, so this checks the analysis of means and does not replace it.

    ValueError for fewer than 2 or more than 15 distinct scores. Fitted by statsmodels' OrderedModel.
    Source: McCullagh (1980), Journal of the Royal Statistical Society B 42, 109-142.
    """
    from scipy.special import chdtrc

    table = read_scores(frame)
    found, category = np.unique(table.score, return_inverse=True)
    if not 2 <= len(found) <= MOST_CATEGORIES:
        raise ValueError(
            f"score: {len(found)} distinct scores; the ordinal check takes 2 to {MOST_CATEGORIES} categories"
        )
    level, effects = _taster_level(table)
    coding = sum_coded(len(table.samples))
    with_samples = _fitted(category, np.column_stack([coding[table.sample], level]))
    without = _fitted(category, level[:, None])
    df = len(table.samples) - 1
    statistic = max(0.0, 2 * (with_samples.llf - without.llf))
    log_odds = coding @ np.asarray(with_samples.params)[:df]
    errors = _standard_errors(with_samples, coding)
    converged = all(bool(one.mle_retvals["converged"]) for one in (with_samples, without))
    notes = (*table.notes, "dependence within tasters beyond their level is not modelled")
    if errors is None or np.abs(log_odds).max() > SEPARATED:
        errors, notes = (
            None,
            (*notes, "samples are told apart completely: their log odds have no finite estimate"),
        )
    return OrdinalCheck(
        statistic=statistic,
        df=df,
        p_value=float(chdtrc(df, statistic)),
        log_odds=ByName.of(table.samples, log_odds),
        standard_errors=ByName.of(table.samples, [None] * len(log_odds) if errors is None else errors),
        categories=len(found),
        same_order=bool((np.argsort(log_odds) == np.argsort(effects)).all()),
        converged=converged,
        samples=table.samples,
        tasters=table.tasters,
        alpha=alpha,
        method="cumulative logit model (proportional odds), likelihood-ratio test of samples",
        notes=notes if converged else (*notes, "the fit did not converge: do not rely on it"),
    )


def _taster_level(table: ScoreTable) -> tuple[Floats, Floats]:
    """Each row's taster level, adjusted for samples and standardised, and the samples' effects."""
    X = sum_coded(len(table.samples))[table.sample]
    additive = fit(table.score, X, table.taster)
    means, _ = means_by(table.taster, (table.score - X @ additive.coefficients)[:, None])
    level = means[table.taster, 0]
    level = (level - level.mean()) / (float(level.std()) or 1.0)
    return level, sum_coded(len(table.samples)) @ additive.coefficients


def _standard_errors(fitted: Any, coding: Floats) -> Floats | None:
    """Of the samples' log odds; None where the likelihood is too flat to give a covariance."""
    if fitted.normalized_cov_params is None:
        return None
    df = coding.shape[1]
    covariance = np.asarray(fitted.cov_params())[:df, :df]
    errors: Floats = np.sqrt(np.maximum(np.diag(coding @ covariance @ coding.T), 0.0))
    return errors


def _fitted(category: Any, columns: Floats) -> Any:
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    used = columns[:, np.ptp(columns, axis=0) > 0]
    with warnings.catch_warnings():
        # Non-convergence is read from the result and said in the notes.
        warnings.simplefilter("ignore")
        try:
            return OrderedModel(category, used, distr="logit").fit(method="bfgs", maxiter=500, disp=False)
        except ValueError as problem:
            raise ValueError(
                f"score: no ordinal model can be fitted, samples and tasters' levels are confounded ({problem})"
            ) from problem
