"""Rank correlations of few samples: exact p against printed tables and the library."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from stats import rank_agreement

# Upper-tail probability of S for n samples. Source: Kendall & Gibbons, Rank Correlation Methods, 5th ed. (1990),
# appendix table of the distribution of S; also Siegel & Castellan (1988), table of tau. Values from memory.
KENDALL = [
    (4, 6, 0.042), (4, 4, 0.167), (5, 10, 0.0083), (5, 8, 0.042), (5, 6, 0.117),
    (6, 15, 0.0014), (6, 11, 0.028), (7, 15, 0.015), (8, 18, 0.016), (8, 16, 0.031),
]  # fmt: skip


def order_with(n: int, s: int) -> list[int]:
    """Some order of n whose S is s: the identity with so many inversions."""
    inversions, order, left = (n * (n - 1) // 2 - s) // 2, [], list(range(n))
    for place in range(n):
        step = min(inversions, n - 1 - place)
        inversions -= step
        order.append(left.pop(step))
    return order


@pytest.mark.parametrize(("n", "s", "tail"), KENDALL)
def test_tau_has_the_p_of_the_table(n: int, s: int, tail: float) -> None:
    found = rank_agreement(range(n), order_with(n, s))
    assert found.tau == pytest.approx(2 * s / (n * (n - 1)))
    assert found.tau_p is not None
    assert found.tau_p / 2 == pytest.approx(tail, abs=0.0006)


@pytest.mark.parametrize(("n", "least"), [(3, 1 / 3), (4, 1 / 12), (5, 1 / 60), (6, 1 / 360)])
def test_a_perfect_order_of_few_cannot_do_better_than_two_orders_of_all(n: int, least: float) -> None:
    found = rank_agreement(range(n), range(n))
    assert (found.tau_p, found.rho_p, found.least_p) == pytest.approx((least, least, least))


def test_five_products_in_perfect_order_give_a_p_of_0_017_and_the_sentence_says_so() -> None:
    assert "p = 0.017" in rank_agreement(range(5), range(5)).sentence()
    assert "too few to show agreement" in rank_agreement(range(4), range(4)).sentence()


@given(st.lists(st.integers(0, 4), min_size=4, max_size=7).flatmap(
    lambda x: st.tuples(st.just(x), st.lists(st.integers(0, 4), min_size=len(x), max_size=len(x)))
))  # fmt: skip
def test_ties_are_counted_as_the_library_counts_them(pair: tuple[list[int], list[int]]) -> None:
    first, second = pair
    found = rank_agreement(first, second)
    if len(set(first)) == 1 or len(set(second)) == 1:
        assert found.tau is None
        return
    assert found.tau == pytest.approx(scipy_stats.kendalltau(first, second).statistic)
    assert found.rho == pytest.approx(scipy_stats.spearmanr(first, second).statistic)


def test_more_samples_than_can_be_walked() -> None:
    rng = np.random.default_rng(1)
    first = rng.normal(size=14)
    second = first + rng.normal(size=14)
    found = rank_agreement(first, second)
    assert found.tau_p == pytest.approx(scipy_stats.kendalltau(first, second, method="exact").pvalue)
    # Spearman's t approximation is good to about a tenth of p at n = 14.
    assert found.rho_p == pytest.approx(scipy_stats.spearmanr(first, second).pvalue, rel=0.3, abs=0.003)
    assert json.loads(json.dumps(found.to_dict()))["n"] == 14


@pytest.mark.parametrize(
    ("first", "second"), [([1, 2], [1, 2]), ([1, 2, 3], [1, 2]), ([1, 2, 3], [1, 2, np.nan])]
)
def test_too_few_or_unmatched_measures_are_refused(first: list[float], second: list[float]) -> None:
    with pytest.raises(ValueError, match="first, second"):
        rank_agreement(first, second)
