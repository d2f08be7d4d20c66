"""Check-all-that-apply: exact p-values, pairs, the map, and liking beside it."""

import json
from itertools import combinations, product

import numpy as np
import pandas as pd
import pingouin
import pytest
from scipy.stats import binomtest
from statsmodels.stats.contingency_tables import cochrans_q, mcnemar

from stats import check_all
from stats.check_all import liking_sentence
from stats.check_all_exact import exact_or_sampled_p


def long(table, term=None):
    rows = [(f"t{i:03d}", f"s{j}", v) for i, row in enumerate(table) for j, v in enumerate(row)]
    frame = pd.DataFrame(rows, columns=["taster", "sample", "score"])
    return frame if term is None else frame.assign(attribute=term)


def ticks(n=12, shares=(0.2, 0.5, 0.7), seed=0):
    return (np.random.default_rng(seed).random((n, len(shares))) < shares).astype(int)


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # pingouin's own use of pandas
@pytest.mark.parametrize("seed", range(4))
def test_cochrans_q_agrees_with_statsmodels_and_pingouin(seed):
    table = ticks(seed=seed)
    found = check_all(long(table))
    reference = cochrans_q(table)
    assert (found.cochran_q, found.p_value) == pytest.approx((reference.statistic, reference.pvalue))
    other = pingouin.cochran(data=long(table), dv="score", within="sample", subject="taster")
    assert found.cochran_q == pytest.approx(float(other.loc["cochran", "Q"]), abs=5e-4)


@pytest.mark.parametrize("seed", range(4))
def test_pairs_agree_with_exact_mcnemar_and_are_adjusted_by_holm(seed):
    table = ticks(n=20, seed=seed)
    found = check_all(long(table))
    for pair, (a, b) in zip(found.pairs, combinations(range(3), 2), strict=True):
        counts = [[int(((table[:, a] == x) & (table[:, b] == y)).sum()) for y in (1, 0)] for x in (1, 0)]
        assert pair.p_value == pytest.approx(mcnemar(counts, exact=True).pvalue)
        assert pair.p_value == pytest.approx(binomtest(pair.only_a, max(pair.only_a + pair.only_b, 1)).pvalue)
    ordered = sorted(pair.p_value for pair in found.pairs)
    assert min(pair.p_adjusted for pair in found.pairs) == pytest.approx(min(3 * ordered[0], 1.0))


@pytest.mark.parametrize("seed", range(3))
def test_the_exact_p_agrees_with_plain_enumeration_of_all_permutations(seed):
    table = ticks(n=5, seed=seed)
    rows = table.sum(axis=1)
    observed = (table.sum(axis=0) ** 2).sum()
    choices = [[np.isin(range(3), one) for one in combinations(range(3), int(r))] for r in rows]
    outcomes = [(np.sum(one, axis=0) ** 2).sum() >= observed for one in product(*choices)]
    p, how = exact_or_sampled_p(rows, table.sum(axis=0), 3, 0)
    assert p == pytest.approx(np.mean(outcomes))
    assert "exact" in how


def test_sampled_permutations_agree_with_the_exact_p_and_repeat_with_the_seed():
    # Eight samples are too many to walk; chi-square is close there, and the same seed gives the same p.
    table = ticks(n=40, shares=[0.3, 0.35, 0.4, 0.45, 0.5, 0.35, 0.4, 0.45], seed=2)
    one, two = check_all(long(table), seed=3).terms[0], check_all(long(table), seed=3).terms[0]
    assert "sampled" in one.permutation
    assert one.p_permutation == two.p_permutation
    assert one.p_permutation == pytest.approx(one.p_value, abs=0.02)


def test_sampling_many_choices_takes_the_other_road_to_the_same_law():
    # Twelve samples, half checked: 924 choices per block are drawn one by one instead of by a multinomial.
    table = ticks(n=15, shares=[0.5] * 12, seed=4)
    found = check_all(long(table)).terms[0]
    assert found.p_permutation == pytest.approx(found.p_value, abs=0.05)


def test_under_the_null_the_exact_test_keeps_its_level():
    p = [
        check_all(long(ticks(n=8, shares=(0.4, 0.4, 0.4), seed=s))).terms[0].p_permutation for s in range(300)
    ]
    known = np.array([one if one is not None else 1.0 for one in p])
    for level in (0.05, 0.1, 0.25):
        assert (known <= level).mean() <= level + 3 * np.sqrt(level * (1 - level) / 300)


def test_several_terms_are_tested_each_and_the_sentence_corrects_for_their_number():
    frame = pd.concat(
        [
            long(ticks(n=30, shares=(0.1, 0.5, 0.9), seed=1), "salty"),
            long(ticks(30, (0.4, 0.4, 0.4), 2), "sweet"),
        ]
    )
    found = check_all(frame)
    assert [one.term for one in found.terms] == ["salty", "sweet"]
    assert found.sentence().startswith("salty (p < 0.0001) tells the samples apart")
    assert "Holm over 2 terms" in found.sentence()
    assert found.term("salty").cochran_q > found.term("sweet").cochran_q
    with pytest.raises(ValueError, match="there are 2 terms"):
        _ = found.cochran_q
    with pytest.raises(ValueError, match="term 'sour' is not among salty, sweet"):
        found.term("sour")
    json.dumps(found.to_dict(), allow_nan=False)


def test_a_term_that_everybody_checks_alike_has_no_q():
    found = check_all(long(np.ones((6, 3), dtype=int)))
    assert (found.cochran_q, found.p_value, found.terms[0].p_permutation) == (None, None, None)
    assert "none can tell the samples apart" in found.sentence()


def test_blocks_with_a_gap_are_left_out_of_q_and_kept_for_the_pairs_they_have():
    frame = long(ticks(n=10, seed=3)).astype({"score": float})
    frame.loc[0, "score"] = np.nan
    found = check_all(frame)
    assert found.terms[0].blocks == 9
    assert any("1 block without an answer" in note for note in found.notes)
    whole = check_all(frame.iloc[3:])
    assert found.cochran_q == pytest.approx(whole.cochran_q)


def test_a_score_other_than_0_and_1_is_refused():
    frame = long(ticks())
    frame.loc[4, "score"] = 2
    with pytest.raises(ValueError, match="check-all answers are 0 or 1"):
        check_all(frame)


def test_map_distances_are_chi_square_distances_between_profiles():
    # Definition of correspondence analysis: full-rank principal coordinates reproduce the chi-square metric.
    shares = {"salty": (0.2, 0.5, 0.7), "sweet": (0.6, 0.3, 0.2), "soft": (0.5, 0.5, 0.3)}
    tables = {term: ticks(40, share, i) for i, (term, share) in enumerate(shares.items())}
    found = check_all(pd.concat([long(table, term) for term, table in tables.items()]))
    counts = np.array([tables[term].sum(axis=0) for term in sorted(tables)]).T.astype(float)
    profiles, mass = counts / counts.sum(axis=1, keepdims=True), counts.sum(axis=0) / counts.sum()
    points = np.array([point for _, point in found.correspondence.samples])
    for a, b in combinations(range(3), 2):
        wanted = (((profiles[a] - profiles[b]) ** 2) / mass).sum()
        assert ((points[a] - points[b]) ** 2).sum() == pytest.approx(wanted)
    assert sum(found.correspondence.explained) == pytest.approx(1.0)


def test_liking_is_compared_within_tasters():
    # Tasters who like everything also check more; only the difference within each taster counts (here 2).
    rng = np.random.default_rng(0)
    table = ticks(n=40, shares=(0.5, 0.5, 0.5, 0.5), seed=5)
    level = table.sum(axis=1) * 1.0
    liking = long(4 + level[:, None] + 2 * table + 0.2 * rng.normal(size=table.shape))
    found = check_all(long(table), liking=liking).liking[0]
    assert found.difference.estimate == pytest.approx(2.0, abs=0.1)
    assert found.liking_checked - found.liking_unchecked > 2.2
    assert "points higher" in liking_sentence(found)


def test_names_and_row_order_do_not_change_the_test():
    frame = long(ticks(seed=6))
    other = frame.sample(frac=1, random_state=2).replace({"sample": {"s0": "z", "s2": "a"}})
    assert check_all(other).terms[0].p_permutation == pytest.approx(check_all(frame).terms[0].p_permutation)
