"""Distributions of simultaneous comparisons, letters, and standardised effects."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from stats import compact_letters, hedonic_anova
from stats.comparisons_range import dunnett_tail, product_loadings, range_quantile, range_tail


@pytest.mark.parametrize(
    ("q", "groups", "df"),
    [(3, 3, 10), (10, 12, 20), (4, 4, 577), (1, 2, 2), (0.1, 5, 1000), (20, 5, 3), (5, 30, 40), (3, 3, 2e6)],
)
def test_the_studentized_range_agrees_with_scipy(q, groups, df):
    theirs = scipy_stats.studentized_range.sf(q, groups, df)
    assert range_tail(q, groups, df)[0] == pytest.approx(theirs, rel=1e-7, abs=1e-10)


@pytest.mark.parametrize(("confidence", "groups"), [(0.95, 3), (0.99, 8), (0.5, 2)])
def test_quantiles_invert_the_tail_at_many_degrees_of_freedom(confidence, groups):
    df = np.linspace(8, 30, 25)
    q = range_quantile(confidence, groups, df)
    assert range_tail(q, groups, df) == pytest.approx(np.full(25, 1 - confidence), rel=1e-6)


def test_two_groups_give_the_t_test():
    t, df = 2.3, 17.0
    assert range_tail(t * 2**0.5, 2, df)[0] == pytest.approx(2 * scipy_stats.t.sf(t, df), rel=1e-9)


@pytest.mark.parametrize("rho", [0.1, 0.5, 0.9])
def test_dunnett_agrees_with_the_multivariate_t(rho):
    shape = np.full((4, 4), rho) + (1 - rho) * np.eye(4)
    box = scipy_stats.multivariate_t(shape=shape, df=12, seed=1)
    theirs = 1 - box.cdf(np.full(4, 2.4), lower_limit=np.full(4, -2.4), random_state=np.random.default_rng(1))
    loadings, miss = product_loadings(shape)
    assert miss < 1e-9
    assert dunnett_tail(2.4, loadings, 12.0)[0] == pytest.approx(theirs, abs=5e-4)


def test_loadings_of_unequal_groups_are_found():
    b = np.sqrt(np.array([5, 8, 12]) / (np.array([5, 8, 12]) + 10))
    found, miss = product_loadings(np.outer(b, b) + np.diag(1 - b * b))
    assert found == pytest.approx(b, abs=1e-8)
    assert miss < 1e-8


@given(
    st.integers(1, 8).flatmap(
        lambda n: st.tuples(st.just(n), st.sets(st.sampled_from(list(itertools.combinations(range(8), 2)))))
    )
)
def test_two_samples_share_a_letter_exactly_when_they_do_not_differ(drawn):
    size, edges = drawn
    names = [f"s{i}" for i in range(size)]
    different = {(i, j) for i, j in edges if j < size}
    letters = compact_letters(names, list(range(size)), [(names[i], names[j]) for i, j in different])
    for i, j in itertools.combinations(range(size), 2):
        share = bool(set(letters[names[i]]) & set(letters[names[j]]))
        assert share == ((i, j) not in different)


def test_the_highest_sample_gets_the_first_letter():
    assert compact_letters(["A", "B", "C"], [1.0, 3.0, 2.0], [("A", "B")]) == {"A": "b", "B": "a", "C": "ab"}


def test_a_letter_for_an_unknown_sample_is_refused():
    with pytest.raises(ValueError, match="different: 'X'"):
        compact_letters(["A", "B"], [1, 2], [("A", "X")])


def scores(seed=3, tasters=15, samples=4, lift=0.6):
    rng = np.random.default_rng(seed)
    cells = [(f"t{t}", f"s{s}", lift * s + rng.normal()) for t in range(tasters) for s in range(samples)]
    return dict(zip(("taster", "sample", "score"), zip(*cells, strict=True), strict=True))


def test_the_interval_of_dz_inverts_the_noncentral_t():
    pair = hedonic_anova(scores()).pairs[2]
    n = 15
    t = pair.effect_size * n**0.5
    for limit, chance in ((pair.effect_low, 0.025), (pair.effect_high, 0.975)):
        upper = scipy_stats.nct.sf(t, n - 1, limit * n**0.5)
        assert upper == pytest.approx(chance, abs=1e-6), "Cumming & Finch 2001"


def test_against_a_reference_only_its_pairs_are_tested():
    result = hedonic_anova(scores(), adjust="dunnett", reference="s1")
    assert [(pair.a, pair.b) for pair in result.pairs] == [("s0", "s1"), ("s2", "s1"), ("s3", "s1")]
    assert result.letters == {}
    tukey = {(p.a, p.b): p for p in hedonic_anova(scores()).pairs}
    for pair in result.pairs:
        other = tukey.get((pair.a, pair.b)) or tukey[pair.b, pair.a]
        assert pair.p_value <= pair.p_adjusted < other.p_adjusted


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"adjust": "dunnett"}, "reference: Dunnett's test needs"),
        ({"reference": "s1"}, "adjust: Tukey compares all pairs"),
        ({"adjust": "holm", "reference": "x"}, "reference: 'x' is no sample"),
        ({"adjust": "scheffe"}, "adjust must be one of"),
        ({"alpha": 0}, "alpha must lie between 0 and 1"),
        ({"confidence": 95}, "confidence must lie between 0 and 1"),
        ({"method": "three-way"}, "method must be"),
        ({"interaction": True}, "interaction: the frame has no column"),
    ],
)
def test_options_that_do_not_fit_are_refused(options, message):
    with pytest.raises(ValueError, match=message):
        hedonic_anova(scores(), **options)
