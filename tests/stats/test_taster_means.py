"""Adjusted means and their resampling, against the paired t test, ordinary least squares and normal theory."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats as scipy_stats

from stats import adjusted_means
from stats.taster_means import means_under, resampled_tasters, taster_sums


def table(scores: np.ndarray) -> pd.DataFrame:
    """Long form of (tasters, samples); nan where nothing was tasted."""
    rows = [
        (f"T{t:02d}", f"S{s}", scores[t, s])
        for t in range(scores.shape[0])
        for s in range(scores.shape[1])
        if not np.isnan(scores[t, s])
    ]
    return pd.DataFrame(rows, columns=["taster", "sample", "score"])


def sums_of(scores: np.ndarray):
    taster, sample = np.nonzero(~np.isnan(scores))
    return taster_sums(taster, sample, scores[taster, sample], scores.shape)


def incomplete(seed: int, tasters: int = 30) -> np.ndarray:
    """Six samples in blocks of three, invented."""
    rng = np.random.default_rng(seed)
    scores = rng.normal(0, 1, (tasters, 1)) + np.arange(6) * 0.5 + rng.normal(0, 1, (tasters, 6))
    for t in range(tasters):
        scores[t, rng.permutation(6)[:3]] = np.nan
    return scores


def test_with_complete_blocks_a_difference_is_that_of_the_paired_t_test() -> None:
    scores = np.random.default_rng(1).normal(5, 2, (14, 4))
    found = adjusted_means(table(scores))
    difference, error = found.contrast("S0", "S3")
    paired = scipy_stats.ttest_rel(scores[:, 0], scores[:, 3])
    assert difference / error == pytest.approx(paired.statistic, rel=1e-12)
    assert found.df == paired.df
    assert found.means["S2"] == pytest.approx(scores[:, 2].mean())
    assert found.covariance[2][2] == pytest.approx(scores[:, 2].var(ddof=1) / 14)


def test_with_incomplete_blocks_differences_are_those_of_least_squares() -> None:
    frame = table(incomplete(2))
    found = adjusted_means(frame)
    fit = smf.ols("score ~ C(taster) + C(sample)", frame).fit()
    for name in ("S1", "S4", "S5"):
        assert found.contrast(name, "S0")[0] == pytest.approx(fit.params[f"C(sample)[T.{name}]"], abs=1e-9)


def test_with_incomplete_blocks_the_covariance_is_the_cluster_robust_one() -> None:
    """statsmodels' cluster covariance without its own small-sample factor, times n / (n - 1)."""
    frame = table(incomplete(3))
    found = adjusted_means(frame)
    groups = pd.factorize(frame["taster"])[0]
    fit = smf.ols("score ~ C(taster) + C(sample)", frame).fit(
        cov_type="cluster", cov_kwds={"groups": groups, "use_correction": False}
    )
    for name in ("S1", "S5"):
        expected = fit.bse[f"C(sample)[T.{name}]"] * np.sqrt(found.n / (found.n - 1))
        assert found.contrast(name, "S0")[1] == pytest.approx(expected, rel=1e-8)


def test_tasters_count_once_however_many_cups_they_had() -> None:
    frame = table(np.random.default_rng(4).normal(5, 1, (8, 3)))
    again = pd.concat([frame.assign(replicate="1"), frame[frame.taster == "T00"].assign(replicate="2")])
    assert adjusted_means(again).means == pytest.approx(dict(adjusted_means(frame).means))
    assert adjusted_means(again).contrast("S0", "S1") == pytest.approx(
        adjusted_means(frame).contrast("S0", "S1")
    )


def test_resampling_whole_tasters_finds_the_analytic_covariance() -> None:
    """Bootstrap variance is (n - 1) / n of the unbiased one; 20 000 draws give it within 5 %."""
    scores = incomplete(5, tasters=60)
    weights = resampled_tasters(60, 20_000, np.random.default_rng(6))
    drawn = means_under(sums_of(scores), weights)
    drawn = drawn[~np.isnan(drawn).any(axis=1)]
    contrast = (drawn[:, 5] - drawn[:, 0]).std() * np.sqrt(60 / 59)
    assert contrast == pytest.approx(adjusted_means(table(scores)).contrast("S5", "S0")[1], rel=0.05)


def test_a_sample_without_scores_is_not_a_number_and_the_others_are() -> None:
    scores = np.random.default_rng(7).normal(5, 1, (6, 3))
    scores[:, 1] = np.nan
    means = means_under(sums_of(scores), np.ones((1, 6)))[0]
    assert np.isnan(means[1])
    assert means[[0, 2]] == pytest.approx(scores[:, [0, 2]].mean(axis=0))


def test_samples_that_no_taster_connects_have_no_means() -> None:
    scores = np.array([[1, 2, np.nan, np.nan], [2, 3, np.nan, np.nan], [np.nan, np.nan, 4, 5.0]])
    assert np.isnan(means_under(sums_of(scores), np.ones((1, 3)))).all()
    with pytest.raises(ValueError, match="do not connect"):
        adjusted_means(table(scores))


def test_a_result_is_plain_json_and_says_how_many_tasted() -> None:
    found = adjusted_means(table(np.random.default_rng(8).normal(5, 1, (9, 3))))
    assert json.loads(json.dumps(found.to_dict()))["n"] == 9
    assert "9 tasters" in found.sentence()
    with pytest.raises(KeyError, match="S9"):
        found.contrast("S0", "S9")
