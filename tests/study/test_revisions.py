"""Which send of a corrected screen counts: the latest before closing; where all came later, the latest."""

from __future__ import annotations

from itertools import product

import pytest

from panel.study.revisions import standing


@pytest.mark.parametrize(
    ("late", "counts"),
    [
        ([False], 0),
        ([False, False], 1),
        ([False, True], 0),
        ([False, False, True, True], 1),
        ([True], 0),
        ([True, True], 1),
        ([True, False], 1),
        ([True, False, True], 1),
    ],
    ids=str,
)
def test_the_send_that_counts(late: list[bool], counts: int) -> None:
    sends = [("screen", is_late, number) for number, is_late in enumerate(late)]
    assert standing(sends) == {"screen": counts}


def test_screens_do_not_touch_each_other() -> None:
    assert standing([("a", False, 1), ("b", True, 2), ("a", True, 3)]) == {"a": 1, "b": 2}
    assert standing([]) == {}


def test_it_is_the_last_in_time_whatever_the_mixture() -> None:
    for late in product([False, True], repeat=5):
        in_time = [number for number, is_late in enumerate(late) if not is_late]
        assert standing(("s", one, n) for n, one in enumerate(late)) == {"s": in_time[-1] if in_time else 4}
