"""Rank chances, simultaneous pairs and Pareto fronts from joint draws, against definitions and normal theory."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import stats as scipy_stats

from stats import joint_pairs, pareto_front, rank_chances

NAMES = ("A", "B", "C", "D")
few = hnp.arrays(float, st.tuples(st.integers(1, 12), st.just(4)), elements=st.integers(0, 5).map(float))


def masks(shape: tuple[int, ...]) -> st.SearchStrategy[np.ndarray]:
    return hnp.arrays(bool, shape)


# ---- ranks


@given(few, st.data())
def test_chances_of_ranks_sum_to_one_for_ranks_and_for_samples(
    draws: np.ndarray, data: st.DataObject
) -> None:
    found = rank_chances(NAMES, draws, data.draw(masks(draws.shape)))
    table = np.array(list(found.chances.values()))
    assert table.sum(axis=0) == pytest.approx(np.ones(4))
    assert table.sum(axis=1) == pytest.approx(np.ones(4))
    assert sum(found.first.values()) + found.nobody == pytest.approx(1)


@given(few, st.data())
def test_ranks_are_those_of_the_definition(draws: np.ndarray, data: st.DataObject) -> None:
    """Sorted by hand in each draw; samples equal in value share the places they take up."""
    may = data.draw(masks(draws.shape))
    expected = np.zeros((4, 4))
    for values, admitted in zip(draws, may, strict=True):
        keys = [(bool(a), v) for a, v in zip(admitted, values, strict=True)]
        for i in range(4):
            places = [place for place, key in enumerate(sorted(keys, reverse=True)) if key == keys[i]]
            expected[i, places] += 1 / len(places) / len(draws)
    assert np.array(list(rank_chances(NAMES, draws, may).chances.values())) == pytest.approx(expected)


@given(few)
def test_who_is_never_admitted_is_never_first(draws: np.ndarray) -> None:
    may = np.ones(draws.shape, dtype=bool)
    may[:, 0] = False
    draws[:, 0] = 99
    found = rank_chances(NAMES, draws, may)
    assert found.first["A"] == 0
    assert found.chances["A"] == (0, 0, 0, 1)


@pytest.mark.parametrize("bad", [np.zeros((3, 2)), np.full((3, 4), np.nan), np.zeros((0, 4))])
def test_draws_that_do_not_fit_are_refused(bad: np.ndarray) -> None:
    with pytest.raises(ValueError, match="draws"):
        rank_chances(NAMES, bad)


# ---- pairs


def test_the_critical_value_is_that_of_the_studentised_range() -> None:
    """Independent normal means with one variance: max-t over all pairs is Tukey's range over root 2, infinite df.

    The 95 % point of a quantile from 200 000 draws has a standard error near 0.004.
    """
    draws = np.random.default_rng(1).normal(size=(200_000, 5))
    found = joint_pairs("ABCDE", [0, 0, 0, 0, 0], draws)
    expected = scipy_stats.studentized_range.ppf(0.95, 5, np.inf) / np.sqrt(2)
    assert found.critical == pytest.approx(expected, abs=0.02)
    assert found.pairs[0].standard_error == pytest.approx(np.sqrt(2), rel=0.01)


def test_a_pair_alone_is_judged_as_by_the_normal_distribution() -> None:
    draws = np.random.default_rng(2).normal(size=(200_000, 2)) + np.array([1.2, 0])
    found = joint_pairs("AB", [1.2, 0.0], draws).pairs[0]
    assert found.p_adjusted == pytest.approx(2 * scipy_stats.norm.sf(1.2 / np.sqrt(2)), abs=0.005)
    assert (found.low, found.high) == pytest.approx((1.2 - 1.96 * 2**0.5, 1.2 + 1.96 * 2**0.5), abs=0.03)


@pytest.mark.parametrize("df", [3, 7, 30])
def test_few_degrees_of_freedom_hold_every_p_at_sidaks_with_t(df: int) -> None:
    """Draws spread as t: a difference of q standard errors has Šidák's p for three pairs, 1 - (1 - 2 P(t > q))^3."""
    draws = (
        scipy_stats.t.rvs(df, size=(200_000, 1), random_state=4) * np.sqrt(0.5) * np.array([[1.0, -1.0, 0.0]])
    )
    found = joint_pairs("ABC", [3.0 * np.sqrt(2), 0.0, 0.0], draws, df=df).pairs[0]
    expected = 1 - (1 - 2 * scipy_stats.t.sf(3.0, df)) ** 3
    # With 3 degrees of freedom the spread of 200 000 draws itself is only known to some per cent.
    assert found.p_adjusted == pytest.approx(expected, rel=0.15 if df == 3 else 0.03)


def test_leaders_are_those_not_told_apart_from_the_highest() -> None:
    draws = np.random.default_rng(3).normal(size=(5000, 4)) + np.array([10, 9, 0, -20])
    found = joint_pairs(NAMES, [10, 9, 0, -20], draws)
    assert found.leaders == ("A", "B")
    assert found.letters == {"A": "a", "B": "a", "C": "b", "D": "c"}
    assert "A and B" not in found.sentence()


def test_without_any_spread_unequal_is_apart_and_equal_is_not() -> None:
    found = joint_pairs("ABC", [3.0, 3.0, 2.0], np.tile([3.0, 3.0, 2.0], (50, 1)))
    assert [(pair.apart, pair.p_adjusted) for pair in found.pairs] == [(False, 1.0), (True, 0.0), (True, 0.0)]
    assert found.leaders == ("A", "B")


@given(few.filter(lambda draws: len(draws) > 1), st.integers(-5, 5))
def test_adding_the_same_to_all_changes_no_pair(draws: np.ndarray, more: int) -> None:
    mean = draws.mean(axis=0)
    assert joint_pairs(NAMES, mean, draws).letters == joint_pairs(NAMES, mean + more, draws + more).letters


def test_one_sample_alone_leads_and_has_no_pair() -> None:
    found = joint_pairs(["A"], [1.0], np.ones((5, 1)))
    assert (found.pairs, found.leaders) == ((), ("A",))
    assert json.loads(json.dumps(found.to_dict()))["sentence"] == "There is nothing to compare with."


# ---- fronts


@given(few, st.data())
def test_the_front_is_that_of_brute_force(draws: np.ndarray, data: st.DataObject) -> None:
    cost = data.draw(hnp.arrays(float, 4, elements=st.integers(0, 4).map(float)))
    may = data.draw(masks(draws.shape))
    found = pareto_front(NAMES, draws[0], cost, worth_draws=draws, admitted=may)

    def dominated(worth: np.ndarray, i: int, admitted: np.ndarray) -> bool:
        return any(
            admitted[j]
            and worth[j] >= worth[i]
            and cost[j] <= cost[i]
            and (worth[j] > worth[i] or cost[j] < cost[i])
            for j in range(4)
        )

    everybody = np.ones(4, dtype=bool)
    assert set(found.front) == {NAMES[i] for i in range(4) if not dominated(draws[0], i, everybody)}
    for i, name in enumerate(NAMES):
        share = np.mean([may[d, i] and not dominated(draws[d], i, may[d]) for d in range(len(draws))])
        assert found.chances[name] == pytest.approx(share)


def test_a_price_that_is_missing_is_refused() -> None:
    with pytest.raises(ValueError, match="cost"):
        pareto_front("AB", [1, 2], [1, float("nan")])
