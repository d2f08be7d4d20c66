"""Planning of rating studies against statsmodels, pingouin, simulation and the usual approximation."""

import json

import numpy as np
import pingouin
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, f, t
from statsmodels.stats.power import TTestIndPower, TTestPower

import stats


@given(st.integers(3, 60), st.floats(0.05, 1.0), st.booleans())  # further out, statsmodels gives nan
def test_a_pair_is_the_paired_t_test_of_statsmodels(tasters: int, difference: float, two_sided: bool) -> None:
    ours = stats.rating_power(tasters, difference, sd=1.7, two_sided=two_sided)
    theirs = TTestPower().power(
        difference / (1.7 * 2**0.5), tasters, 0.05, alternative="two-sided" if two_sided else "larger"
    )
    assert ours.power == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize(("samples", "tasters"), [(3, 12), (5, 24), (8, 60)])
def test_all_samples_are_the_repeated_measures_power_of_pingouin(samples: int, tasters: int) -> None:
    # two samples at ±δ/2, the rest between: variance of the true means δ²/(2k), against the residual variance
    difference, sd = 1.1, 1.6
    ratio = difference**2 / (2 * samples) / sd**2
    theirs = pingouin.power_rm_anova(eta_squared=ratio / (1 + ratio), m=samples, n=tasters, corr=0, epsilon=1)
    ours = stats.rating_power(tasters, difference, sd=sd, samples=samples, question="overall")
    assert ours.power == pytest.approx(theirs, abs=1e-6)


def test_power_of_several_samples_with_interaction_agrees_with_simulated_panels() -> None:
    n, k, r, sd, between = 12, 4, 2, 1.2, 0.8
    means = np.array([-0.6, 0.0, 0.0, 0.6])
    draw = np.random.default_rng(9)
    cell = (
        means
        + between * draw.standard_normal((20000, n, k))
        + sd / r**0.5 * draw.standard_normal((20000, n, k))
    )
    # taster effects drop out; F for samples over the taster x sample interaction
    centred = cell - cell.mean(axis=2, keepdims=True)
    sample = centred.mean(axis=1, keepdims=True)
    f_ratio = n * (sample**2).sum(axis=(1, 2)) / (((centred - sample) ** 2).sum(axis=(1, 2)) / (n - 1))
    plan = stats.rating_power(
        n, 1.2, sd=sd, samples=k, question="overall", replicates=r, interaction_sd=between
    )
    assert np.mean(f_ratio > f.isf(0.05, k - 1, (n - 1) * (k - 1))) == pytest.approx(plan.power, abs=0.015)
    pair = centred[:, :, 3] - centred[:, :, 0]
    error = ((centred - sample) ** 2).sum(axis=(1, 2)) / ((n - 1) * (k - 1))
    t_ratio = pair.mean(axis=1) / np.sqrt(2 * error / n)
    plan = stats.rating_power(n, 1.2, sd=sd, samples=k, replicates=r, interaction_sd=between)
    rejected = np.abs(t_ratio) > t.isf(0.025, (n - 1) * (k - 1))
    assert rejected.mean() == pytest.approx(plan.power, abs=0.015)


@pytest.mark.parametrize("question", ["pair", "overall"])
def test_difference_power_and_number_undo_one_another(question: str) -> None:
    plan = stats.detectable_difference(30, sd=1.4, samples=4, question=question, power=0.9)
    assert plan.power == pytest.approx(0.9, abs=1e-9)
    number = stats.required_raters(
        plan.difference * (1 + 1e-9), sd=1.4, samples=4, question=question, power=0.9
    )
    assert number.tasters == 30
    fewer = stats.rating_power(29, plan.difference, sd=1.4, samples=4, question=question)
    assert fewer.power < 0.9 <= number.power


@given(st.floats(0.1, 50.0), st.integers(2, 200))
def test_the_detectable_difference_scales_with_the_standard_deviation(scale: float, tasters: int) -> None:
    one = stats.detectable_difference(tasters, sd=1.0).difference
    assert stats.detectable_difference(tasters, sd=scale).difference == pytest.approx(scale * one, rel=1e-6)


def test_the_number_follows_the_usual_approximation() -> None:
    # n = 2 (z + z)² (σ/δ)² for two samples rated by the same tasters (large-sample form, any statistics text)
    approximate = 2 * (1.959964 + 0.841621) ** 2 * (1.5 / 0.3) ** 2
    assert stats.required_raters(0.3, sd=1.5).tasters == pytest.approx(approximate, abs=3)


def test_an_earlier_studys_deviation_is_raised_to_its_upper_limit() -> None:
    # Browne 1995: upper confidence limit of the variance, s² df / χ²(1 - assurance)
    plan = stats.required_raters(1.0, sd=1.5, sd_df=20, assurance=0.8)
    assert plan.sd == pytest.approx(1.5 * (20 / chi2.ppf(0.2, 20)) ** 0.5)
    assert plan.given_sd == 1.5
    assert plan.tasters > stats.required_raters(1.0, sd=1.5).tasters


def test_sentence_and_json() -> None:
    plan = stats.detectable_difference(24, sd=1.84)
    assert plan.sentence() == (
        "With 24 tasters each rating every sample, a difference of 1.6 scale points between two samples is found with "
        "a power of 80\u202f% (within-taster standard deviation 1.8)."
    )
    json.dumps(plan.to_dict(), allow_nan=False)
    for tasters in (2, 3, 3000):
        json.dumps(stats.detectable_difference(tasters, sd=1.8, samples=3, question="overall").to_dict())


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.detectable_difference(1, sd=1.0), "tasters must be a whole number of at least 2.*1"),
        (lambda: stats.detectable_difference(9, sd=0.0), "sd must be a positive number.*0.0"),
        (lambda: stats.detectable_difference(9, sd=1.0, power=0.01), "power must lie above alpha"),
        (lambda: stats.rating_power(9, -1.0, sd=1.0), "difference must be a non-negative number.*-1.0"),
        (lambda: stats.rating_power(9, 1.0, sd=1.0, question="each"), "question must be.*'each'"),
        (lambda: stats.rating_power(9, 1.0, sd=1.0, question="overall", two_sided=False), "has no direction"),
        (lambda: stats.rating_power(9, 1.0, sd=1.0, sd_df=10), "give both sd_df and assurance"),
        (lambda: stats.required_raters(1e-9, sd=1.0), "too small"),
    ],
    ids=[
        "one taster",
        "sd 0",
        "power below alpha",
        "negative",
        "question",
        "direction",
        "half given",
        "tiny",
    ],
)
def test_impossible_arguments_are_named(call, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()


def test_a_pair_of_any_design_has_the_power_of_two_groups_in_statsmodels() -> None:
    """Two groups of 20, one standard deviation apart: 0.869 in the manual of R's power.t.test (from memory) too."""
    critical = float(t.ppf(0.975, 38))
    ours = stats.pair_power(1.0, standard_error=np.sqrt(2 / 20), df=38, critical=critical)
    assert ours == pytest.approx(TTestIndPower().power(1.0, 20, 0.05), rel=1e-9)
    assert ours == pytest.approx(0.869, abs=5e-4)


def test_without_a_difference_the_power_of_a_pair_is_its_risk() -> None:
    assert stats.pair_power(
        0.0, standard_error=0.4, df=11, critical=float(t.ppf(0.975, 11))
    ) == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        pytest.param(
            {"standard_error": 0.0, "df": 5, "critical": 2.0}, "standard_error must be", id="no error"
        ),
        pytest.param({"standard_error": 1.0, "df": 0, "critical": 2.0}, "df must be a positive", id="no df"),
        pytest.param(
            {"standard_error": 1.0, "df": 5, "critical": np.inf}, "critical must be", id="unreachable"
        ),
    ],
)
def test_an_impossible_pair_is_refused(asked, says) -> None:
    with pytest.raises(ValueError, match=says):
        stats.pair_power(1.0, **asked)


@pytest.mark.parametrize("shift", [3.0, 8.0, 19.4, 60.0])
def test_a_pair_that_is_far_apart_is_surely_found(shift: float) -> None:
    """Noncentral t by simulation of its definition, z + shift over a chi; SciPy's own form is nan at 8 and 19.4."""
    draw = np.random.default_rng(5)
    t = (draw.standard_normal(400_000) + shift) / np.sqrt(draw.chisquare(156, 400_000) / 156)
    found = stats.pair_power(shift, standard_error=1.0, df=156, critical=2.76)
    # five standard errors of 400 000 draws
    assert found == pytest.approx(np.mean(np.abs(t) >= 2.76), abs=0.004)
