"""Sequential testing: Wald's lines, decisions taster by taster, exact risks by simulation as a second route."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import stats


def likelihood_ratio(answers: list[bool], p0: float, p1: float) -> list[float]:
    """log likelihood ratio after each answer, the definition that Wald's lines rearrange."""
    steps = [math.log(p1 / p0) if right else math.log((1 - p1) / (1 - p0)) for right in answers]
    return np.cumsum(steps).tolist()


@given(st.lists(st.booleans(), max_size=80), st.sampled_from(["triangle", "duo-trio", "tetrad"]))
def test_the_decision_is_the_first_crossing_of_the_likelihood_ratio(answers: list[bool], method: str) -> None:
    alpha, beta, pd = 0.05, 0.1, 0.4
    found = stats.sequential_test(method, answers, alpha=alpha, beta=beta, pd=pd)
    p0 = stats.guess_probability(method)
    top, bottom = math.log((1 - beta) / alpha), math.log(beta / (1 - alpha))
    expected, after = "continue", None
    for n, ratio in enumerate(likelihood_ratio(answers, p0, p0 + (1 - p0) * pd), 1):
        if ratio >= top - 1e-9 or ratio <= bottom + 1e-9:
            expected, after = ("difference" if ratio > 0 else "similar"), n
            break
    assert (found.decision, found.decided_after) == (expected, after)


def test_every_taster_has_a_step_and_later_answers_change_nothing() -> None:
    found = stats.sequential_test("triangle", [True] * 8 + [False] * 4, pd=0.3)
    assert [step.taster for step in found.steps] == list(range(1, 13))
    assert found.decided_after == 7
    assert {step.decision for step in found.steps[6:]} == {"difference"}
    assert any("5 answers came after the decision" in note for note in found.notes)


@pytest.mark.parametrize("end", [None, 40], ids=["open end", "40 tasters"])
@pytest.mark.parametrize("pd", [0.3, 0.5])
def test_exact_risks_agree_with_simulated_panels(pd: float, end: int | None) -> None:
    plan = stats.sequential_test("triangle", [], pd=pd, max_tasters=end)
    draw = np.random.default_rng(4)
    for exact in (plan.if_alike, plan.if_different):
        n = np.arange(1, (end or 600) + 1)
        count = np.cumsum(draw.random((6000, n.size)) < exact.pc, axis=1)
        up = count >= plan.upper_intercept + plan.slope * n - 1e-9
        down = count <= plan.lower_intercept + plan.slope * n + 1e-9
        stopped = up | down
        first = np.where(stopped.any(axis=1), stopped.argmax(axis=1), n.size - 1)
        ended_up, ended_down = (side[np.arange(6000), first] for side in (up, down))
        error = 4 * 0.5 / math.sqrt(6000)
        assert ended_up.mean() == pytest.approx(exact.difference, abs=error)
        assert ended_down.mean() == pytest.approx(exact.similar, abs=error)
        assert (first + 1).mean() == pytest.approx(exact.mean_tasters, rel=0.05)


@given(st.sampled_from(["triangle", "duo-trio", "tetrad", "2-AFC"]), st.floats(0.2, 0.8))
def test_risks_stay_within_walds_bounds(method: str, pd: float) -> None:
    # Wald 1947: true risks are at most alpha / (1 - beta) and beta / (1 - alpha)
    plan = stats.sequential_test(method, [], alpha=0.05, beta=0.1, pd=pd)
    assert plan.if_alike.difference <= 0.05 / 0.9
    assert plan.if_different.similar <= 0.1 / 0.95
    for each in (plan.if_alike, plan.if_different):
        assert each.difference + each.similar + each.undecided == pytest.approx(1)


def test_the_panel_is_on_average_smaller_than_a_fixed_one() -> None:
    plan = stats.sequential_test("triangle", [], pd=0.3)
    fixed = stats.required_tasters("triangle", alpha=0.05, power=0.95, pd=0.3).smallest
    assert max(plan.if_alike.mean_tasters, plan.if_different.mean_tasters) < fixed


def test_sentences_say_stop_or_go_on_and_never_that_samples_are_the_same() -> None:
    say = [
        stats.sequential_test("triangle", answers, pd=0.3, max_tasters=30).sentence()
        for answers in ([], [True], [True] * 9, [False] * 20, [True, False] * 15)
    ]
    assert say[0].endswith("go on.")
    assert "neither line is reached yet, go on" in say[1]
    assert "stop, the samples are told apart" in say[2]
    assert "stop, a difference was not shown" in say[3]
    assert "undecided" in say[4]
    assert not any("the same" in sentence for sentence in say)


def test_results_are_plain_json() -> None:
    found = stats.sequential_test("two-out-of-five", [1, 0, 1], pd=0.3)
    assert found.d_prime is None
    assert json.loads(json.dumps(found.to_dict(), allow_nan=False))["answers"] == [True, False, True]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({}, "exactly one of pd and d_prime"),
        ({"pd": 1.0}, "pd must lie between 0 and 1.*1.0"),
        ({"pd": 0.3, "alpha": 0.6, "beta": 0.5}, "together stay below 1"),
        ({"pd": 0.3, "answers": ["yes"]}, "answers must hold True or False.*'yes'"),
        ({"pd": 0.3, "max_tasters": 0}, "max_tasters must be a whole number of at least 1.*0"),
        ({"d_prime": 0.0}, "d_prime must be a positive number"),
    ],
    ids=["no difference", "pd 1", "risks too large", "no answer", "no tasters", "d' 0"],
)
def test_impossible_arguments_are_named(arguments: dict, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        stats.sequential_test("triangle", **{"answers": [], **arguments})
