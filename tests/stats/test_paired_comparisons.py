"""Bradley-Terry strengths and circular triads beyond the published examples."""

import json

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from stats import bradley_terry, circular_triads
from stats.triad_counts import triad_distribution


def comparisons(strengths, times=30, seed=0):
    rng = np.random.default_rng(seed)
    rows = []
    for a in range(len(strengths)):
        for b in range(a):
            for _ in range(times):
                first = rng.random() < strengths[a] / (strengths[a] + strengths[b])
                rows.append((f"s{a}", f"s{b}") if first else (f"s{b}", f"s{a}"))
    return pd.DataFrame(rows, columns=["winner", "loser"])


def judged(tasters, samples, consistency=1.0, seed=0):
    rng = np.random.default_rng(seed)
    rows = [
        (f"t{t}", *((f"s{a}", f"s{b}") if rng.random() < consistency else (f"s{b}", f"s{a}")))
        for t in range(tasters)
        for a in range(samples)
        for b in range(a)
    ]
    return pd.DataFrame(rows, columns=["taster", "winner", "loser"])


@pytest.mark.parametrize("seed", range(3))
def test_strengths_agree_with_a_logistic_regression(seed):
    frame = comparisons([1, 2, 3, 4], seed=seed)
    found = bradley_terry(frame)
    X = np.zeros((len(frame), 4))
    for column in range(4):
        X[:, column] += (frame["winner"] == f"s{column}").to_numpy()
        X[:, column] -= (frame["loser"] == f"s{column}").to_numpy()
    # Every row is won: mirror half of them so that the regression has both outcomes.
    flip = np.arange(len(frame)) % 2 == 0
    fit = sm.Logit((~flip).astype(float), np.where(flip[:, None], -X, X)[:, 1:]).fit(disp=False)
    gaps = [s.log_strength.estimate - found.strengths[0].log_strength.estimate for s in found.strengths[1:]]
    assert gaps == pytest.approx(list(fit.params), abs=1e-6)
    errors = [
        (p.difference.high - p.difference.low) / 2 / 1.959963985 for p in found.pairs if p.sample_a == "s0"
    ]
    assert errors == pytest.approx(list(fit.bse), rel=1e-5)


def test_strengths_sum_to_zero_and_names_do_not_matter():
    frame = comparisons([1, 2, 3])
    found = bradley_terry(frame)
    assert sum(s.log_strength.estimate for s in found.strengths) == pytest.approx(0, abs=1e-10)
    renamed = bradley_terry(frame.replace({"s0": "z", "s1": "y", "s2": "x"}))
    assert renamed.statistic == pytest.approx(found.statistic)
    assert [s.won for s in reversed(renamed.strengths)] == [s.won for s in found.strengths]


def test_the_likelihood_ratio_has_its_level_under_equal_strengths():
    p = np.array([bradley_terry(comparisons([1, 1, 1, 1], times=20, seed=s)).p_value for s in range(300)])
    for level in (0.05, 0.25, 0.5):
        assert abs((p <= level).mean() - level) < 3.5 * np.sqrt(level * (1 - level) / 300)


def test_a_sample_that_never_loses_has_no_finite_strength_and_is_named():
    frame = pd.DataFrame({"winner": ["a", "a", "b", "c"], "loser": ["b", "c", "c", "b"]})
    found = bradley_terry(frame)
    assert all(s.log_strength.estimate is None for s in found.strengths)
    assert (found.p_value, found.pairs[0].p_adjusted) == (None, None)
    assert "a never loses to any other sample" in found.sentence()
    json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.parametrize("samples", [3, 4, 5, 6, 7, 8, 9, 10])
def test_the_chances_of_all_numbers_of_triads_sum_to_one(samples):
    assert sum(triad_distribution(samples).values()) == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize("samples", [8, 10])
def test_the_mean_number_of_triads_at_random_is_a_quarter_of_all_triads(samples):
    # Each of C(n, 3) triads is circular in 2 of its 8 outcomes (Kendall & Babington Smith 1940).
    mean = sum(d * p for d, p in triad_distribution(samples).items())
    assert mean == pytest.approx(samples * (samples - 1) * (samples - 2) / 6 / 4)


def test_the_approximation_above_ten_samples_joins_the_exact_one():
    # Eleven samples by the chi-square form against simulation with a fair coin.
    rng = np.random.default_rng(0)
    upper = np.triu_indices(11, 1)
    wins = np.zeros((4000, 11))
    for i in range(4000):
        first = rng.random(55) < 0.5
        wins[i] = np.bincount(np.where(first, *upper), minlength=11)
    d = 11 * 10 * 21 / 12 - (wins**2).sum(axis=1) / 2
    taster = circular_triads(judged(1, 11, consistency=0.8, seed=5)).tasters[0]
    assert not taster.exact
    assert taster.p_value == pytest.approx((d <= taster.triads).mean(), abs=0.03)


def test_consistent_tasters_agree_completely_and_random_ones_do_not():
    found = circular_triads(judged(6, 6))
    assert found.agreement == 1.0
    assert found.agreement_p < 1e-6
    assert all(t.triads == 0 and t.zeta == 1 for t in found.tasters)
    loose = circular_triads(judged(6, 6, consistency=0.5, seed=3))
    assert abs(loose.agreement) < 0.25
    assert loose.agreement_p > 0.05


def test_a_taster_who_missed_a_pair_is_left_out_by_name():
    frame = judged(3, 4).drop(index=2)
    found = circular_triads(frame)
    assert found.left_out == ("t0",)
    assert "t0" in found.notes[0]
    assert len(found.tasters) == 2


def test_five_samples_cannot_show_consistency_and_the_sentence_says_so():
    assert "with 5 samples no taster could show it" in circular_triads(judged(4, 5)).sentence()
    assert "4 of 4 tasters contradict themselves less often" in circular_triads(judged(4, 6)).sentence()


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: bradley_terry({"winner": ["a"]}), "column 'loser' is missing"),
        (lambda: bradley_terry({"winner": ["a"], "loser": ["a"]}), "sample 'a' is compared with itself"),
        (lambda: bradley_terry({"winner": [None], "loser": ["a"]}), "no comparison has both"),
        (lambda: circular_triads({"taster": ["t"], "winner": ["a"], "loser": ["b"]}), "need three samples"),
    ],
    ids=["column", "itself", "nothing", "two samples"],
)
def test_bad_input_is_refused_with_the_reason(call, match):
    with pytest.raises(ValueError, match=match):
        call()
