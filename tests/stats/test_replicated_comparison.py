"""Products compared by replicate runs: against pingouin and scipy, in blocks, and where nothing can be said."""

import json
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from stats import replicated_comparison

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pingouin

NAMES = ("Aster", "Birch", "Cedar", "Dahlia", "Elm")


def drawn(seed, sizes=(4, 3, 6, 5), shift=2.0):
    rng = np.random.default_rng(seed)
    return {
        name: (20 + shift * rng.normal() + (1 + place) * rng.normal(size=n)).tolist()
        for place, (name, n) in enumerate(zip(NAMES, sizes, strict=False))
    }


def long(runs):
    return pd.DataFrame(
        [(name, x) for name, values in runs.items() for x in values], columns=["product", "run"]
    )


@pytest.mark.parametrize("seed", range(4))
def test_many_products_agree_with_pingouin(seed):
    runs = drawn(seed)
    found = replicated_comparison(runs)
    anova = pingouin.welch_anova(long(runs), dv="run", between="product").iloc[0]
    assert (found.f, found.df_den, found.p_value) == pytest.approx(
        (anova["F"], anova["ddof2"], anova["p_unc"]), rel=1e-9
    )
    pairs = pingouin.pairwise_gameshowell(long(runs), dv="run", between="product")
    for pair, row in zip(found.pairs, pairs.to_dict("records"), strict=True):
        assert (pair.a, pair.b) == (row["A"], row["B"])
        assert (pair.difference, pair.standard_error, pair.df) == pytest.approx(
            (row["diff"], row["se"], row["df"]), rel=1e-9
        )
        assert pair.p_adjusted == pytest.approx(row["pval"], abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_two_products_are_welchs_t_test(seed):
    runs = drawn(seed, sizes=(3, 7))
    found = replicated_comparison(runs, confidence=0.9)
    other = scipy_stats.ttest_ind(*runs.values(), equal_var=False)
    interval = other.confidence_interval(0.9)
    assert found.p_value == pytest.approx(other.pvalue)
    assert found.pairs[0].p_adjusted == pytest.approx(other.pvalue, rel=1e-6)
    assert (found.pairs[0].low, found.pairs[0].high) == pytest.approx((interval.low, interval.high), rel=1e-6)
    assert found.method == "Welch's t test"


@pytest.mark.parametrize("seed", range(3))
def test_two_products_met_once_in_every_block_are_a_paired_t_test(seed):
    rng = np.random.default_rng(seed)
    days = [f"day {i}" for i in range(6)]
    day = 10 * rng.normal(size=6)
    runs = {"Aster": (day + rng.normal(size=6)).tolist(), "Birch": (day + 1 + rng.normal(size=6)).tolist()}
    found = replicated_comparison(runs, blocks=dict.fromkeys(runs, days))
    paired = scipy_stats.ttest_rel(*runs.values())
    assert found.blocked
    assert found.p_value == pytest.approx(paired.pvalue, rel=1e-4)
    assert found.p_value < replicated_comparison(runs).p_value


def test_repeats_within_blocks_keep_the_block_by_product_scatter():
    rng = np.random.default_rng(5)
    blocks = {name: [f"day {d}" for d in range(4) for _ in range(3)] for name in NAMES[:3]}
    runs = {
        name: [shift + day * 3 + rng.normal() for day in range(4) for _ in range(3)]
        for name, shift in zip(NAMES, (0.0, 0.0, 4.0), strict=False)
    }
    found = replicated_comparison(runs, blocks=blocks)
    assert found.letters["Cedar"] != found.letters["Aster"]
    assert "within blocks" in found.notes[-1]
    assert not any("taster" in note for note in found.notes)


@given(st.floats(-100, 100), st.floats(0.01, 100), st.permutations(NAMES[:4]))
def test_neither_unit_nor_order_of_entry_changes_the_finding(shift, factor, order):
    runs = drawn(9)
    one = replicated_comparison(runs)
    other = replicated_comparison({name: [x * factor + shift for x in runs[name]] for name in order})
    assert other.p_value == pytest.approx(one.p_value, rel=1e-6)
    assert dict(other.letters) == dict(one.letters)


def test_products_with_one_run_are_named_and_not_compared():
    found = replicated_comparison({"Aster": [1.0, 2.0, 2.5], "Birch": [4.0], "Cedar": [3.0, 3.5]})
    assert found.left_out == ("Birch",)
    assert "Birch" not in found.letters
    assert {pair.a for pair in found.pairs} | {pair.b for pair in found.pairs} == {"Aster", "Cedar"}
    assert found.means[1].low is None


@pytest.mark.parametrize("runs", [{}, {"Aster": [1.0, 2.0]}, {"Aster": [1.0, 2.0], "Birch": [1.0]}])
def test_fewer_than_two_products_with_two_runs_is_no_comparison(runs):
    found = replicated_comparison(runs)
    assert found.f is None
    assert "fewer than two products have two runs" in found.sentence()
    json.dumps(found.to_dict())


def test_runs_without_scatter_need_the_instruments_resolution():
    runs = {"Aster": [5.0, 5.0, 5.0], "Birch": [7.0, 7.2, 6.9]}
    assert "gave the same value" in replicated_comparison(runs).sentence()
    found = replicated_comparison(runs, least_spread=0.1)
    assert found.p_value < 0.05
    assert any("resolution is taken" in note for note in found.notes)
    third = replicated_comparison({**runs, "Cedar": [5.0, 5.5, 6.0]})
    assert (len(third.pairs), third.means[0].mean) == (1, 5.0)


def test_the_sentence_gives_the_interval_before_the_test():
    sentence = replicated_comparison(drawn(2)).sentence()
    assert sentence.index("interval") < sentence.index("p ")
    assert "pairs shown to be apart" in sentence


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: replicated_comparison({"A": [1, float("nan")]}), "finite"),
        (lambda: replicated_comparison({"A": [1, 2]}, alpha=0), "alpha"),
        (
            lambda: replicated_comparison({"A": [1, 2], "B": [1, 3]}, blocks={"A": ["x", "y"], "B": ["x"]}),
            "2 runs, but 1 block",
        ),
    ],
)
def test_rubbish_is_refused_in_words(call, said):
    with pytest.raises(ValueError, match=said):
        call()


def test_runs_that_never_share_a_block_are_not_compared_within_blocks():
    found = replicated_comparison(
        {"A": [1.0, 2.0], "B": [3.0, 4.0]}, blocks={"A": ["x", "y"], "B": ["u", "v"]}
    )
    assert "cannot be compared within blocks" in found.sentence()
