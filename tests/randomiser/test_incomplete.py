"""Incomplete blocks: balance as reported, bounds proven, sittings and references as asked."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.randomiser import balance_of, incomplete_blocks, serving_plan
from panel.randomiser.catalogue import CLASSES, PLANS
from panel.randomiser.efficiency import efficiency_bound, efficiency_of
from panel.randomiser.known_plans import balanced_plan, resolvable_plan

SEEDS = st.integers(0, 2**128 - 1)


@given(data=st.data(), samples=st.integers(3, 30), tasters=st.integers(1, 60), seed=SEEDS)
@settings(deadline=None, max_examples=12)
def test_concurrence_and_places_are_as_reported(
    data: st.DataObject, samples: int, tasters: int, seed: int
) -> None:
    size = data.draw(st.integers(2, min(samples - 1, 8)))
    design = incomplete_blocks(samples, size, tasters, seed)
    assert [len(set(order)) for order in design.orders] == [size] * tasters
    for i, j in combinations(range(samples), 2):
        assert design.concurrence[i][j] == sum(i in order and j in order for order in design.orders)
    uses = [sum(row) for row in design.balance.position]
    assert max(uses) - min(uses) <= 1
    assert design.balance.position_spread <= 1
    assert design.bound.position_reached
    assert design.balance.concurrence_spread >= (design.bound.concurrence or 0)
    assert design.balance.carry_over_spread >= design.bound.carry_over
    assert 0 <= design.efficiency <= design.efficiency_bound + 1e-9
    assert design == incomplete_blocks(samples, size, tasters, seed)


@pytest.mark.parametrize("key", sorted(PLANS), ids=str)
def test_every_plan_of_the_catalogue_is_balanced(key: tuple[int, int]) -> None:
    check_balanced(key, balanced_plan(*key) or [])


@pytest.mark.parametrize("key", [*sorted(CLASSES), (9, 3), (25, 5), (49, 7), (10, 2), (30, 2)], ids=str)
def test_every_resolvable_plan_is_balanced_and_each_row_holds_every_sample_once(key: tuple[int, int]) -> None:
    rows = resolvable_plan(*key) or []
    assert all(sorted(s for block in row for s in block) == list(range(key[0])) for row in rows)
    check_balanced(key, [block for row in rows for block in row])


def check_balanced(key: tuple[int, int], blocks: list[tuple[int, ...]]) -> None:
    assert blocks
    assert all(len(set(block)) == key[1] for block in blocks)
    assert balance_of(blocks, key[0]).concurrence_spread == 0


def test_fifteen_samples_five_each_with_twenty_four_tasters_reach_the_bound_of_meetings() -> None:
    design = incomplete_blocks(15, 5, 24, 1)
    assert design.balance.concurrence_spread == 1 == design.bound.concurrence
    assert design.balance.position_spread == 1
    assert design.efficiency > 0.99 * design.efficiency_bound


def test_seven_tasters_finish_fifteen_samples_in_five_sittings_of_three() -> None:
    design = incomplete_blocks(15, 3, 7, 1, sittings=5)
    assert all(sorted(order) == list(range(15)) for order in design.orders)
    assert design.balance.concurrence_spread == 0
    assert {design.concurrence[i][j] for i, j in combinations(range(15), 2)} == {1}


def test_part_of_a_resolvable_plan_has_no_pair_twice() -> None:
    design = incomplete_blocks(15, 3, 4, 1, sittings=5)
    assert design.balance.concurrence_spread == 1 == design.bound.concurrence


def test_a_reference_stands_in_every_block_at_balanced_places() -> None:
    design = incomplete_blocks(10, 4, 30, 1, reference=6)
    assert all(6 in order for order in design.orders)
    seats = design.balance.position[6]
    assert max(seats) - min(seats) <= 1
    others = [i for i in range(10) if i != 6]
    counts = {design.concurrence[i][j] for i, j in combinations(others, 2)}
    assert max(counts) - min(counts) == design.bound.concurrence == 1
    assert design.bound.position_reached


def test_no_balanced_plan_is_claimed_where_none_exists() -> None:
    # Hall and Connor (1954): no 21 blocks of 5 out of 15 with every pair twice.
    assert incomplete_blocks(15, 5, 21, 1).bound.concurrence == 2
    # Fisher (1940): fewer blocks than samples are never balanced.
    assert incomplete_blocks(10, 6, 6, 1).bound.concurrence == 2
    # Bruck, Ryser and Chowla (1950): 22 samples in 22 blocks of 7 with every pair twice.
    assert incomplete_blocks(22, 7, 22, 1).bound.concurrence == 2


def test_efficiency_agrees_with_the_eigenvalues_of_the_information_matrix() -> None:
    """Second route: the harmonic mean of the canonical efficiency factors, by a numeric library."""
    import numpy as np

    blocks = incomplete_blocks(11, 4, 17, 3).orders
    incidence = np.zeros((11, 17))
    for column, block in enumerate(blocks):
        incidence[list(block), column] = 1
    uses = incidence.sum(axis=1)
    information = np.diag(uses) - incidence @ incidence.T / 4
    values = np.sort(np.linalg.eigvalsh(information))[1:]
    expected = len(values) / (1 / values).sum() / uses.mean()
    assert efficiency_of(blocks, 11) == pytest.approx(expected, rel=1e-8)
    assert efficiency_of([(0, 1), (2, 3)], 4) == 0
    assert efficiency_bound([(0, 1, 2)] * 3, 3) == 1


@pytest.mark.parametrize("mode", ["separate", "same cup", "crossed"])
def test_conditions_serve_the_samples_of_the_sitting_in_each_condition(mode: str) -> None:
    plan = serving_plan(
        samples=9, tasters=8, seed=1, per_taster=3, sittings=3, conditions=2, condition_mode=mode
    )
    for place in plan.places:
        for sitting in (1, 2, 3):
            here = [(s.sample, s.condition) for s in place.servings if s.sitting == sitting]
            samples = {sample for sample, _ in here}
            assert len(samples) == 3
            assert sorted(here) == [(sample, condition) for sample in sorted(samples) for condition in (0, 1)]
        assert sorted({s.sample for s in place.servings}) == list(range(9))
    assert plan.balance[0].concurrence_spread == 0
    assert plan.balance[0].efficiency == 0.75


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param((15, 15, 5), "per_taster must be from 2 to 14", id="all samples"),
        pytest.param((15, 1, 5), "per_taster must be from 2", id="one sample"),
        pytest.param((2, 2, 5), "samples must be from 3", id="two samples"),
        pytest.param((15, 5, 0), "tasters must be from 1", id="no tasters"),
    ],
)
def test_blocks_that_cannot_be_drawn_are_refused(arguments: tuple[int, int, int], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        incomplete_blocks(*arguments)


def test_more_sittings_than_samples_are_refused() -> None:
    with pytest.raises(ValueError, match="4 sittings of 5 samples are more than the 15"):
        incomplete_blocks(15, 5, 10, sittings=4)
