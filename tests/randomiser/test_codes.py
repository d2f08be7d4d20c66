"""Codes on cups: which exist, how far apart they are, and where they stand."""

from collections import Counter, defaultdict
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.randomiser import ServingPlan, codes, serving_plan
from panel.randomiser.pool import MEANINGFUL, POOL

SEEDS = st.integers(0, 2**128 - 1)


def differ(one: str, other: str) -> int:
    return sum(a != b for a, b in zip(one, other, strict=True))


def test_the_pool_has_462_codes_and_keeps_every_rule() -> None:
    # Counts at each step as in the derivation beside the pool: 900, 648, 504, 480, 466, 462.
    assert len(POOL) == len(set(POOL)) == 462
    turned = str.maketrans("1689", "1986")
    for code in POOL:
        assert len(code) == len(set(code)) == 3
        assert "0" not in code
        assert not set(code) <= set("1689"), f"{code} reads {code.translate(turned)[::-1]} upside down"
        steps = {int(b) - int(a) for a, b in pairwise(code)}
        assert steps not in ({1}, {-1}), f"{code} is a run"
        assert code not in MEANINGFUL


@given(count=st.integers(1, 64), seed=SEEDS)
def test_up_to_64_codes_differ_in_two_digits_pair_by_pair(count: int, seed: int) -> None:
    drawn = codes(count, seed)
    assert len(drawn) == count
    assert set(drawn) <= set(POOL)
    assert all(differ(a, b) >= 2 for a, b in combinations(drawn, 2))


@given(count=st.integers(65, 462), seed=SEEDS)
def test_more_codes_are_distinct_up_to_the_size_of_the_pool(count: int, seed: int) -> None:
    assert len(set(codes(count, seed))) == count


def test_the_same_seed_gives_the_same_codes_and_another_seed_others() -> None:
    assert codes(20, 5) == codes(20, 5) != codes(20, 6)


@pytest.mark.parametrize("count", [0, 463, -1], ids=str)
def test_more_codes_than_the_pool_holds_are_refused(count: int) -> None:
    with pytest.raises(ValueError, match="count must be from 1 to 462"):
        codes(count)


def trays(plan: ServingPlan) -> list[list[str]]:
    """Codes of the cups of each place and sitting, in serving order."""
    found: dict[tuple[int, int], list[str]] = defaultdict(list)
    for place in plan.places:
        for serving in place.servings:
            if serving.same_cup_as is None:
                found[place.number, serving.sitting].append(serving.code)
    return list(found.values())


@settings(max_examples=30, deadline=None)
@given(
    samples=st.integers(2, 30),
    tasters=st.integers(1, 120),
    replicates=st.integers(1, 2),
    apart=st.booleans(),
    warm_up=st.booleans(),
    seed=SEEDS,
)
def test_codes_of_a_plan_keep_all_their_rules(
    samples: int, tasters: int, replicates: int, apart: bool, warm_up: bool, seed: int
) -> None:
    plan = serving_plan(
        samples=samples,
        tasters=tasters,
        seed=seed,
        replicates=replicates,
        sittings=replicates if apart else 1,
        warm_up=warm_up,
    )
    for place in plan.places:
        drawn = [serving.code for serving in place.servings]
        assert len(set(drawn)) == len(drawn), "a taster meets a code twice"
        assert not set(drawn) & set(plan.spare_codes)
    for tray in trays(plan):
        if len(tray) <= 64:
            assert all(differ(a, b) >= 2 for a, b in combinations(tray, 2))
        if len(tray) >= 3:
            assert tray != sorted(tray)
            assert tray != sorted(tray, reverse=True)
    for sitting in range(1, plan.sittings + 1):
        cups = [s.code for p in plan.places for s in p.servings if s.sitting == sitting]
        if len(cups) <= 450 and len(cups) // tasters <= 50:
            # A later sitting must also avoid each taster's earlier codes; where that costs a repeat, it is said.
            said = any("another taster's cup carries as well" in note for note in plan.notes)
            assert len(set(cups)) == len(cups) or (sitting > 1 and said)


@pytest.mark.parametrize(("tasters", "samples"), [(30, 15), (46, 10), (66, 7)], ids=["450", "460", "462"])
def test_all_cups_of_a_sitting_differ_as_far_as_the_pool_goes(tasters: int, samples: int) -> None:
    plan = serving_plan(samples=samples, tasters=tasters, seed=1)
    assert len({s.code for place in plan.places for s in place.servings}) == tasters * samples


def test_first_digits_are_spread_over_the_cups_of_each_sample() -> None:
    plan = serving_plan(samples=8, tasters=90, seed=1)
    for sample in range(8):
        digits = Counter(s.code[0] for place in plan.places for s in place.servings if s.sample == sample)
        assert len(digits) == 9
        assert max(digits.values()) - min(digits.values()) <= 4  # ten each on average


def test_no_triad_has_its_codes_in_order() -> None:
    plan = serving_plan(method="triangle", samples=2, tasters=60, seed=1, replicates=2)
    for place in plan.places:
        for task in (1, 2):
            triad = [s.code for s in place.servings if s.task == task]
            assert triad not in (sorted(triad), sorted(triad, reverse=True))


def test_one_code_per_sample_is_the_same_for_every_taster_and_differs_between_sittings() -> None:
    plan = serving_plan(samples=5, tasters=12, seed=1, replicates=2, sittings=2, code_rule="per sample")
    used = {(s.sample, s.sitting, s.code) for place in plan.places for s in place.servings}
    assert len(used) == 10
    assert len({code for _, _, code in used}) == 10


def test_codes_tell_nothing_of_the_sample_over_seeds() -> None:
    # The first place's lowest code stands on each of four samples about as often: 600 draws, 150 expected.
    lowest = Counter()
    for seed in range(600):
        servings = serving_plan(samples=4, tasters=1, seed=seed).places[0].servings
        lowest[min(servings, key=lambda s: s.code).sample] += 1
    assert all(110 <= lowest[sample] <= 190 for sample in range(4))
