"""Runs of one answer and implausible speed: flagged where they are, by a rule that can be checked."""

import json
from itertools import product

import numpy as np
import pandas as pd
import pytest

from stats import response_patterns
from stats.response_patterns import chance_of_run


def answers(tasters=12, samples=12, seed=0):
    rng = np.random.default_rng(seed)
    rows = [
        (f"t{t:02d}", f"s{s}", s + 1, rng.integers(1, 10), rng.uniform(8, 20))
        for t in range(tasters)
        for s in range(samples)
    ]
    return pd.DataFrame(rows, columns=["taster", "sample", "position", "score", "seconds"])


@pytest.mark.parametrize("repeat", [0.1, 0.5, 0.9])
def test_the_chance_of_a_run_agrees_with_plain_enumeration(repeat):
    for n, length in product(range(1, 9), range(1, 9)):
        total = 0.0
        for steps in product([True, False], repeat=n - 1):
            longest = run = 1
            for same in steps:
                run = run + 1 if same else 1
                longest = max(longest, run)
            total += (longest >= length) * np.prod([repeat if same else 1 - repeat for same in steps])
        assert chance_of_run(length, n, repeat) == pytest.approx(total, abs=1e-12)


def test_a_taster_who_gives_one_answer_throughout_is_flagged():
    frame = answers()
    frame.loc[frame["taster"] == "t04", "score"] = 5
    found = response_patterns(frame)
    assert [(flag.taster, flag.about) for flag in found.flags] == [("t04", "straight-lining")]
    assert "12 times 5 in a row" in found.sentence()
    assert "nobody is left out" in found.sentence()


def test_runs_are_read_in_the_order_of_serving_and_not_of_the_rows():
    frame = answers()
    frame.loc[frame["taster"] == "t04", "score"] = [5, 1] * 6
    frame.loc[frame["taster"] == "t04", "position"] = [1, 7, 2, 8, 3, 9, 4, 10, 5, 11, 6, 12]
    row = next(one for one in response_patterns(frame).tasters if one.taster == "t04")
    assert row.longest_run == 6


def test_a_panel_that_always_repeats_itself_flags_nobody_and_says_why():
    found = response_patterns(answers().assign(score=5))
    assert not found.flags
    assert "runs say little here" in found.notes[-1]


def test_random_answers_are_rarely_flagged():
    flagged = sum(bool(response_patterns(answers(seed=s).drop(columns="seconds")).flags) for s in range(100))
    assert flagged <= 5


def test_a_taster_three_times_as_fast_as_the_panel_is_flagged_for_speed():
    frame = answers()
    frame.loc[frame["taster"] == "t07", "seconds"] = 2.0
    found = response_patterns(frame)
    assert [(flag.taster, flag.about) for flag in found.flags] == [("t07", "speed")]
    assert "common practice, no source" in found.flags[0].rule


def test_a_stated_least_time_is_applied_to_every_answer():
    frame = answers()
    frame.loc[3, "seconds"] = 0.8
    found = response_patterns(frame, least_seconds=1.5)
    assert (found.tasters[0].too_fast, found.flags[0].seen) == (1, "1 answer too fast")


def test_missing_scores_and_times_are_left_out():
    frame = answers()
    frame.loc[[0, 1], "score"] = np.nan
    frame.loc[frame["taster"] == "t02", "seconds"] = np.nan
    found = response_patterns(frame)
    assert found.tasters[0].n == 10
    assert found.tasters[2].median_seconds is None
    assert "2 rows without a score" in found.notes[0]
    json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (lambda f: f.drop(columns="taster"), "column 'taster' is missing"),
        (lambda f: f.assign(seconds=-1.0), "-1.0 is negative"),
        (lambda f: f.assign(score="good"), "row 1 holds 'good'"),
        (lambda f: f.assign(score=np.nan), "it has no score"),
    ],
    ids=["column", "negative", "text", "empty"],
)
def test_bad_input_is_refused_with_the_reason(change, match):
    with pytest.raises(ValueError, match=match):
        response_patterns(change(answers()))
