"""Psychometric functions against the integrals they come from, and their inverses."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

import stats
from stats.thurstone import slope_at

METHODS = ["triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"]


def by_the_integral(method: str, d: float) -> float:
    """The textbook form of each psychometric function, by numerical integration."""
    phi, Phi = norm.pdf, norm.cdf
    root_2, root_3, root_6 = math.sqrt(2), math.sqrt(3), math.sqrt(6)
    if method == "triangle":
        shift = d * math.sqrt(2 / 3)
        return 2 * quad(lambda z: (Phi(-z * root_3 + shift) + Phi(-z * root_3 - shift)) * phi(z), 0, 40)[0]
    if method == "duo-trio":
        a, b = Phi(d / root_2), Phi(d / root_6)
        return float(1 - a - b + 2 * a * b)
    if method == "2-AFC":
        return quad(lambda z: Phi(z) * phi(z - d), -40, 40, points=[0, d])[0]
    if method == "3-AFC":
        return quad(lambda z: Phi(z) ** 2 * phi(z - d), -40, 40, points=[0, d])[0]
    inner = lambda z: phi(z) * (2 * Phi(z) * Phi(z - d) - Phi(z - d) ** 2)  # noqa: E731
    return 1 - 2 * quad(inner, -40, 40, points=[0, d])[0]


@pytest.mark.parametrize("d", [0.0, 0.05, 0.5, 1.0, 1.7, 3.0, 6.0])
@pytest.mark.parametrize("method", METHODS)
def test_proportion_correct_equals_its_integral(method: str, d: float) -> None:
    # Ennis 1993 (triangle, duo-trio, m-AFC), Ennis et al. 2014 (tetrad)
    assert stats.percent_correct(method, d) == pytest.approx(by_the_integral(method, d), abs=1e-10)


@pytest.mark.parametrize("d", [0.01, 0.3, 1.0, 2.5])
@pytest.mark.parametrize("method", METHODS)
def test_slope_is_the_derivative_of_the_proportion_correct(method: str, d: float) -> None:
    step = 1e-5
    above, below = stats.percent_correct(method, [d + step, d - step])
    assert slope_at(method, d) == pytest.approx((above - below) / (2 * step), rel=1e-5, abs=1e-8)


@given(st.sampled_from(METHODS), st.floats(0.01, 6.0))
def test_d_prime_undoes_percent_correct(method: str, d: float) -> None:
    pc = stats.percent_correct(method, d)
    # what one rounding of pc can move d' by: there is no better inverse near chance or near 1
    shaky = 4e-16 / slope_at(method, d)
    assert stats.d_prime(method, pc) == pytest.approx(d, abs=1e-9 + shaky)


@given(st.sampled_from(METHODS), st.lists(st.floats(0.0, 1.0), min_size=2, max_size=30))
def test_d_prime_never_falls_as_the_proportion_correct_rises(method: str, shares: list[float]) -> None:
    found = stats.d_prime(method, np.sort(shares))
    assert np.all(found[1:] >= found[:-1])


@pytest.mark.parametrize("method", METHODS)
def test_d_prime_is_0_at_or_below_chance_and_infinite_at_all_correct(method: str) -> None:
    guess = stats.guess_probability(method)
    found = stats.d_prime(method, [0.0, guess / 2, guess, 1.0])
    assert found.tolist() == [0.0, 0.0, 0.0, math.inf]


def test_a_number_gives_a_number_and_an_array_keeps_its_shape() -> None:
    assert isinstance(stats.d_prime("triangle", 0.5), float)
    assert isinstance(stats.percent_correct("triangle", 1), float)
    assert stats.percent_correct("tetrad", np.ones((2, 3))).shape == (2, 3)
    assert np.isnan(stats.d_prime("triangle", [0.5, math.nan])).tolist() == [False, True]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.guess_probability("square"), "method must be one of triangle.*'square'"),
        (lambda: stats.percent_correct("triangle", -0.5), "d_prime must not be negative.*-0.5"),
        (lambda: stats.d_prime("triangle", [0.5, 1.2]), "pc must lie between 0 and 1.*1.2"),
        (lambda: stats.d_prime("two-out-of-five", 0.5), "two-out-of-five.*not defined"),
        (lambda: stats.percent_correct("two-out-of-five", 1), "two-out-of-five.*not defined"),
    ],
    ids=["unknown method", "negative d'", "pc above 1", "no d' for two-out-of-five", "no model for it"],
)
def test_impossible_arguments_are_named(call, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
