"""Difference and similarity tests: exact by a second route, honest at every awkward outcome, readable."""

import json
import math
from fractions import Fraction
from functools import cache
from itertools import accumulate

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, binomtest
from statsmodels.stats.proportion import proportion_confint

import stats
from stats.thurstone import GUESS, guess_fraction

METHODS = list(GUESS)
FORCED = [method for method in METHODS if method != "two-out-of-five"]
LEVELS = ["0.001", "0.01", "0.03125", "0.05", "0.1", "0.2"]
outcomes = st.integers(1, 120).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@cache
def exact_tails(n: int, chance: Fraction) -> list[Fraction]:
    """P(X >= x), x = 0 .. n, enumerated in fractions: no floating point at all."""
    weights = [math.comb(n, x) * chance**x * (1 - chance) ** (n - x) for x in range(n + 1)]
    return list(accumulate(reversed(weights)))[::-1]


@pytest.mark.parametrize("method", METHODS)
def test_p_is_the_binomial_tail_by_exact_fractions(method: str) -> None:
    for n in (1, 2, 7, 24, 60):
        for x, tail in enumerate(exact_tails(n, guess_fraction(method))):
            assert stats.difference_test(method, x, n).p_value == pytest.approx(float(tail), rel=1e-12)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("method", METHODS)
def test_critical_values_are_those_of_exact_fractions(method: str, level: str) -> None:
    for n in range(1, 81):
        fits = [x for x, tail in enumerate(exact_tails(n, guess_fraction(method))) if tail <= Fraction(level)]
        assert stats.critical_correct(method, n, float(level)) == (fits[0] if fits else None), n


@pytest.mark.parametrize("pd", ["1/10", "3/10", "1/2"])
@pytest.mark.parametrize("method", METHODS)
def test_critical_values_for_similarity_are_those_of_exact_fractions(method: str, pd: str) -> None:
    guess = guess_fraction(method)
    pc = guess + (1 - guess) * Fraction(pd)
    for n in range(1, 61):
        lower = [1 - tail for tail in exact_tails(n, pc)[1:]] + [Fraction(1)]
        fits = [x for x, tail in enumerate(lower) if tail <= Fraction(5, 100)]
        assert stats.critical_similar(method, n, 0.05, float(Fraction(pd))) == (fits[-1] if fits else None), n


@pytest.mark.parametrize(
    ("method", "n", "level", "expected"),
    [
        ("duo-trio", 5, 2**-5, 5),
        ("2-AFC", 10, 2**-10, 10),
        ("triangle", 2, 1 / 9, 2),
        ("triangle", 4, 3**-4, 4),
    ],
    ids=["1/32", "1/1024", "1/9", "1/81"],
)
def test_a_tail_that_equals_alpha_counts_as_reached(method: str, n: int, level: float, expected: int) -> None:
    assert stats.critical_correct(method, n, level) == expected
    assert stats.difference_test(method, n, n, alpha=level).significant


@pytest.mark.parametrize("method", METHODS)
def test_under_guessing_p_is_at_most_a_no_oftener_than_a(method: str) -> None:
    guess = guess_fraction(method)
    for n in (1, 3, 12, 37):
        tails = exact_tails(n, guess)
        weights = [a - b for a, b in zip(tails, [*tails[1:], Fraction(0)], strict=True)]
        assert sum(weights) == 1
        p_values = [stats.difference_test(method, x, n).p_value for x in range(n + 1)]
        for level in [0.01, 0.05, 0.2, 0.5, *p_values]:
            chance = sum(w for w, p in zip(weights, p_values, strict=True) if p <= level)
            assert float(chance) <= level * (1 + 1e-12)


def test_under_no_direction_the_two_sided_p_is_at_most_a_no_oftener_than_a() -> None:
    for n in (1, 2, 11, 30):
        p_values = np.array(
            [stats.difference_test("2-AFC", x, n, two_sided=True).p_value for x in range(n + 1)]
        )
        weights = binom.pmf(np.arange(n + 1), n, 0.5)
        for level in (0.01, 0.05, 0.3, 1.0):
            assert weights[p_values <= level].sum() <= level + 1e-12


@given(outcomes, st.sampled_from(METHODS))
def test_p_agrees_with_scipy(outcome: tuple[int, int], method: str) -> None:
    ours = stats.difference_test(method, *outcome)
    theirs = binomtest(*outcome, stats.guess_probability(method), alternative="greater")
    assert ours.p_value == pytest.approx(theirs.pvalue, rel=1e-9)


@given(outcomes)
def test_two_sided_p_agrees_with_scipy(outcome: tuple[int, int]) -> None:
    ours = stats.difference_test("2-AFC", *outcome, two_sided=True)
    assert ours.p_value == pytest.approx(binomtest(*outcome, 0.5).pvalue, rel=1e-9)


@given(outcomes, st.sampled_from([0.8, 0.95, 0.99]))
def test_limits_of_the_share_correct_agree_with_statsmodels(
    outcome: tuple[int, int], confidence: float
) -> None:
    ours = stats.difference_test("triangle", *outcome, confidence=confidence).pc
    low, high = proportion_confint(*outcome, alpha=1 - confidence, method="beta")
    assert (ours.low, ours.high) == pytest.approx((low, high), abs=1e-10)


@given(outcomes, st.sampled_from(METHODS), st.sampled_from([0.01, 0.05, 0.2]))
def test_significant_is_the_same_as_reaching_the_critical_value(
    outcome: tuple[int, int], method: str, alpha: float
) -> None:
    found = stats.difference_test(method, *outcome, alpha=alpha)
    reached = found.critical_value is not None and outcome[0] >= found.critical_value
    assert found.significant == reached


@given(outcomes, st.sampled_from(METHODS), st.sampled_from([0.1, 0.3, 0.5, 1.0]))
def test_similar_is_the_same_as_staying_below_the_critical_value(
    outcome: tuple[int, int], method: str, pd: float
) -> None:
    found = stats.similarity_test(method, *outcome, pd_limit=pd)
    below = found.critical_value is not None and outcome[0] <= found.critical_value
    assert found.significant == below
    assert found.pd.sides == "upper"
    assert found.pd.low is None


@given(outcomes, st.sampled_from(METHODS), st.sampled_from([0.1, 0.3, 0.5]))
def test_similarity_is_concluded_exactly_where_the_upper_limit_lies_below(
    outcome: tuple[int, int], method: str, pd: float
) -> None:
    found = stats.similarity_test(method, *outcome, pd_limit=pd, beta=0.05, confidence=0.95)
    assert found.pd.high is not None
    if abs(found.pd.high - pd) > 1e-9:
        assert found.significant == (found.pd.high < pd)


@pytest.mark.parametrize("n", [1, 5, 12, 24])
@pytest.mark.parametrize("method", FORCED)
def test_exact_intervals_cover_at_least_their_confidence(method: str, n: int) -> None:
    found = [stats.difference_test(method, x, n, confidence=0.9) for x in range(n + 1)]
    for pd in (0.0, 0.05, 0.3, 0.7, 0.95):
        guess = stats.guess_probability(method)
        weights = binom.pmf(np.arange(n + 1), n, guess + (1 - guess) * pd)
        distance = stats.d_prime(method, guess + (1 - guess) * pd)
        covers = [r.pd.low <= pd + 1e-12 and pd <= r.pd.high + 1e-12 for r in found]
        covers_d = [
            r.d_prime.low <= distance + 1e-7 and distance <= (r.d_prime.high or math.inf) + 1e-7
            for r in found
        ]
        below_top = [pd <= r.pd_upper.high + 1e-12 for r in found]
        for covered in (covers, covers_d, below_top):
            assert weights[covered].sum() >= 0.9 - 1e-12


def test_likelihood_intervals_cover_about_their_confidence() -> None:
    n = 60
    found = [stats.difference_test("triangle", x, n).pd_likelihood for x in range(n + 1)]
    shares = np.linspace(0.1, 0.9, 33)
    coverage = []
    for pd in shares:
        weights = binom.pmf(np.arange(n + 1), n, 1 / 3 + 2 / 3 * pd)
        coverage.append(weights[[r.low <= pd <= r.high for r in found]].sum())
    assert np.mean(coverage) == pytest.approx(0.95, abs=0.01)
    assert min(coverage) > 0.90


@given(outcomes, st.sampled_from(FORCED))
def test_likelihood_limits_lose_exactly_the_chi_square_quantile(
    outcome: tuple[int, int], method: str
) -> None:
    x, n = outcome
    guess = stats.guess_probability(method)
    found = stats.difference_test(method, x, n).pd_likelihood
    best = max(x / n, guess)
    for limit in (found.low, found.high):
        pc = guess + (1 - guess) * limit
        lost = 2 * (binom.logpmf(x, n, best) - binom.logpmf(x, n, pc))
        at_an_end = limit in (0.0, 1.0)
        assert lost == pytest.approx(3.841458820694124, abs=1e-5) or (at_an_end and lost <= 3.8415)


@given(outcomes)
def test_a_two_sided_paired_test_does_not_care_which_sample_is_named_first(outcome: tuple[int, int]) -> None:
    x, n = outcome
    one, other = (stats.difference_test("2-AFC", k, n, two_sided=True) for k in (x, n - x))
    assert one.p_value == other.p_value
    for name in ("pd", "d_prime"):
        a, b = getattr(one, name), getattr(other, name)
        for part in ("estimate", "low", "high"):
            assert getattr(a, part) == pytest.approx(getattr(b, part), abs=1e-8)


def test_the_standard_error_of_d_prime_is_the_delta_method() -> None:
    # Bi, Ennis & O'Mahony 1997: 2-AFC has the closed form sqrt(pc (1 - pc) / n) x 2 sqrt(pi) exp(d'^2 / 4)
    found = stats.difference_test("2-AFC", 21, 30)
    expected = math.sqrt(0.7 * 0.3 / 30) * 2 * math.sqrt(math.pi) * math.exp(found.d_prime.estimate**2 / 4)
    assert found.d_prime_error == pytest.approx(expected, rel=1e-9)


def test_at_or_below_chance_nothing_negative_and_no_standard_error() -> None:
    found = stats.difference_test("triangle", 5, 24)
    assert found.pd.estimate == found.d_prime.estimate == found.pd.low == 0
    assert found.pc.estimate == pytest.approx(5 / 24)
    assert found.d_prime_error is None
    assert any("held at 0" in note for note in found.notes)


def test_all_correct_has_a_lower_limit_of_d_prime_only() -> None:
    found = stats.difference_test("tetrad", 24, 24)
    assert (found.d_prime.estimate, found.d_prime.high) == (None, None)
    assert found.d_prime.low == pytest.approx(stats.d_prime("tetrad", 0.025 ** (1 / 24)))
    assert "d' at least" in found.sentence()


def test_two_out_of_five_has_no_d_prime_and_says_so() -> None:
    found = stats.difference_test("two-out-of-five", 9, 20)
    assert found.d_prime is None
    assert found.significant
    assert any("no agreed Thurstonian model" in note for note in found.notes)


def test_one_taster_cannot_reach_alpha_and_the_sentence_says_so() -> None:
    found = stats.difference_test("triangle", 1, 1)
    assert found.critical_value is None
    assert not found.significant
    assert "could not reach p = 0.05 even if all were right" in found.sentence()
    assert "up to 100\u202f% of tasters" in found.sentence()


def test_a_null_result_says_what_it_could_have_missed() -> None:
    assert stats.difference_test("triangle", 12, 24).sentence() == (
        "12 of 24 tasters picked the odd sample in a triangle test; a difference was not shown (p = 0.068). This is no "
        "evidence that the samples are the same: up to 52\u202f% of tasters might tell them apart (one-sided "
        "95\u202f% limit)."
    )


def test_a_difference_says_p_and_the_share_of_discriminators_with_its_interval() -> None:
    assert stats.difference_test("triangle", 15, 24).sentence() == (
        "15 of 24 tasters picked the odd sample in a triangle test, more than guessing alone explains (p = 0.0032): an "
        "estimated 44\u202f% of tasters tell the samples apart (95\u202f% interval 11\u202f% to 72\u202f%; d' = 2.1)."
    )


def test_a_paired_comparison_without_direction_expects_no_sample() -> None:
    sentence = stats.difference_test("2-AFC", 9, 30, two_sided=True).sentence()
    assert sentence.startswith(
        "9 of 30 tasters chose the first-named sample in a paired comparison without an expected direction, further "
        "from one half than guessing alone explains (p = 0.043): an estimated 40\u202f% of tasters"
    )


def test_a_p_just_below_alpha_never_reads_as_alpha() -> None:
    close = next(
        found
        for n in range(1, 4000)
        if (x := stats.critical_correct("duo-trio", n, 0.05)) is not None
        and 0.0499 < (found := stats.difference_test("duo-trio", x, n)).p_value <= 0.05
    )
    assert close.significant
    assert "p = 0.0499" in close.sentence()


@pytest.mark.parametrize("n", [1, 3, 24, 3000])
@pytest.mark.parametrize("method", METHODS)
def test_every_outcome_is_told_in_full_and_in_plain_json(method: str, n: int) -> None:
    for x in {0, 1, n // 3, n // 2, n - 1, n}:
        results = [
            stats.difference_test(method, x, n),
            stats.similarity_test(method, x, n, pd_limit=0.3),
        ]
        for found in results:
            assert json.loads(json.dumps(found.to_dict(), allow_nan=False))["test"] == method
            sentence = found.sentence()
            assert f"{x} of {n} taster" in sentence
            assert not any(word in sentence for word in ("nan", "None", "inf", "prove", "e-0"))
            if not found.significant:
                assert "no evidence" in sentence or "rarer than guessing" in sentence


def test_so_few_correct_answers_that_guessing_does_not_explain_them_are_flagged() -> None:
    found = stats.difference_test("triangle", 1, 30)
    assert "mixed up" in found.sentence()
    assert any("Fewer correct answers than guessing explains" in note for note in found.notes)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.difference_test("triangle", 25, 24), "correct must not exceed n = 24, but got 25"),
        (
            lambda: stats.difference_test("triangle", -1, 24),
            "correct must be a whole number of at least 0.*-1",
        ),
        (lambda: stats.difference_test("triangle", 2.5, 24), "correct must be a whole number, but got 2.5"),
        (lambda: stats.difference_test("triangle", 0, 0), "n must be a whole number of at least 1.*0"),
        (lambda: stats.difference_test("triangle", 1, 2, alpha=0), "alpha must lie between 0 and 1.*0"),
        (lambda: stats.difference_test("triangle", 1, 2, confidence=95), "confidence must lie between.*95"),
        (
            lambda: stats.difference_test("triangle", 1, 2, two_sided=True),
            "two_sided must be False for 'triangle'",
        ),
        (lambda: stats.difference_test("pairs", 1, 2), "method must be one of.*'pairs'"),
        (lambda: stats.similarity_test("triangle", 1, 2, pd_limit=0), "pd_limit must lie above 0.*0"),
        (lambda: stats.similarity_test("triangle", 1, 2, pd_limit=30), "pd_limit must lie above 0.*30"),
        (lambda: stats.critical_similar("triangle", 10, 1.5, 0.3), "beta must lie between 0 and 1.*1.5"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_impossible_arguments_are_named(call, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
