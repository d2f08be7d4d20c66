"""What the plan page says of a sequential plan, against panels simulated along Wald's lines."""

import re
from math import log

import numpy as np

from panel.analysis.planning_sequential import stopping_of
from panel.study.plan import Plan

PANELS, MOST, ALPHA, BETA = 20_000, 60, 0.05, 0.05
GUESSING, TASTED = 1 / 3, 1 / 3 + 2 / 3 * 0.4


def simulated(right: float) -> tuple[float, float, float, float]:
    """Tasters on average, and the shares of panels that end with difference, similar and undecided (Wald 1947)."""
    answers = np.random.default_rng(7).random((PANELS, MOST)) < right
    gain, loss = log(TASTED / GUESSING), log((1 - TASTED) / (1 - GUESSING))
    evidence = np.cumsum(np.where(answers, gain, loss), axis=1)
    over, under = evidence >= log((1 - BETA) / ALPHA), evidence <= log(BETA / (1 - ALPHA))
    first = np.where((over | under).any(axis=1), (over | under).argmax(axis=1), MOST - 1)
    ends = np.arange(PANELS)
    difference, similar = over[ends, first].mean(), under[ends, first].mean()
    return float(first.mean() + 1), difference, similar, 1 - difference - similar


def test_a_sequential_plan_says_where_it_stops_and_how_often_it_errs() -> None:
    plan = Plan(
        "t", "h", "q", "triangle", 2, MOST, similarity_limit=0.4, sequential=True, alpha=ALPHA, beta=BETA
    )
    stops, errors, undecided = stopping_of(plan)
    alike, apart = simulated(GUESSING), simulated(TASTED)
    said = [
        float(number) for text in (stops, errors, undecided) for number in re.findall(r"\d+(?:\.\d+)?", text)
    ]
    means, share, wrong, places, open_ends = said[:2], said[2], said[3:5], said[5], said[6:8]
    assert (share, places) == (40, MOST)
    for ours, theirs in zip(means, (alike[0], apart[0]), strict=True):
        assert abs(ours - theirs) < 1, "rounded to whole tasters"
    # percentages of 20 000 panels: a standard error of at most 0.35, most far less; four of them
    for ours, theirs in zip((*wrong, *open_ends), (alike[1], apart[2], alike[3], apart[3]), strict=True):
        assert abs(ours - 100 * theirs) < 1.4


def test_a_plan_of_fixed_size_stops_nowhere_early() -> None:
    assert stopping_of(Plan("t", "h", "q", "triangle", 2, 24)) == ()
