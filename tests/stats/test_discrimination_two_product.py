"""A-not-A and same-different tests against SciPy's tables, a probit regression, and full enumeration."""

import json

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, chi2_contingency, fisher_exact, norm

import stats
from stats.discrimination_two_product import rates_at

tables = st.integers(1, 40).flatmap(
    lambda n: st.integers(1, 40).flatmap(
        lambda m: st.tuples(st.integers(0, n), st.just(n), st.integers(0, m), st.just(m))
    )
)
TESTS = [stats.a_not_a_test, stats.same_different_test]


@given(tables)
@settings(max_examples=40, deadline=None)
def test_p_is_fishers_and_the_chi_squares_are_pearsons(table: tuple[int, int, int, int]) -> None:
    a, n, b, m = table
    cells = [[a, n - a], [b, m - b]]
    for test in TESTS:
        found = test(*table)
        assert found.p_value == pytest.approx(fisher_exact(cells, alternative="greater")[1], rel=1e-9)
        if 0 < a + b < n + m:
            for ours, corrected in ((found.chi_square, False), (found.chi_square_corrected, True)):
                assert ours == pytest.approx(chi2_contingency(cells, correction=corrected)[0], abs=1e-9)
        else:
            assert found.chi_square is None
        json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.parametrize("table", [(60, 100, 35, 100), (14, 20, 3, 17), (2950, 3000, 2900, 3000)], ids=str)
def test_a_not_a_is_a_probit_regression(table: tuple[int, int, int, int]) -> None:
    # statsmodels: the slope of a probit regression on the kind of serving is d', its error the delta method's
    a, n, b, m = table
    # each kind in two rows: a saturated fit has no residual degrees of freedom, and statsmodels divides by them
    yes = np.array([[a - 1, n - a - 1], [1, 1], [b - 1, m - b - 1], [1, 1]])
    kind = np.array([[1.0, 1.0], [1.0, 1.0], [1.0, 0.0], [1.0, 0.0]])
    fit = sm.GLM(yes, kind, family=sm.families.Binomial(sm.families.links.Probit())).fit(tol=1e-12)
    found = stats.a_not_a_test(*table)
    assert found.d_prime.estimate == pytest.approx(fit.params[1], abs=1e-8)
    assert found.d_prime_error == pytest.approx(fit.bse[1], rel=1e-5)
    assert found.criterion == pytest.approx(-norm.ppf(b / m))


def test_profile_limits_of_a_not_a_lose_the_chi_square_quantile() -> None:
    found = stats.a_not_a_test(14, 20, 5, 20)
    best = binom.logpmf(14, 20, 0.7) + binom.logpmf(5, 20, 0.25)
    criteria = np.linspace(-3, 4, 70001)
    for limit in (found.d_prime.low, found.d_prime.high):
        profile = binom.logpmf(14, 20, norm.cdf(limit - criteria)) + binom.logpmf(5, 20, norm.cdf(-criteria))
        assert 2 * (best - profile.max()) == pytest.approx(3.841458820694124, abs=1e-4)


@pytest.mark.parametrize("table", [(60, 100, 35, 100), (14, 20, 3, 17), (19, 20, 1, 20)], ids=str)
def test_same_different_estimates_give_the_observed_rates_back(table: tuple[int, int, int, int]) -> None:
    found = stats.same_different_test(*table)
    a, n, b, m = table
    assert rates_at("same-different", found.d_prime.estimate, found.criterion) == pytest.approx(
        (a / n, b / m)
    )
    # Macmillan & Creelman 2005: P(same | same) = 2 Φ(τ/√2) - 1
    assert 2 * norm.cdf(found.criterion / 2**0.5) - 1 == pytest.approx(1 - b / m)


@pytest.mark.parametrize("test", TESTS)
def test_limits_cover_about_their_confidence_by_enumeration(test) -> None:
    n, d = 12, 1.2
    name = "A-not-A" if test is stats.a_not_a_test else "same-different"
    target, other = rates_at(name, d, 0.6 if name == "A-not-A" else 1.2)
    covered = 0.0
    for x in range(n + 1):
        for y in range(n + 1):
            found = test(x, n, y, n).d_prime
            if found.low <= d and (found.high is None or d <= found.high):
                covered += binom.pmf(x, n, target) * binom.pmf(y, n, other)
    assert covered == pytest.approx(0.95, abs=0.035)


@pytest.mark.parametrize("test", TESTS)
def test_nothing_to_tell_apart_gives_0_and_all_told_apart_gives_a_lower_limit(test) -> None:
    alike, apart = test(3, 10, 6, 10), test(10, 10, 0, 10)
    assert (alike.d_prime.estimate, alike.d_prime.low, alike.d_prime_error) == (0.0, 0.0, None)
    assert "no evidence that the samples are the same: d' might be up to" in alike.sentence()
    assert (apart.d_prime.estimate, apart.d_prime.high) == (None, None)
    assert apart.d_prime.low > 2
    assert "told apart" in apart.sentence()


@pytest.mark.parametrize("name", ["A-not-A", "same-different"])
def test_power_is_that_of_every_table_weighed(name: str) -> None:
    n, d = 14, 1.3
    target, other = rates_at(name, d, 0.8)
    expected = sum(
        binom.pmf(x, n, target) * binom.pmf(y, n, other)
        for x in range(n + 1)
        for y in range(n + 1)
        if fisher_exact([[x, n - x], [y, n - y]], alternative="greater")[1] <= 0.05
    )
    assert stats.two_product_power(name, n, d_prime=d, criterion=0.8) == pytest.approx(expected, abs=1e-10)


def test_the_required_number_reaches_its_power() -> None:
    found = stats.required_servings("A-not-A", d_prime=1.0, power=0.8)
    power = [stats.two_product_power("A-not-A", n, d_prime=1.0) for n in range(1, found.tried + 1)]
    assert all(p < 0.8 for p in power[: found.smallest - 1])
    assert all(p >= 0.8 for p in power[found.lasting - 1 :])
    assert found.power.smallest == power[found.smallest - 1]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.a_not_a_test(11, 10, 0, 10), "correct must not exceed n = 10, but got 11"),
        (lambda: stats.two_product_power("triangle", 10, d_prime=1), "test must be 'A-not-A' or.*'triangle'"),
        (lambda: stats.required_servings("A-not-A", d_prime=0, power=0.8), "d_prime must be positive"),
        (lambda: stats.required_servings("A-not-A", d_prime=0.01, power=0.8), "too small"),
        (
            lambda: stats.two_product_power("same-different", 9, d_prime=1, criterion=-1),
            "criterion must be.*-1",
        ),
    ],
    ids=["too many", "unknown test", "no difference", "tiny difference", "negative criterion"],
)
def test_impossible_arguments_are_named(call, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
