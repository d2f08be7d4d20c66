"""Penalty analysis: the rule at its edge, the bootstrap, and what does not change it."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import f_oneway, ttest_ind

from stats import penalty_analysis


def answers(n=80, seed=0):
    rng = np.random.default_rng(seed)
    scale = rng.choice([1, 2, 3, 4, 5], size=n, p=[0.1, 0.15, 0.5, 0.15, 0.1])
    return (7 - np.abs(scale - 3) * 0.8 + rng.normal(size=n)).round(), scale


@pytest.mark.parametrize(
    ("low", "n", "counts"), [(4, 20, True), (20, 100, True), (19, 100, False), (3, 15, True), (2, 11, False)]
)
def test_exactly_a_fifth_counts_and_less_does_not(low, n, counts):
    # The 20 % rule is common practice, no source; exactly 20 % counts here and the result says so.
    found = penalty_analysis(
        [5.0, 6.0] * low + [7.0] * (n - 2 * low), [2] * low + [3] * (n - low), resamples=100
    )
    assert found.low.counts is counts
    assert "exactly 20" in found.rule
    assert "counts" in found.rule


@pytest.mark.parametrize("seed", range(3))
def test_tests_agree_with_scipy(seed):
    liking, scale = answers(seed=seed)
    found = penalty_analysis(liking, scale)
    right, low, high = liking[scale == 3], liking[scale < 3], liking[scale > 3]
    for side, group in ((found.low, low), (found.high, high)):
        pooled, welch = ttest_ind(right, group), ttest_ind(right, group, equal_var=False)
        assert (side.pooled.t, side.pooled.p_value) == pytest.approx((pooled.statistic, pooled.pvalue))
        assert (side.welch.t, side.welch.df, side.welch.p_value) == pytest.approx(
            (welch.statistic, welch.df, welch.pvalue)
        )
    whole = f_oneway(low, right, high)
    assert (found.anova.f, found.anova.p_value) == pytest.approx((whole.statistic, whole.pvalue))


def test_the_bootstrap_interval_covers_about_its_nominal_rate():
    # Truth: means 7 and 5.5, so a drop of 1.5; seeded simulation.
    rng, inside = np.random.default_rng(2), 0
    for seed in range(300):
        scale = rng.choice([2, 3], size=60, p=[0.4, 0.6])
        liking = np.where(scale == 3, 7.0, 5.5) + rng.normal(size=60)
        interval = penalty_analysis(liking, scale, resamples=500, seed=seed).low.mean_drop_interval
        inside += interval.low <= 1.5 <= interval.high
    assert 0.90 <= inside / 300 <= 0.98


def test_the_same_seed_gives_the_same_interval_whatever_the_order_of_the_rows():
    liking, scale = answers()
    order = np.random.default_rng(1).permutation(len(liking))
    a, b = penalty_analysis(liking, scale, seed=7), penalty_analysis(liking[order], scale[order], seed=7)
    assert a.low.mean_drop_interval == b.low.mean_drop_interval
    assert a.low.mean_drop_interval != penalty_analysis(liking, scale, seed=8).low.mean_drop_interval


@given(shift=st.floats(-5, 5), scale=st.floats(0.2, 5))
def test_drops_move_with_the_unit_of_liking_and_not_with_its_origin(shift, scale):
    liking, jar = answers(seed=4)
    a, b = (
        penalty_analysis(liking, jar, resamples=100),
        penalty_analysis(liking * scale + shift, jar, resamples=100),
    )
    assert b.low.mean_drop == pytest.approx(scale * a.low.mean_drop, abs=1e-9)
    assert b.high.welch.t == pytest.approx(a.high.welch.t, rel=1e-6)
    assert b.low.share == a.low.share


def test_turning_the_scale_round_swaps_the_sides():
    liking, jar = answers(seed=5)
    a, b = penalty_analysis(liking, jar), penalty_analysis(liking, 6 - jar)
    assert (a.low.mean_drop, a.high.n) == (b.high.mean_drop, b.low.n)


def test_missing_answers_are_left_out_in_pairs_and_said():
    found = penalty_analysis([7, None, 5, 6, 8, 4], [3, 2, None, 3, 3, 2], resamples=100)
    assert found.n == 4
    assert "2 answers" in found.notes[0]


def test_an_empty_side_has_no_drop_and_no_test():
    found = penalty_analysis([7, 8, 6, 5, 4], [3, 3, 3, 4, 4], resamples=100)
    assert (found.low.n, found.low.mean, found.low.mean_drop, found.low.counts) == (0, None, None, False)
    assert found.low.welch.reason
    json.dumps(found.to_dict(), allow_nan=False)


def test_groups_without_any_spread_have_no_t_and_a_reason():
    found = penalty_analysis([7, 7, 7, 5, 5], [3, 3, 3, 4, 4], resamples=100)
    assert found.high.mean_drop == 2.0
    assert found.high.pooled.t is None
    assert "alike" in found.high.pooled.reason


def test_the_sentence_names_only_the_sides_that_count():
    text = penalty_analysis([5] * 10 + [6, 7, 8] * 10, [2] * 10 + [3] * 30).sentence()
    assert "25\u202f% say too little and like it 2.0 points lower" in text
    assert "too much" not in text


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: penalty_analysis([1, 2], [3]), "have 2 and 1 entries"),
        (lambda: penalty_analysis([None], [3]), "no entry that is given in both"),
        (
            lambda: penalty_analysis([1.0, 2.0], [3, float("inf")]),
            "just_about_right must hold finite numbers",
        ),
        (lambda: penalty_analysis(["good"], [3]), "liking must hold numbers"),
        (lambda: penalty_analysis([1.0], [3], cut_off=20), "cut_off must lie between 0 and 1, but got 20"),
        (lambda: penalty_analysis([1.0], [3], resamples=5), "resamples must be at least 100"),
    ],
    ids=["lengths", "nothing", "infinite", "text", "percent", "resamples"],
)
def test_bad_input_is_refused_with_the_reason(call, match):
    with pytest.raises(ValueError, match=match):
        call()
