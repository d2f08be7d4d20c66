"""Paired preference: exact, with its rule for "no preference" respected and shown."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, multinomial

import stats

few = st.integers(0, 60)


@given(few, few, few, st.booleans())
def test_dropping_the_undecided_is_the_sign_test(a: int, b: int, none: int, two_sided: bool) -> None:
    if a + b == 0:
        return
    found = stats.paired_preference(a, b, none, two_sided=two_sided, no_preference_rule="drop")
    theirs = binomtest(a, a + b, 0.5, alternative="two-sided" if two_sided else "greater")
    assert found.p_value == pytest.approx(theirs.pvalue, rel=1e-9)


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ((21, 9, 4), (23, 11)),
        ((21, 9, 5), (23, 12)),
        ((9, 21, 5), (12, 23)),
        ((5, 5, 1), (5, 6)),
        ((0, 0, 3), (1, 2)),
    ],
    ids=["even", "odd to B", "odd to A", "odd in a tie counts against A", "nobody chose"],
)
def test_splitting_gives_the_odd_one_to_the_smaller_side(
    counts: tuple[int, int, int], expected: tuple[int, int]
) -> None:
    found = stats.paired_preference(*counts, no_preference_rule="split")
    assert (found.counted_a, found.counted_b) == expected


@given(few, few, few, st.sampled_from(["split", "drop"]))
def test_a_two_sided_p_does_not_care_which_sample_is_called_a(a: int, b: int, none: int, rule: str) -> None:
    if a + b + none == 0:
        return
    one = stats.paired_preference(a, b, none, no_preference_rule=rule)
    other = stats.paired_preference(b, a, none, no_preference_rule=rule)
    assert one.p_value == other.p_value


def test_the_other_rule_is_shown_beside() -> None:
    split = stats.paired_preference(21, 9, 5)
    drop = stats.paired_preference(21, 9, 5, no_preference_rule="drop")
    assert split.p_value_other_rule == drop.p_value
    assert drop.p_value_other_rule == split.p_value
    assert split.undecided.estimate == pytest.approx(5 / 35)


@pytest.mark.parametrize("rule", ["split", "drop"])
@pytest.mark.parametrize("undecided", [0.0, 0.2, 0.6])
def test_without_a_preference_p_is_at_most_a_no_oftener_than_a(rule: str, undecided: float) -> None:
    n, half = 18, (1 - undecided) / 2
    cells = [(a, b, n - a - b) for a in range(n + 1) for b in range(n + 1 - a)]
    weights = multinomial.pmf(np.array(cells), n, [half, half, undecided])
    p_values = np.array([stats.paired_preference(*cell, no_preference_rule=rule).p_value for cell in cells])
    for level in (0.01, 0.05, 0.2):
        assert weights[p_values <= level].sum() <= level


@pytest.mark.parametrize("rule", ["split", "drop"])
@pytest.mark.parametrize("two_sided", [True, False])
def test_power_is_that_of_every_outcome_weighed(rule: str, two_sided: bool) -> None:
    n, shares = 25, (0.55, 0.25, 0.2)
    cells = [(a, b, n - a - b) for a in range(n + 1) for b in range(n + 1 - a)]
    weights = multinomial.pmf(np.array(cells), n, shares)
    right = wrong = 0.0
    for cell, weight in zip(cells, weights, strict=True):
        found = stats.paired_preference(*cell, two_sided=two_sided, no_preference_rule=rule)
        right += weight * (found.significant and found.counted_a > found.counted_b)
        wrong += weight * (found.significant and found.counted_a < found.counted_b)
    power = stats.preference_power(
        n, prefer_a=0.55, prefer_b=0.25, two_sided=two_sided, no_preference_rule=rule
    )
    assert (power.power, power.wrong_way) == pytest.approx((right, wrong), abs=1e-12)


@pytest.mark.parametrize("rule", ["split", "drop"])
def test_the_required_number_reaches_its_power_and_keeps_it(rule: str) -> None:
    found = stats.required_tasters_for_preference(
        prefer_a=0.2, prefer_b=0.55, power=0.8, no_preference_rule=rule
    )

    def power(n: int) -> float:
        return stats.preference_power(n, prefer_a=0.2, prefer_b=0.55, no_preference_rule=rule).power

    assert all(power(n) < 0.8 for n in range(1, found.smallest))
    assert power(found.smallest) == pytest.approx(found.power.smallest)
    assert all(power(n) >= 0.8 for n in range(found.lasting, found.lasting + 100))


def test_without_the_undecided_preference_is_planned_as_a_two_sided_paired_test() -> None:
    pair = stats.required_tasters("2-AFC", alpha=0.05, power=0.9, pd=0.3, two_sided=True)
    found = stats.required_tasters_for_preference(prefer_a=0.65, power=0.9)
    assert (found.smallest, found.lasting) == (pair.smallest, pair.lasting)


def test_sentences_name_the_winner_or_what_was_not_shown() -> None:
    assert stats.paired_preference(9, 21).sentence() == (
        "9 preferred A, 21 preferred B: B is preferred (p = 0.043; share preferring A 30\u202f%, 95\u202f% interval "
        "15\u202f% to 49\u202f%)."
    )
    assert "a preference was not shown (p = 0.25" in stats.paired_preference(3, 0).sentence()
    assert "no evidence of equal liking" in stats.paired_preference(16, 14, 3).sentence()
    assert "nobody chose" in stats.paired_preference(0, 0, 4, no_preference_rule="drop").sentence()


@given(few, few, few, st.sampled_from(["split", "drop"]))
def test_results_are_plain_json(a: int, b: int, none: int, rule: str) -> None:
    if a + b + none:
        json.dumps(stats.paired_preference(a, b, none, no_preference_rule=rule).to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.paired_preference(0, 0), "are all 0"),
        (lambda: stats.paired_preference(-1, 3), "prefer_a must be a whole number of at least 0.*-1"),
        (
            lambda: stats.paired_preference(1, 3, no_preference_rule="share"),
            "no_preference_rule must be.*'share'",
        ),
        (lambda: stats.preference_power(10, prefer_a=0.7, prefer_b=0.5), "at most at 1.*1.2"),
        (lambda: stats.required_tasters_for_preference(prefer_a=0.5), "must differ"),
        (
            lambda: stats.required_tasters_for_preference(prefer_a=0.3, two_sided=False),
            "exceed it in a one-sided",
        ),
    ],
    ids=["nobody", "negative", "unknown rule", "shares above 1", "equal shares", "wrong way"],
)
def test_impossible_arguments_are_named(call, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()


def test_ranking_power_is_alpha_without_differences_and_grows_with_tasters() -> None:
    level = stats.ranking_power([12, 40], [0.0, 0.0, 0.0, 0.0], simulations=4000, seed=3)
    assert all(p <= 0.05 + 4 * e for p, e in zip(level.power, level.error, strict=True))
    power = stats.ranking_power([6, 12, 24, 48], [0.0, 0.4, 0.8, 0.8], simulations=2000, seed=3).power
    assert list(power) == sorted(power)


def test_ranking_two_samples_is_the_paired_comparison() -> None:
    # Thurstone case V: of two impressions a distance d apart, the higher is ranked higher with P = Φ(d/√2) (2-AFC)
    ranking = stats.ranking_power([30], [0.0, 1.0], simulations=20000, seed=1)
    pair = stats.difference_power("2-AFC", [30], d_prime=1.0, two_sided=True)
    assert ranking.power[0] == pytest.approx(pair.power[0], abs=4 * ranking.error[0] + 1e-3)


def test_the_same_seed_gives_the_same_ranking_plan() -> None:
    plans = [
        stats.required_tasters_for_ranking([0, 0.5, 1], simulations=500, seed=7, most=60) for _ in range(2)
    ]
    assert plans[0] == plans[1]
    assert plans[0].smallest <= plans[0].lasting
    json.dumps(plans[0].to_dict(), allow_nan=False)
    with pytest.raises(ValueError, match="raise most"):
        stats.required_tasters_for_ranking([0, 0.1, 0.2], most=5, simulations=500)
