"""Comparing d' between studies: against a table's G test, a hand-made chi-square, and under no difference."""

import json

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import binom, chi2, chi2_contingency
from statsmodels.stats.multitest import multipletests

import stats

SPRING, SUMMER, AUTUMN = (
    ("Spring", "triangle", 13, 24),
    ("Summer", "tetrad", 20, 24),
    ("Autumn", "2-AFC", 20, 30),
)


def test_with_one_method_the_likelihood_ratio_is_the_g_test_of_the_table() -> None:
    # d' is then a function of the share correct, so comparing d' is comparing shares
    found = stats.compare_d_primes(
        [("a", "triangle", 20, 30), ("b", "triangle", 14, 28), ("c", "triangle", 30, 40)]
    )
    g = chi2_contingency([[20, 10], [14, 14], [30, 10]], correction=False, lambda_="log-likelihood")
    assert found.likelihood_ratio == pytest.approx(g.statistic, abs=1e-8)
    assert found.likelihood_ratio_p == pytest.approx(g.pvalue, abs=1e-8)


def test_the_chi_square_is_the_weighted_spread_of_d_primes() -> None:
    # Bi, Ennis & O'Mahony 1997, equation for homogeneity of k independent d'
    singles = [stats.difference_test(*study[1:]) for study in (SPRING, SUMMER, AUTUMN)]
    d = np.array([single.d_prime.estimate for single in singles])
    w = np.array([single.d_prime_error for single in singles]) ** -2.0
    expected = float(np.sum(w * (d - np.sum(w * d) / np.sum(w)) ** 2))
    found = stats.compare_d_primes([SPRING, SUMMER, AUTUMN])
    assert found.chi_square == found.statistic == pytest.approx(expected)
    assert found.p_value == pytest.approx(chi2.sf(expected, 2))


def test_pairs_are_adjusted_by_holm() -> None:
    found = stats.compare_d_primes([SPRING, SUMMER, AUTUMN])
    adjusted = multipletests([pair.p_value for pair in found.pairs], method="holm")[1]
    assert [pair.p_adjusted for pair in found.pairs] == pytest.approx(adjusted.tolist())
    assert [(pair.first, pair.second) for pair in found.pairs if pair.significant] == [("Summer", "Autumn")]


def test_limits_of_a_difference_lose_the_chi_square_quantile() -> None:
    pair = stats.compare_d_primes([SUMMER, AUTUMN]).pairs[0].difference

    def log_likelihood(one: float, two: float) -> float:
        return binom.logpmf(20, 24, stats.percent_correct("tetrad", one)) + binom.logpmf(
            20, 30, stats.percent_correct("2-AFC", two)
        )

    best = binom.logpmf(20, 24, 20 / 24) + binom.logpmf(20, 30, 20 / 30)
    for limit in (pair.low, pair.high):
        least = max(0.0, -limit)
        profile = -minimize_scalar(
            lambda d, gap=limit: -log_likelihood(d + gap, d), bounds=(least, 8), method="bounded"
        ).fun
        assert 2 * (best - profile) == pytest.approx(3.841458820694124, abs=1e-3)


def test_studies_with_one_d_prime_are_called_different_about_as_often_as_alpha() -> None:
    draw = np.random.default_rng(2)
    methods = ("triangle", "tetrad")
    shares = [stats.percent_correct(method, 1.5) for method in methods]
    chi_square, ratio = [], []
    for right in draw.binomial(80, shares, (200, 2)).tolist():
        found = stats.compare_d_primes(list(zip("ab", methods, right, (80, 80), strict=True)))
        chi_square.append(found.p_value <= 0.05)
        ratio.append(found.likelihood_ratio_p <= 0.05)
    allowed = 3 * (0.05 * 0.95 / 200) ** 0.5
    assert np.mean(ratio) == pytest.approx(0.05, abs=allowed)
    assert np.mean(chi_square) <= 0.05 + allowed


def test_the_order_of_studies_does_not_matter() -> None:
    one, other = (
        stats.compare_d_primes(order) for order in ([SPRING, SUMMER, AUTUMN], [AUTUMN, SUMMER, SPRING])
    )
    assert one.chi_square == pytest.approx(other.chi_square)
    assert one.shared.estimate == pytest.approx(other.shared.estimate)


@pytest.mark.parametrize(
    "studies",
    [
        [("at chance", "triangle", 8, 24), ("clear", "triangle", 20, 24)],
        [("all right", "triangle", 24, 24), ("clear", "duo-trio", 20, 24)],
        [("all right", "2-AFC", 30, 30), ("all right too", "tetrad", 24, 24)],
        [("below chance", "triangle", 2, 24), ("below too", "duo-trio", 5, 24)],
    ],
    ids=["at chance", "all correct", "both all correct", "both below chance"],
)
def test_without_a_standard_error_the_likelihood_ratio_answers(
    studies: list[tuple[str, str, int, int]],
) -> None:
    found = stats.compare_d_primes(studies)
    assert found.chi_square is None
    assert found.p_value == found.likelihood_ratio_p
    assert found.method.startswith("Likelihood-ratio")
    json.dumps(found.to_dict(), allow_nan=False)
    assert not any(word in found.sentence() for word in ("None", "nan", "inf"))


def test_a_null_result_says_which_differences_still_fit() -> None:
    sentence = stats.compare_d_primes([("a", "triangle", 14, 24), ("b", "tetrad", 14, 24)]).sentence()
    assert "was not shown" in sentence
    assert "does not show that they are equal: differences of up to" in sentence


@pytest.mark.parametrize(
    ("studies", "message"),
    [
        ([SPRING], "at least two, but holds 1"),
        ([SPRING, SPRING], "distinct names"),
        ([SPRING, ("x", "two-out-of-five", 5, 20)], "no agreed Thurstonian model"),
        ([SPRING, ("x", "triangle", 21, 20)], "must not exceed n = 20, but got 21"),
    ],
    ids=["one study", "same name", "two-out-of-five", "too many correct"],
)
def test_impossible_arguments_are_named(studies: list, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        stats.compare_d_primes(studies)
