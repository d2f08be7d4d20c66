"""The range of a weight over which the winner stays, against direct search."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from stats import weight_range
from stats.weight_ranges import rivals_within

NAMES = ("A", "B", "C")
tables = hnp.arrays(float, (3, 3), elements=st.integers(0, 20).map(float))
weighings = st.tuples(*(st.integers(1, 9).map(float) for _ in range(3)))


@given(tables, weighings, st.integers(0, 2))
def test_the_winner_stays_inside_and_goes_beyond(
    table: np.ndarray, weights: tuple[float, ...], which: int
) -> None:
    total = table @ np.array(weights)
    assume(np.sort(total)[-1] - np.sort(total)[-2] > 0.01)
    found = weight_range(NAMES, table, weights, which)
    winner = NAMES.index(found.winner)
    for weight in np.linspace(0, 60, 241):
        moved = np.array(weights)
        moved[which] = weight
        margin = (table @ moved)[winner] - np.delete(table @ moved, winner).max()
        if margin > 1e-6:
            assert found.holds_at(weight)
        elif margin < -1e-6:
            assert not found.holds_at(weight)


def test_a_worked_range() -> None:
    """A leads by 10 in the first part and trails B by 5 in the second: equal where 10 = 5 w."""
    found = weight_range(("A", "B"), np.array([[10.0, 0.0], [0.0, 5.0]]), [1.0, 1.0], 1)
    assert (found.winner, found.low, found.high, found.rival_above) == ("A", 0.0, 2.0, "B")
    assert "from a weight of 0 to 2" in found.sentence()


def test_a_part_in_which_all_are_equal_has_no_end() -> None:
    found = weight_range(("A", "B"), np.array([[10.0, 3.0], [0.0, 3.0]]), [1.0, 1.0], 1)
    assert (found.low, found.high) == (0.0, None)
    assert "whatever this weight" in found.sentence()


@given(tables, weighings)
def test_rivals_within_a_box_are_those_of_its_corners(table: np.ndarray, weights: tuple[float, ...]) -> None:
    low, high = np.array(weights) / 2, np.array(weights) * 1.5
    winner = int(np.argmax(table @ np.array(weights)))
    corners = np.array(np.meshgrid(*zip(low, high, strict=True))).reshape(3, -1)
    least = (table[winner] - table) @ corners
    expected = {NAMES[i] for i in range(3) if i != winner and least[i].min() < -1e-9}
    assert set(rivals_within(NAMES, table, low, high, NAMES[winner])) == expected


@pytest.mark.parametrize("weights", [[-1.0, 2.0], [0.0, 0.0]])
def test_weights_that_make_no_mean_are_refused(weights: list[float]) -> None:
    with pytest.raises(ValueError, match="weights"):
        weight_range(("A", "B"), np.eye(2), weights, 0)
