"""Cups counted from the plan alone, held against the serving plan as it is drawn."""

from __future__ import annotations

from collections import Counter

import pytest

from panel.store.sealing import drawn
from panel.study.plan import Kitchen, Layout, Pace, Plan, Question
from panel.study.servings import (
    BRIEFING_MINUTES,
    cups_at_a_sitting,
    cups_of_one_sample,
    minutes_of_a_sitting,
    screens_at_a_sitting,
)
from panel.study.test_methods import TEST_METHODS

SETS = [name for name, method in TEST_METHODS.items() if method.most == 2]
LIKING = (Question("q1", "How much do you like it?", "hedonic-9"),)


def rating(tasters: int, samples: int = 6, **more: object) -> Plan:
    return Plan("t", "h", "q", "rating", samples, tasters, questions=LIKING, primary="q1", **more)  # type: ignore[arg-type]


PLANS = [
    *(
        Plan("t", "h", "q", name, 2, n, r, with_reference=TEST_METHODS[name].needs_reference)
        for name in SETS
        for n in (5, 12, 25)
        for r in (1, 2)
    ),
    *(Plan("t", "h", "q", "duo-trio", 2, n, with_reference=True) for n in (5, 12)),
    *(Plan("t", "h", "q", "ranking", 5, n) for n in (7, 20)),
    *(rating(n, layout=layout) for n in (7, 24) for layout in (Layout(), Layout(warm_up=True))),
    *(rating(n, layout=Layout(per_taster=3, sittings=s)) for n in (7, 24) for s in (1, 2)),
    rating(24, replicates=2, layout=Layout(sittings=2)),
    rating(12, layout=Layout(per_taster=3), with_reference=True),
    rating(12, conditions=("plain", "with dashi")),
    rating(12, conditions=("plain", "with dashi"), condition_mode="same cup"),
]


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: f"{plan.method}, {plan.tasters} x {plan.replicates}")
def test_no_sample_needs_more_cups_than_counted_and_hardly_fewer(plan: Plan) -> None:
    of_sample: Counter[int] = Counter()
    at_sitting: Counter[tuple[int, int]] = Counter()
    screens: Counter[tuple[int, int]] = Counter()
    for place in drawn(plan, "5eed").places:
        for serving in place.servings:
            if serving.same_cup_as is None:
                of_sample[serving.sample] += 1
                at_sitting[place.number, serving.sitting] += 1
        for sitting in {serving.sitting for serving in place.servings}:
            screens[place.number, sitting] = len({s.task for s in place.servings if s.sitting == sitting})
    most = max(of_sample.values())
    assert most <= cups_of_one_sample(plan) <= most + 6
    assert cups_at_a_sitting(plan) == max(at_sitting.values())
    assert screens_at_a_sitting(plan) == max(screens.values())


def test_a_sitting_takes_as_long_as_its_cups_and_the_waits_between_them() -> None:
    plan = rating(12, 4, kitchen=Kitchen(minutes_per_cup=2.5), pace=Pace(wait_seconds=60))
    assert minutes_of_a_sitting(plan) == BRIEFING_MINUTES + 4 * 2.5 + 3
