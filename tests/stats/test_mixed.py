"""The mixed model: closed forms where there are some, statsmodels elsewhere, and the awkward tables."""

import itertools

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats as scipy_stats
from scipy.optimize import minimize

from stats import hedonic_anova
from stats.liking_absorbed import cells, sum_coded
from stats.mixed import fit_mixed
from stats.mixed_tests import f_test, satterthwaite


def scores(seed, tasters=8, samples=4, replicates=1, conditions=1, sd=(1.0, 0.0, 0.0), drop=0.0):
    """Long frame; sd of taster, taster × sample and taster × condition beside a residual of 1."""
    rng = np.random.default_rng(seed)
    u, v, w = (s * rng.normal(size=(tasters, n)) for s, n in zip(sd, (1, samples, conditions), strict=True))
    rows = [
        (f"t{t:02d}", f"s{s}", f"c{c}", f"r{r}", 0.5 * s + u[t, 0] + v[t, s] + w[t, c] + rng.normal())
        for t, s, c, r in itertools.product(
            range(tasters), range(samples), range(conditions), range(replicates)
        )
        if rng.random() >= drop
    ]
    frame = pd.DataFrame(rows, columns=["taster", "sample", "condition", "replicate", "score"])
    return frame if conditions > 1 else frame.drop(columns="condition")


def codes(values):
    return np.unique(values, return_inverse=True)[1].astype(np.int64)


def dense_deviance(y, X, terms, variances):
    """Minus twice the restricted log-likelihood, written out with the whole covariance matrix."""
    V = variances["residual"] * np.eye(len(y))
    for name, level in terms.items():
        V += variances[name] * np.equal.outer(level, level)
    W = np.linalg.inv(V)
    A = X.T @ W @ X
    left = y - X @ np.linalg.solve(A, X.T @ W @ y)
    free = len(y) - X.shape[1]
    pieces = np.linalg.slogdet(V)[1] + np.linalg.slogdet(A)[1] + left @ W @ left
    return pieces + free * np.log(2 * np.pi)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("sd", [(1.0, 0.8, 0.0), (30.0, 5.0, 0.0), (2.0, 1.5, 0.0)])
def test_balanced_replicated_tables_give_the_closed_form(seed, sd):
    frame = scores(seed, replicates=3, sd=sd)
    mixed, exact = hedonic_anova(frame, method="mixed"), hedonic_anova(frame)
    rows = {row.term: row for row in exact.table}
    assert rows["taster × sample"].f > 1, "on the boundary the closed form does not hold"
    assert rows["taster"].mean_square > rows["taster × sample"].mean_square
    assert mixed.f == pytest.approx(exact.f, rel=1e-8), "ANOVA of a balanced table, Searle et al. 1992"
    assert mixed.df_den == pytest.approx(exact.df_den, rel=1e-7)
    assert mixed.taster_variance == pytest.approx(exact.taster_variance, rel=1e-7)
    assert mixed.residual_variance == pytest.approx(exact.residual_variance, rel=1e-8)
    assert [p.p_adjusted for p in mixed.pairs] == pytest.approx([p.p_adjusted for p in exact.pairs], rel=1e-6)


def test_a_singular_balanced_table_pools_the_zero_term_into_the_residual():
    frame = scores(3, replicates=2, sd=(1.0, 0.0, 0.0))
    mixed = hedonic_anova(frame, method="mixed")
    rows = {row.term: row for row in hedonic_anova(frame).table}
    assert rows["taster × sample"].f < 1, "the draw must lie on the boundary"
    within = [rows["taster × sample"], rows["residual"]]
    pooled = sum(row.sum_of_squares for row in within) / sum(row.df for row in within)
    assert mixed.f == pytest.approx(rows["sample"].mean_square / pooled, rel=1e-9)
    assert mixed.df_den == pytest.approx(sum(row.df for row in within), rel=1e-9)
    assert mixed.singular
    assert any("variance of taster × sample was estimated as zero" in note for note in mixed.notes)
    assert "(a singular fit)" in mixed.sentence()


AWKWARD = [
    pytest.param({"tasters": 8, "drop": 0.0}, id="one replicate"),
    pytest.param({"tasters": 9, "drop": 0.25}, id="missing cells"),
    pytest.param({"tasters": 7, "replicates": 3, "sd": (1, 1, 0), "drop": 0.2}, id="unbalanced replicates"),
    pytest.param({"tasters": 5, "replicates": 2, "conditions": 2, "sd": (1, 0.7, 0.9)}, id="conditions"),
    pytest.param(
        {"tasters": 5, "replicates": 2, "conditions": 2, "sd": (2, 0, 0.9), "drop": 0.15},
        id="conditions with gaps, one variance zero",
    ),
]


@pytest.mark.parametrize("shape", AWKWARD)
def test_no_other_variances_are_likelier(shape):
    frame = scores(1, **shape)
    result = hedonic_anova(frame, method="mixed")
    y = frame["score"].to_numpy()
    X = np.hstack([np.ones((len(y), 1)), sum_coded(4)[codes(frame["sample"])]])
    if "condition" in frame:
        condition = codes(frame["condition"])
        X = np.hstack([X, sum_coded(condition.max() + 1)[condition]])
    parts = {row.term: cells(*(codes(frame[c]) for c in row.term.split(" × "))) for row in result.random}
    found = {row.term: row.variance for row in result.random} | {"residual": result.residual_variance}

    def deviance(logs):
        return dense_deviance(y, X, parts, dict(zip([*parts, "residual"], np.exp(logs), strict=True)))

    start = np.log([max(found[name], 0.05) for name in [*parts, "residual"]])
    best = minimize(deviance, start, method="Nelder-Mead", options={"fatol": 1e-10, "maxfev": 2000}).fun
    assert dense_deviance(y, X, parts, found) <= best + 1e-6


@pytest.mark.parametrize("seed", range(3))
def test_variances_and_means_agree_with_statsmodels(seed):
    frame = scores(seed, tasters=15, sd=(1.2, 0, 0), drop=0.2)
    result = hedonic_anova(frame, method="mixed")
    X = pd.get_dummies(frame["sample"]).to_numpy(float)
    theirs = sm.MixedLM(frame["score"].to_numpy(), X, groups=frame["taster"].to_numpy()).fit(reml=True)
    assert [row.mean for row in result.means] == pytest.approx(theirs.fe_params, rel=1e-4)
    assert result.taster_variance == pytest.approx(float(theirs.cov_re[0, 0]), rel=1e-3)
    assert result.residual_variance == pytest.approx(theirs.scale, rel=1e-4)


def test_derivatives_are_those_of_the_likelihood():
    frame = scores(1, tasters=9, replicates=2, sd=(1.5, 1.2, 0), drop=0.15)
    y, X = (
        frame["score"].to_numpy(),
        np.hstack([np.ones((len(frame), 1)), sum_coded(4)[codes(frame["sample"])]]),
    )
    taster, sample = codes(frame["taster"]), codes(frame["sample"])
    terms = {"taster": taster, "both": cells(taster, sample)}
    fit = fit_mixed(y, X, terms)
    assert fit.free == ("taster", "both", "residual")
    at = np.array([fit.variances[name] for name in fit.free])

    def deviance(v):
        return dense_deviance(y, X, terms, dict(zip(fit.free, v, strict=True)))

    steps = 1e-3 * at
    hessian = np.empty((3, 3))
    for i, j in itertools.product(range(3), range(3)):
        d, e = np.eye(3)[i] * steps, np.eye(3)[j] * steps
        change = deviance(at + d + e) - deviance(at + d - e) - deviance(at - d + e) + deviance(at - d - e)
        hessian[i, j] = change / (4 * steps[i] * steps[j])
    np.testing.assert_allclose(fit.parameter_covariance, 2 * np.linalg.inv(hessian), rtol=2e-3)

    def covariance(v):
        V = v[2] * np.eye(len(y)) + sum(
            s * np.equal.outer(c, c) for s, c in zip(v[:2], terms.values(), strict=True)
        )
        return np.linalg.inv(X.T @ np.linalg.solve(V, X))

    for i in range(3):
        d = np.eye(3)[i] * steps
        slope = (covariance(at + d) - covariance(at - d)) / (2 * steps[i])
        np.testing.assert_allclose(fit.covariance_slopes[i], slope, rtol=1e-3, atol=1e-9)


def test_crossed_random_terms_reach_the_likeliest_variances():
    rng = np.random.default_rng(8)
    taster, batch = np.repeat(np.arange(12), 5), rng.integers(0, 6, 60)
    y = rng.normal(size=12)[taster] + 1.5 * rng.normal(size=6)[batch] + rng.normal(size=60)
    X, terms = np.ones((60, 1)), {"taster": taster, "batch": batch}
    fit = fit_mixed(y, X, terms)

    def deviance(logs):
        return dense_deviance(y, X, terms, dict(zip([*terms, "residual"], np.exp(logs), strict=True)))

    best = minimize(deviance, np.zeros(3), method="Nelder-Mead", options={"fatol": 1e-11, "maxfev": 2000}).fun
    assert fit.deviance == pytest.approx(best, abs=1e-6)


def test_without_random_terms_it_is_the_linear_model():
    rng = np.random.default_rng(9)
    X = np.column_stack([np.ones(20), rng.normal(size=(20, 2))])
    y = rng.normal(size=20)
    fit, theirs = fit_mixed(y, X, {}), sm.OLS(y, X).fit()
    test = f_test(fit, np.eye(3)[1:])
    assert (test.f, test.p_value) == pytest.approx((theirs.fvalue, theirs.f_pvalue), rel=1e-9)
    assert satterthwaite(fit, np.eye(3)) == pytest.approx([17, 17, 17], rel=1e-9)


@pytest.mark.parametrize("shift", [0.0, -300.0])
@pytest.mark.parametrize("scale", [1e-4, 1.0, 1e5])
def test_the_unit_of_the_scores_does_not_matter(scale, shift):
    frame = scores(2, drop=0.2)
    plain = hedonic_anova(frame, method="mixed")
    moved = hedonic_anova(frame.assign(score=lambda d: d["score"] * scale + shift * scale), method="mixed")
    assert (moved.f, moved.df_den) == pytest.approx((plain.f, plain.df_den), rel=1e-6)
    assert moved.taster_variance == pytest.approx(plain.taster_variance * scale**2, rel=1e-5)


def test_p_values_are_uniform_when_nothing_differs():
    rng = np.random.default_rng(21)
    taster = np.repeat([f"t{i}" for i in range(12)], 3)
    p = []
    for _ in range(400):
        sample = np.concatenate([rng.permutation(["A", "B", "C", "D"])[:3] for _ in range(12)])
        score = np.repeat(rng.normal(size=12) * 1.5, 3) + rng.normal(size=36)
        frame = {"taster": taster, "sample": sample, "score": score}
        p.append(hedonic_anova(frame, method="mixed", adjust="none").p_value)
    assert scipy_stats.kstest(p, "uniform").pvalue > 0.01, "seeded"


@pytest.mark.parametrize(
    ("y", "X", "terms", "message"),
    [
        (np.arange(3.0), np.ones((4, 1)), {}, "X has 4 rows, but y has 3"),
        (np.arange(3.0), np.eye(3), {}, "3 scores cannot estimate 3"),
        (np.array([1.0, 4, 2, 2]), np.ones((4, 2)), {}, "not independent"),
        (np.ones(4), np.ones((4, 1)), {}, "explain every score exactly"),
        (np.array([1.0, 4, 2, 2]), np.ones((4, 1)), {"cup": np.arange(4)}, "'cup' has as many levels"),
    ],
)
def test_models_that_cannot_be_fitted_are_refused(y, X, terms, message):
    with pytest.raises(ValueError, match=message):
        fit_mixed(y, X, terms)


@pytest.mark.parametrize(
    ("frame", "message"),
    [
        pytest.param(
            {"taster": list("aabb"), "sample": list("ABAB"), "score": [1.0, 2.0, 5.0, 6.0]},
            "tasters and fixed effects explain every score",
            id="additive without error",
        ),
        pytest.param(
            {
                "taster": list("aabbcc"),
                "sample": list("ABABAB"),
                "condition": list("xyxyxy"),
                "score": [1.0, 2, 4, 3, 2, 5],
            },
            "condition: it cannot be told from sample",
            id="condition confounded with sample",
        ),
        pytest.param(
            {"taster": list("aab"), "sample": list("ABC"), "score": [1.0, 4.0, 3.0]},
            "3 scores cannot estimate 3 fixed effects",
            id="no degrees of freedom",
        ),
    ],
)
def test_tables_without_error_are_refused_in_words(frame, message):
    with pytest.raises(ValueError, match=message):
        hedonic_anova(frame, method="mixed")


def test_random_tables_give_a_result_or_a_reason():
    outcomes = set()
    for seed in range(120):
        rng = np.random.default_rng(seed)
        tasters, samples, replicates = rng.integers(2, 6), rng.integers(2, 5), rng.integers(1, 3)
        shape = itertools.product(range(tasters), range(samples), range(replicates))
        cells_kept = [cell for cell in shape if rng.random() > 0.3]
        if not cells_kept:
            continue
        frame = pd.DataFrame(
            [(f"t{t}", f"s{s}", f"r{r}", float(rng.integers(1, 6))) for t, s, r in cells_kept],
            columns=["taster", "sample", "replicate", "score"],
        )
        try:
            result = hedonic_anova(frame, method="mixed")
        except ValueError as reason:
            outcomes.add(str(reason).split(":")[0])
        else:
            outcomes.add("result")
            assert 0 <= result.p_value <= 1
            assert all(row.variance >= 0 for row in result.random)
    # Everything else that numpy might raise would carry no argument's name.
    assert outcomes <= {"result", "sample", "taster", "score", "condition", "y", "frame"}
    assert {"result", "score"} <= outcomes
