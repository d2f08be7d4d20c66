"""Serving plans: every cup where it belongs, and the balance that is reported."""

import hashlib
import json
from collections import Counter
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.randomiser import ServingPlan, balance_of, serving_plan


def orders_of(plan: ServingPlan) -> list[list[int]]:
    return [[s.sample for s in place.servings if not s.warm_up] for place in plan.places]


@settings(max_examples=40, deadline=None)
@given(samples=st.integers(2, 30), tasters=st.integers(1, 500), seed=st.integers(0, 2**128 - 1))
def test_every_taster_takes_every_sample_once_under_codes_of_their_own(
    samples: int, tasters: int, seed: int
) -> None:
    plan = serving_plan(samples=samples, tasters=tasters, seed=seed)
    assert len(plan.places) == tasters
    for number, place in enumerate(plan.places, start=1):
        assert place.number == number
        assert [s.position for s in place.servings] == list(range(1, samples + 1))
        assert sorted(s.sample for s in place.servings) == list(range(samples))
        assert len({s.code for s in place.servings}) == samples
    assert balance_of(orders_of(plan), samples) == plan.balance[0]
    spread = 0 if tasters % samples == 0 else 1
    assert plan.balance[0].position_spread == spread == plan.bounds[0].position


def test_a_plan_is_a_function_of_its_arguments_and_its_dictionary_is_plain_json() -> None:
    plan = serving_plan(samples=5, tasters=24, seed=7, conditions=2, warm_up=True, break_every=2)
    again = serving_plan(samples=5, tasters=24, seed=7, conditions=2, warm_up=True, break_every=2)
    assert plan == again
    assert json.loads(json.dumps(plan.to_dict())) == again.to_dict()
    assert plan != serving_plan(samples=5, tasters=24, seed=8, conditions=2, warm_up=True, break_every=2)


@pytest.mark.parametrize(
    ("arguments", "digest"),
    [
        pytest.param(
            {"samples": 5, "tasters": 24, "conditions": 2, "warm_up": True}, "6ecedbad36b9fc79", id="rating"
        ),
        pytest.param(
            {"samples": 15, "tasters": 24, "per_taster": 5, "reference": 3}, "fc1de505aac9da4d", id="blocks"
        ),
        pytest.param(
            {"samples": 2, "tasters": 10, "method": "triangle", "replicates": 2},
            "8abf4dcb575c3678",
            id="triangle",
        ),
    ],
)
def test_a_plan_is_the_same_on_every_machine(arguments: dict[str, Any], digest: str) -> None:
    # Drawn once and pinned: a sealed plan must come out again from its seed years later.
    plan = serving_plan(seed=2**127 + 1, **arguments)
    text = json.dumps(plan.to_dict() | {"notes": []}, sort_keys=True)
    assert hashlib.sha256(text.encode()).hexdigest()[:16] == digest


def test_five_samples_and_twenty_four_tasters_reach_a_spread_of_one_in_places_and_in_carry_over() -> None:
    for seed in range(20):
        balance = serving_plan(samples=5, tasters=24, seed=seed).balance[0]
        assert (balance.position_spread, balance.carry_over_spread) == (1, 1)


def test_an_addition_into_the_same_cup_comes_right_after_it_as_a_task_of_its_own() -> None:
    plan = serving_plan(samples=4, tasters=9, seed=1, conditions=2, condition_mode="same cup")
    for place in plan.places:
        for plain, added in zip(place.servings[::2], place.servings[1::2], strict=True):
            assert (plain.condition, added.condition) == (0, 1)
            assert (added.sample, added.code, added.same_cup_as) == (plain.sample, plain.code, plain.position)
            assert added.task == plain.task + 1
    assert plan.balance[0] == plan.balance[1]


def test_separate_conditions_follow_each_other_without_a_sample_twice_running() -> None:
    plan = serving_plan(samples=4, tasters=20, seed=1, conditions=2, replicates=2)
    for place in plan.places:
        assert [s.condition for s in place.servings] == [0] * 8 + [1] * 8
        samples = [s.sample for s in place.servings]
        assert all(a != b for a, b in pairwise(samples))


def test_crossed_conditions_serve_every_sample_in_every_condition_in_one_mixed_order() -> None:
    plan = serving_plan(samples=3, tasters=12, seed=1, conditions=2, condition_mode="crossed")
    for place in plan.places:
        assert sorted((s.sample, s.condition) for s in place.servings) == [
            (sample, condition) for sample in range(3) for condition in range(2)
        ]
    assert len({place.servings[0].condition for place in plan.places}) == 2
    assert {count for balance in plan.balance for row in balance.position for count in row} == {2}


def test_a_warm_up_starts_each_sitting_and_counts_in_no_balance() -> None:
    plan = serving_plan(samples=4, tasters=8, seed=1, replicates=2, sittings=2, warm_up=True)
    for place in plan.places:
        assert [s.warm_up for s in place.servings] == [True, *[False] * 4] * 2
        assert [s.sitting for s in place.servings] == [1] * 5 + [2] * 5
    warm = Counter(place.servings[0].sample for place in plan.places)
    assert set(warm.values()) == {2}
    assert sum(sum(row) for row in plan.balance[0].position) == 8 * 2 * 4
    extra = serving_plan(samples=4, tasters=8, seed=1, warm_up=4)
    assert {place.servings[0].sample for place in extra.places} == {4}


def test_breaks_fall_after_so_many_scored_tasks_and_never_at_the_end_of_a_sitting() -> None:
    plan = serving_plan(samples=6, tasters=6, seed=1, break_every=3)
    assert plan.breaks == (3,)
    warmed = serving_plan(samples=5, tasters=6, seed=1, break_every=2, warm_up=True, replicates=2, sittings=2)
    assert warmed.breaks == (3, 5, 9, 11)


def test_a_triangle_is_one_task_of_three_cups_and_uses_its_six_orders_equally() -> None:
    plan = serving_plan(method="triangle", samples=2, tasters=24, seed=1)
    used = Counter(tuple(order) for order in orders_of(plan))
    assert len(used) == 6
    assert set(used.values()) == {4}
    assert {s.task for place in plan.places for s in place.servings} == {1}


def test_a_ranking_is_one_task() -> None:
    plan = serving_plan(method="ranking", samples=4, tasters=8, seed=1)
    assert {s.task for place in plan.places for s in place.servings} == {1}


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param({"samples": 1}, "samples must be from 2", id="one sample"),
        pytest.param({"tasters": 0}, "tasters must be from 1", id="no tasters"),
        pytest.param({"seed": 2**128}, "seed must be", id="seed too long"),
        pytest.param({"method": "guess"}, "method must be one of", id="unknown method"),
        pytest.param({"method": "triangle"}, "samples must be 2 for the triangle", id="triangle of four"),
        pytest.param({"condition_mode": "both"}, "condition_mode must be one of", id="unknown mode"),
        pytest.param({"code_rule": "none"}, "code_rule must be one of", id="unknown code rule"),
        pytest.param({"sittings": 2}, "replicates of all samples cannot", id="sittings without replicates"),
        pytest.param({"replicates": 60}, "codes for", id="too many cups"),
        pytest.param({"warm_up": 5}, "warm_up must be from 0 to 4", id="warm-up beyond the samples"),
        pytest.param({"reference": 4}, "reference must be from 0 to 3", id="reference beyond the samples"),
        pytest.param({"spare": -1}, "spare must be", id="negative spares"),
        pytest.param({"break_every": 0}, "break_every must be", id="break after nothing"),
    ],
)
def test_what_cannot_be_planned_is_refused_with_the_reason(
    arguments: dict[str, object], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        serving_plan(**({"samples": 4, "tasters": 8, "seed": 1} | arguments))  # type: ignore[arg-type]
