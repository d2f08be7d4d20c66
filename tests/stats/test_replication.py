"""Replicated tests: the beta-binomial against SciPy's, its limits, and what the reader is told."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.stats import beta, betabinom, binom, chi2, norm

import stats
from stats.replication import _tarone

ANSWERS = [2, 3, 1, 4, 2, 5, 3, 2, 4, 1, 3, 2, 5, 4, 3]
UNEVEN = ([5, 1, 3, 0, 4, 4, 6, 1], [5, 6, 5, 4, 5, 6, 6, 5])


@pytest.mark.parametrize(
    ("correct", "trials"), [(ANSWERS, [5] * 15), UNEVEN], ids=["15 tasters, 5 times", "uneven replicates"]
)
def test_the_fit_is_the_best_that_a_general_optimiser_finds(correct: list[int], trials: list[int]) -> None:
    def loss(logs: np.ndarray) -> float:
        return -betabinom.logpmf(correct, trials, *np.exp(logs)).sum()

    best = min(
        (minimize(loss, start, method="Nelder-Mead") for start in ([0, 0], [2, 2])), key=lambda fit: fit.fun
    )
    found = stats.replicated_test("triangle", correct, trials)
    a, b = np.exp(best.x)
    assert found.log_likelihood == pytest.approx(-best.fun, abs=1e-6)
    assert found.pc.estimate == pytest.approx(a / (a + b), abs=1e-3)
    assert found.gamma.estimate == pytest.approx(1 / (a + b + 1), abs=2e-3)


def test_the_chance_corrected_likelihood_is_its_integral() -> None:
    # Brockhoff 2003: a taster's share correct is 1/3 + 2/3 π with π beta distributed
    found = stats.replicated_test("triangle", *UNEVEN, chance_corrected=True)
    m = (found.pc.estimate - 1 / 3) * 1.5
    a, b = m * (1 / found.gamma.estimate - 1), (1 - m) * (1 / found.gamma.estimate - 1)

    def one(x: int, n: int) -> float:
        return quad(lambda pi: binom.pmf(x, n, 1 / 3 + 2 / 3 * pi) * beta.pdf(pi, a, b), 0, 1, limit=200)[0]

    expected = sum(np.log(one(x, n)) for x, n in zip(*UNEVEN, strict=True))
    assert found.log_likelihood == pytest.approx(expected, abs=1e-4)


def test_tarones_z_is_standard_normal_when_tasters_are_alike() -> None:
    draw = np.random.default_rng(11)
    z = [_tarone(draw.binomial(6, 0.6, 60).tolist(), [6] * 60)[0] for _ in range(2000)]
    assert np.mean(z) == pytest.approx(0, abs=0.1)
    assert np.std(z) == pytest.approx(1, abs=0.08)


def test_tasters_alike_leave_the_pooled_answer_and_unlike_ones_widen_it() -> None:
    alike = stats.replicated_test("triangle", [3, 3, 3, 3, 3, 3], 5)
    unlike = stats.replicated_test("triangle", [5, 5, 5, 1, 1, 1], 5)
    assert alike.pooled_pc == unlike.pooled_pc
    assert alike.gamma.estimate == 0
    assert not alike.overdispersed
    assert unlike.overdispersed
    assert any(note.startswith("Warning") for note in unlike.notes)
    assert "overstate the certainty" in unlike.sentence()
    assert unlike.pc.high - unlike.pc.low > unlike.pooled_pc.high - unlike.pooled_pc.low


@given(st.lists(st.integers(0, 4), min_size=2, max_size=12), st.booleans())
@settings(max_examples=25, deadline=None)
def test_any_outcome_gives_ordered_limits_and_plain_json(correct: list[int], chance_corrected: bool) -> None:
    found = stats.replicated_test("duo-trio", correct, 4, chance_corrected=chance_corrected)
    json.dumps(found.to_dict(), allow_nan=False)
    for each in (found.pc, found.gamma, found.pd):
        assert 0 <= each.low <= each.estimate + 1e-9
        assert each.estimate <= each.high + 1e-9 <= 1 + 1e-6
    assert found.likelihood_ratio >= 0
    assert 0 <= found.likelihood_ratio_p <= 1
    assert [taster.correct for taster in found.tasters] == correct


def test_the_order_of_tasters_does_not_matter() -> None:
    one, other = (stats.replicated_test("triangle", answers, 5) for answers in (ANSWERS, ANSWERS[::-1]))
    assert one.pc == other.pc
    assert one.tarone_z == pytest.approx(other.tarone_z)


def test_mean_limits_cover_about_their_confidence_when_tasters_differ() -> None:
    draw = np.random.default_rng(5)
    covered = 0
    for _ in range(150):
        ability = draw.beta(3, 3, 30)
        found = stats.replicated_test("2-AFC", draw.binomial(4, ability).tolist(), 4)
        covered += found.pc.low <= 0.5 <= found.pc.high
    assert covered / 150 == pytest.approx(0.95, abs=3 * np.sqrt(0.95 * 0.05 / 150))


def test_each_taster_gets_an_own_exact_result() -> None:
    found = stats.replicated_test("triangle", [5, 1], 5, tasters=["Ada", "NA"])
    assert [taster.taster for taster in found.tasters] == ["Ada", "NA"]
    assert found.tasters[0].p_value == pytest.approx(3.0**-5)
    assert found.tasters[1].pd == 0


def test_tarones_p_is_one_sided_normal() -> None:
    found = stats.replicated_test("triangle", ANSWERS, 5)
    assert found.tarone_p == pytest.approx(norm.sf(found.tarone_z))


def test_the_likelihood_ratio_p_is_halved_since_no_overdispersion_is_a_boundary() -> None:
    # Self & Liang 1987, case 5: half a point mass at 0, half a chi-square with one degree of freedom
    found = stats.replicated_test("triangle", ANSWERS, 5)
    assert found.likelihood_ratio_p == pytest.approx(chi2.sf(found.likelihood_ratio, 1) / 2)


def test_a_null_result_says_what_it_could_have_missed() -> None:
    sentence = stats.replicated_test("triangle", [2, 1, 2, 3, 1, 2], 5).sentence()
    assert "a difference was not shown" in sentence
    assert "no evidence that the samples are the same: up to" in sentence


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([3], 5), "at least two tasters"),
        (([3, 6], 5), "must not exceed n = 5, but got 6"),
        (([1, 0], 1), "without replicates use difference_test"),
        (([1, 0], [2, 2, 2]), r"one number per taster \(2\), but holds 3"),
    ],
    ids=["one taster", "more than tried", "no replicates", "lengths differ"],
)
def test_impossible_arguments_are_named(arguments: tuple, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        stats.replicated_test("triangle", *arguments)
