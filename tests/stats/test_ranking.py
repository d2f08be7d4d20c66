"""Rank tests: independent libraries, exact distributions, properties, and what the sentences say."""

import itertools
import json

import numpy as np
import pandas as pd
import pingouin
import pytest
import scikit_posthocs
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from stats import durbin, friedman, kendall_w, page_trend, skillings_mack
from stats.ranking_exact import sum_of_squares_distribution, trend_distribution


def long(table):
    cells = [
        (f"t{i:02d}", f"s{j}", v) for i, row in enumerate(table) for j, v in enumerate(row) if v is not None
    ]
    return dict(zip(("taster", "sample", "score"), zip(*cells, strict=True), strict=True))


def drawn(seed, tasters, samples, levels=None, lift=0.0):
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(tasters, samples)) + lift * np.arange(samples)
    return table if levels is None else np.round(table * levels / 3)


TABLES = [
    pytest.param(drawn(1, 9, 4), id="no ties"),
    pytest.param(drawn(2, 9, 4, levels=2), id="ties"),
    pytest.param(drawn(3, 30, 6, levels=4, lift=0.4), id="many tasters"),
    pytest.param(drawn(4, 5, 3, levels=3), id="small"),
]


@pytest.mark.parametrize("table", TABLES)
def test_friedman_agrees_with_scipy(table):
    ours, theirs = friedman(long(table)), scipy_stats.friedmanchisquare(*table.T)
    assert (ours.statistic, ours.p_value) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-10)


@pytest.mark.parametrize("table", TABLES)
def test_friedman_s_f_form_and_w_agree_with_pingouin(table):
    frame, ours = pd.DataFrame(long(table)), friedman(long(table))
    theirs = pingouin.friedman(frame, dv="score", within="sample", subject="taster", method="f")
    assert ours.f == pytest.approx(theirs["F"].iloc[0], rel=1e-9)
    assert ours.kendall_w == pytest.approx(theirs["W"].iloc[0], rel=1e-9)


@pytest.mark.parametrize("table", TABLES)
def test_conover_s_pairs_agree_with_scikit_posthocs(table):
    theirs = scikit_posthocs.posthoc_conover_friedman(table).to_numpy()
    pairs = friedman(long(table), comparisons="conover", correction="none").pairs
    ours = [pair.p_value for pair in pairs]
    assert ours == pytest.approx(theirs[np.triu_indices(table.shape[1], k=1)], rel=1e-8)


@pytest.mark.parametrize("table", TABLES)
def test_nemenyi_s_pairs_agree_with_scikit_posthocs(table):
    theirs = scikit_posthocs.posthoc_nemenyi_friedman(table).to_numpy()
    ours = [pair.p_adjusted for pair in friedman(long(table), comparisons="nemenyi").pairs]
    assert ours == pytest.approx(theirs[np.triu_indices(table.shape[1], k=1)], abs=2e-3)


YOUDEN = [
    [2.0, 1.0, None, 3.0, None, None, None],
    [None, 1.0, 2.0, None, 3.0, None, None],
    [None, None, 1.0, 3.0, None, 2.0, None],
    [None, None, None, 2.0, 1.0, None, 3.0],
    [1.0, None, None, None, 2.0, 3.0, None],
    [None, 1.0, None, None, None, 3.0, 2.0],
    [1.0, None, 2.0, None, None, None, 3.0],
]


# The library still calls pandas in a way that is being retired.
@pytest.mark.filterwarnings("ignore:The inplace keyword")
def test_durbin_s_pairs_agree_with_scikit_posthocs():
    table = np.array([[np.nan if v is None else v for v in row] for row in YOUDEN])
    rows = [
        (i, j, table[i, j]) for i, j in itertools.product(range(7), range(7)) if not np.isnan(table[i, j])
    ]
    frame = pd.DataFrame(rows, columns=["block", "group", "y"])
    theirs = scikit_posthocs.posthoc_durbin(frame, "y", "group", "block", melted=True, block_id_col="block")
    theirs = theirs.sort_index().sort_index(axis=1).to_numpy()
    ours = [pair.p_value for pair in durbin(long(YOUDEN), correction="none").pairs]
    assert ours == pytest.approx(theirs[np.triu_indices(7, k=1)], rel=1e-8)


@pytest.mark.parametrize("table", TABLES)
def test_complete_tables_give_durbin_and_skillings_mack_friedman_s_statistic(table):
    whole = friedman(long(table))
    assert durbin(long(table)).statistic == pytest.approx(whole.statistic, rel=1e-10)
    if not any(len(set(row)) < len(row) for row in table):
        assert skillings_mack(long(table)).statistic == pytest.approx(whole.statistic, rel=1e-10)


@pytest.mark.parametrize("table", TABLES[:1])
def test_page_agrees_with_scipy(table):
    theirs = scipy_stats.page_trend_test(table, method="exact")
    ours = page_trend(long(table), ["s0", "s1", "s2", "s3"])
    assert (ours.statistic, ours.p_value) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-10)


@pytest.mark.parametrize(
    "ranks",
    [
        pytest.param([[1, 2, 3], [1, 2, 3]], id="no ties"),
        pytest.param([[1.5, 1.5, 3], [1, 2.5, 2.5], [2, 2, 2]], id="ties"),
        pytest.param([[1, 2, 3, 4], [1.5, 1.5, 3.5, 3.5]], id="four samples"),
    ],
)
def test_the_permutation_distributions_are_those_of_full_enumeration(ranks):
    ranks = np.array(ranks, dtype=float)
    shuffles = [list(itertools.permutations(row)) for row in ranks]
    sums = [np.sum(choice, axis=0) for choice in itertools.product(*shuffles)]
    for found, statistic in (
        (sum_of_squares_distribution(ranks), lambda s: float((s**2).sum())),
        (trend_distribution(ranks), lambda s: float(s @ np.arange(1, len(s) + 1))),
    ):
        values, chances = found
        listed = np.array([statistic(s) for s in sums])
        assert chances.sum() == pytest.approx(1, abs=1e-12)
        for value, chance in zip(values, chances, strict=True):
            assert chance == pytest.approx(np.mean(np.abs(listed - value) < 1e-9), abs=1e-12)


def test_exact_p_values_never_fall_below_alpha_more_often_than_alpha():
    rng = np.random.default_rng(11)
    p = [friedman(long(np.round(rng.normal(size=(5, 3)) * 2))).p_exact for _ in range(1500)]
    trend = [page_trend(long(rng.normal(size=(5, 3))), ["s0", "s1", "s2"]).p_value for _ in range(1500)]
    for values in (np.array(p), np.array(trend)):
        for alpha in (0.01, 0.05, 0.1, 0.3):
            # Three standard errors of 1500 draws.
            assert np.mean(values <= alpha + 1e-12) <= alpha + 3 * (alpha * (1 - alpha) / 1500) ** 0.5


@settings(max_examples=40, deadline=None)
@given(st.permutations(range(4)), st.permutations(range(7)), st.integers(0, 10_000))
def test_names_carry_no_information(samples, tasters, seed):
    table = drawn(seed, 7, 4, levels=3)
    plain = friedman(long(table), draws=0)
    moved = friedman(long(table[np.ix_(tasters, samples)]), draws=0)
    assert moved.statistic == pytest.approx(plain.statistic, abs=1e-9)
    assert list(moved.rank_sums.values()) == [plain.rank_sums[f"s{j}"] for j in samples]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.1, 50), st.floats(-100, 100))
def test_only_order_counts(seed, scale, shift):
    table = drawn(seed, 6, 4, levels=4)
    ours, moved = friedman(long(table), draws=0), friedman(long(np.exp(table) * scale + shift), draws=0)
    assert moved.rank_sums == ours.rank_sums


def test_binary_dust_breaks_no_tie():
    clean = friedman(long([[1, 3, 3], [2, 1, 3], [2, 2, 1]]))
    dusty = friedman(long([[1, 0.3 * 10, 3], [2, 1, 3], [2, 0.1 * 3 / 0.15, 1]]))
    assert dusty.rank_sums == clean.rank_sums


def test_complete_agreement_has_no_f_and_complete_ties_no_statistic():
    agreed = friedman(long([[1, 2, 3]] * 4))
    assert (agreed.f, agreed.p_f, agreed.kendall_w) == (None, 0.0, 1.0)
    assert agreed.p_exact == pytest.approx(6 / 6**4), "one order in 3! per taster, given the first"
    tied = friedman(long([[5, 5, 5]] * 4))
    assert (tied.statistic, tied.p_value, tied.p_exact) == (0.0, 1.0, 1.0)


def test_incomplete_tasters_are_left_out_by_name():
    result = friedman(long([[1, 2, 3], [2, 1, 3], [1, None, 2]]))
    assert "1 taster without all samples left out: t02" in result.notes
    assert result.tasters == ("t00", "t01")


def test_too_few_complete_tasters_point_to_the_tests_that_take_gaps():
    with pytest.raises(ValueError, match=r"only 1 taster scored all 3 samples.*skillings_mack"):
        friedman(long([[1, 2, 3], [2, None, 3]]))


def test_durbin_refuses_unbalanced_blocks():
    with pytest.raises(ValueError, match="not balanced, tasters had between 2 and 3 samples"):
        durbin(long([[1, 2, 3], [2, 1, None], [None, 1, 2]]))


def test_skillings_mack_refuses_unconnected_samples():
    with pytest.raises(ValueError, match="do not connect"):
        skillings_mack(long([[1, 2, None, None], [None, None, 2, 1]]))


def test_skillings_mack_s_shuffles_agree_with_its_chi_square_on_a_larger_panel():
    rng = np.random.default_rng(4)
    table = [[v if rng.random() > 0.2 else None for v in row] for row in drawn(7, 40, 4, lift=0.15)]
    result = skillings_mack(long(table), draws=4000)
    assert result.p_permutation == pytest.approx(result.p_value, abs=0.03)


def test_an_order_that_lacks_a_sample_is_refused():
    with pytest.raises(
        ValueError, match=r"order: it must name every sample once \(s0, s1, s2\), but got s0, s1"
    ):
        page_trend(long([[1, 2, 3], [1, 3, 2]]), ["s0", "s1"])


def test_the_same_seed_gives_the_same_permutation_p():
    table = long(drawn(5, 20, 7))
    assert friedman(table, seed=3).p_exact == friedman(table, seed=3).p_exact
    assert "seed 3" in friedman(table, seed=3).exact_how


def test_sentences_say_what_was_found_and_never_that_samples_are_the_same():
    found = friedman(long([[1, 2, 3]] * 8)).sentence()
    assert found.startswith(
        "The 3 samples were ranked differently (Friedman's chi-square 16.0, df 2, p < 0.0001"
    )
    assert found.endswith("s0 from s2.")
    lacking = friedman(long([[1, 2, 3], [3, 2, 1], [2, 1, 3]]))
    assert "No significant difference" in lacking.sentence()
    assert "does not show that they are the same" in lacking.sentence()
    assert "was not shown" in page_trend(long([[1, 2], [2, 1]]), ["s0", "s1"]).sentence()
    assert kendall_w(long([[1, 2, 3]] * 3)).sentence().startswith("Kendall's W is 1.00 over 3 tasters")


@pytest.mark.parametrize("test", [friedman, durbin, kendall_w, skillings_mack])
def test_rank_results_are_plain_json(test):
    json.dumps(test(long([[1, 2, 3], [2, 1, 3], [1, 3, 2]])).to_dict(), allow_nan=False)
