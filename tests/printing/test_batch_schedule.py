"""The batch schedule against worked cases and against trying everything."""

from itertools import pairwise, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.printing import Due, Kitchen, batch_schedule


def fewest_by_trying_all(times: list[float], kitchen: Kitchen) -> int:
    """The least number of batches over every way to put cups into batches."""
    best = len(times)
    for assigned in product(range(len(times)), repeat=len(times)):
        groups = [
            [time for time, group in zip(times, assigned, strict=True) if group == one]
            for one in set(assigned)
        ]
        if all(
            len(one) <= kitchen.cups_per_batch and max(one) - min(one) <= kitchen.holding - kitchen.rest
            for one in groups
        ):
            best = min(best, len(groups))
    return best


@settings(deadline=None)
@given(
    times=st.lists(st.integers(0, 60), min_size=1, max_size=5),
    window=st.integers(0, 40),
    rest=st.integers(0, 10),
    cups=st.integers(1, 4),
)
def test_no_other_cutting_needs_fewer_batches(times: list[int], window: int, rest: int, cups: int) -> None:
    kitchen = Kitchen(30, window + rest, cups, rest=rest)
    made = batch_schedule([Due("P", time) for time in times], kitchen)
    assert len(made.batches) == fewest_by_trying_all([float(time) for time in times], kitchen)


@settings(deadline=None)
@given(
    dues=st.lists(
        st.builds(Due, st.sampled_from("PRT"), st.integers(0, 120), st.integers(1, 5)),
        min_size=1,
        max_size=12,
    ),
    kitchen=st.builds(
        Kitchen,
        st.integers(1, 60),
        st.integers(10, 60),
        st.integers(1, 12),
        st.integers(0, 10),
        st.integers(0, 10),
        st.booleans(),
    ),
)
def test_windows_are_kept_and_every_overlap_is_told(dues: list[Due], kitchen: Kitchen) -> None:
    made = batch_schedule(dues, kitchen)
    assert sum(batch.cups for batch in made.batches) == sum(due.cups for due in dues)
    for batch in made.batches:
        assert batch.ready == pytest.approx(batch.start + kitchen.preparation)
        assert batch.first_serving >= batch.ready + kitchen.rest - 1e-9
        assert batch.last_serving <= batch.ready + kitchen.holding + 1e-9
        assert batch.cups <= kitchen.cups_per_batch
    for letter in "PRT":
        own = sorted(
            (b for b in made.batches if kitchen.shared or b.pour_letter == letter),
            key=lambda b: (b.first_serving, b.last_serving, b.pour_letter),
        )
        for one, after in pairwise(own):
            needed = one.ready + kitchen.turnaround - after.start
            assert one.clash == pytest.approx(max(needed, 0))
    assert len(made.conflicts) == sum(batch.clash > 0 for batch in made.batches)


def test_a_worked_case_starts_the_earlier_batch_just_early_enough() -> None:
    # by hand: ready at 0 and 40 wants starts at -30 and 10, apart by the 30 min a batch takes: nothing to move;
    # with 20 min to clean, the first must be ready at -10, which a window of 60 min allows
    dues = [Due("P", 0, 4), Due("P", 40, 4)]
    made = batch_schedule(dues, Kitchen(30, 60, 4, turnaround=20), opening=14 * 60)
    assert [(b.start, b.ready) for b in made.batches] == [(-40, -10), (10, 40)]
    assert made.conflicts == ()
    assert [made.at(b.start) for b in made.batches] == ["13:20", "14:10"]
    assert batch_schedule(dues, Kitchen(30, 60, 4)).at(-40) == "−40 min"


def test_one_appliance_for_all_samples_is_a_conflict_where_two_are_due_at_once() -> None:
    dues = [Due("P", 0), Due("R", 0)]
    assert batch_schedule(dues, Kitchen(30, 10, 4)).conflicts == ()
    shared = batch_schedule(dues, Kitchen(30, 10, 4, shared=True))
    assert shared.conflicts == (
        "Batch 1 of P is ready at −10 min at the earliest, but its appliance must be free at −30 min for "
        "batch 1 of R: 20 min too late. Use another appliance, make more in one batch, "
        "or leave more time between tasters.",
    )


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Kitchen(0, 10, 1), "preparation must be more than 0 minutes; got 0"),
        (lambda: Kitchen(10, 5, 1, rest=6), "between 0 and the holding time of 5 minutes; got 6"),
        (lambda: Kitchen(10, 5, 0), "cups_per_batch must be at least 1; got 0"),
        (lambda: Kitchen(10, 5, 1, turnaround=-1), "turnaround cannot be negative; got -1"),
        (lambda: batch_schedule([], Kitchen(10, 5, 1)), "no cups to schedule"),
        (lambda: batch_schedule([Due("P", 0, 0)], Kitchen(10, 5, 1)), "cups must be at least 1; got 0 for P"),
    ],
    ids=["preparation", "rest", "yield", "turnaround", "no cups", "zero cups"],
)
def test_times_that_cannot_be_are_refused_in_words(make: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make()  # type: ignore[operator]
