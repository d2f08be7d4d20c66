"""Planning: power at the required number is really reached, by enumeration that shares no code."""

import json
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

import stats
from stats.thurstone import guess_fraction

METHODS = ["triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad", "two-out-of-five"]


def power_in_fractions(method: str, n: int, alpha: Fraction, pd: Fraction) -> Fraction:
    """Exact power of the difference test: tail beyond the critical value, summed in fractions."""
    guess = guess_fraction(method)

    def tail(x: int, p: Fraction) -> Fraction:
        return sum((math.comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(x, n + 1)), Fraction(0))

    critical = next((x for x in range(n + 2) if tail(x, guess) <= alpha), n + 1)
    return tail(critical, guess + (1 - guess) * pd)


@pytest.mark.parametrize("method", METHODS)
def test_the_smallest_number_meets_the_power_and_no_smaller_one_does(method: str) -> None:
    found = stats.required_tasters(method, alpha=0.05, power=0.8, pd=0.5)
    reached = [
        power_in_fractions(method, n, Fraction(1, 20), Fraction(1, 2)) for n in range(1, found.smallest + 1)
    ]
    assert float(reached[-1]) == pytest.approx(found.power.smallest, rel=1e-12)
    assert reached[-1] >= Fraction(4, 5)
    assert all(power < Fraction(4, 5) for power in reached[:-1])


@pytest.mark.parametrize("method", METHODS)
def test_from_the_lasting_number_on_every_panel_meets_the_power(method: str) -> None:
    found = stats.required_tasters(method, alpha=0.05, power=0.9, pd=0.4)
    n = np.arange(1, found.lasting + 300)
    guess = stats.guess_probability(method)
    critical = binom.isf(0.05, n, guess) + 1
    reached = binom.sf(critical - 1, n, guess + (1 - guess) * 0.4)
    assert np.all(reached[found.lasting - 1 :] >= 0.9)
    assert found.lasting == 1 or reached[found.lasting - 2] < 0.9


@given(
    st.sampled_from(METHODS), st.sampled_from([0.01, 0.05, 0.1]), st.floats(0.5, 0.99), st.floats(0.15, 1.0)
)
def test_smallest_never_exceeds_lasting_and_both_reach_the_power(
    method: str, alpha: float, power: float, pd: float
) -> None:
    found = stats.required_tasters(method, alpha=alpha, power=power, pd=pd)
    assert found.smallest <= found.lasting
    assert min(found.power) >= power * (1 - 1e-9)
    curve = stats.difference_power(method, [found.smallest, found.lasting], alpha=alpha, pd=pd)
    assert curve.power == pytest.approx(tuple(found.power))
    assert max(curve.actual_risk) <= alpha * (1 + 1e-9)


def test_two_sided_needs_more_and_is_only_for_pairs() -> None:
    one = stats.required_tasters("2-AFC", alpha=0.05, power=0.9, pd=0.3)
    two = stats.required_tasters("2-AFC", alpha=0.05, power=0.9, pd=0.3, two_sided=True)
    assert two.lasting > one.lasting
    with pytest.raises(ValueError, match="two_sided must be False for 'duo-trio'"):
        stats.required_tasters("duo-trio", alpha=0.05, power=0.9, pd=0.3, two_sided=True)


@pytest.mark.parametrize("method", METHODS)
def test_for_similarity_identical_samples_pass_as_often_as_asked(method: str) -> None:
    found = stats.required_tasters_for_similarity(method, beta=0.05, pd_limit=0.4, power=0.8)
    n = np.arange(1, found.lasting + 300)
    guess = stats.guess_probability(method)
    pc = guess + (1 - guess) * 0.4
    critical = binom.ppf(0.05, n, pc)
    critical = np.where(binom.cdf(critical, n, pc) <= 0.05, critical, critical - 1)
    passing = binom.cdf(critical, n, guess)
    assert np.all(passing[found.lasting - 1 :] >= 0.8)
    assert np.all(passing[: found.smallest - 1] < 0.8)
    assert passing[found.smallest - 1] == pytest.approx(found.power.smallest)


def test_twelve_tasters_pass_identical_samples_39_times_in_100() -> None:
    curve = stats.similarity_power("triangle", [12, 60], pd_limit=0.3, beta=0.05)
    assert curve.power == pytest.approx((0.393, 0.932), abs=5e-4)
    assert curve.critical_values == (3, 25)


def test_planning_by_d_prime_is_planning_by_its_share_of_discriminators() -> None:
    by_distance = stats.required_tasters("tetrad", alpha=0.05, power=0.8, d_prime=1.0)
    by_share = stats.required_tasters("tetrad", alpha=0.05, power=0.8, pd=by_distance.pd)
    assert (by_distance.smallest, by_distance.lasting) == (by_share.smallest, by_share.lasting)


def test_the_smallest_difference_has_exactly_the_power_asked_for() -> None:
    found = stats.smallest_difference("triangle", 24, power=0.8)
    back = stats.difference_power("triangle", 24, pd=found.pd)
    assert back.power[0] == pytest.approx(0.8, abs=1e-12)


def test_a_panel_that_cannot_reach_alpha_finds_nothing() -> None:
    found = stats.smallest_difference("triangle", 2)
    assert found.pd is None
    assert "cannot reach alpha" in found.sentence()
    assert stats.difference_power("triangle", [1, 2], pd=0.9).power == (0.0, 0.0)


def test_the_sentence_recommends_the_lasting_number() -> None:
    assert stats.required_tasters("triangle", alpha=0.05, power=0.95, pd=0.3).sentence() == (
        "To find a difference that 30\u202f% of tasters perceive (d' = 1.6) with a power of 95\u202f%, a triangle test "
        "needs 73 tasters (power 95.9\u202f%); 66 would do by luck of the count (power 95.1\u202f%), but some numbers "
        "between them fall short."
    )


def test_results_are_plain_json() -> None:
    for found in (
        stats.required_tasters("two-out-of-five", alpha=0.05, power=0.8, pd=0.3),
        stats.difference_power("triangle", [2, 24], pd=0.3),
        stats.smallest_difference("triangle", 2),
    ):
        json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"pd": 0.3, "d_prime": 1.0}, "exactly one of pd and d_prime.*0.3.*1.0"),
        ({}, "exactly one of pd and d_prime.*None"),
        ({"pd": 0.0}, "pd must lie above 0.*0.0"),
        ({"pd": 1.5}, "pd must lie above 0 and at most at 1.*1.5"),
        ({"d_prime": -1.0}, "d_prime must be a positive number.*-1.0"),
        ({"pd": 1e-6}, "million tasters"),
        ({"pd": 0.3, "power": 1.0}, "power must lie between.*1.0"),
        ({"pd": 0.3, "alpha": 5}, "alpha must lie between.*5"),
    ],
    ids=["both", "neither", "pd 0", "pd above 1", "negative d'", "tiny", "power 1", "alpha 5"],
)
def test_impossible_plans_are_refused_in_plain_words(arguments: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        stats.required_tasters("triangle", **{"alpha": 0.05, "power": 0.8, **arguments})
