"""The door for scores: what it takes, what it refuses, and what it says."""

import json

import numpy as np
import pandas as pd
import pytest

from stats import hedonic_anova
from stats.results import plain
from stats.score_table import ByName, read_scores


def frame(**columns):
    base = {
        "taster": ["ann", "ann", "bo", "bo"],
        "sample": ["A", "B", "A", "B"],
        "score": [1.0, 2.0, 3.0, 5.0],
    }
    return {**base, **columns}


def test_rows_come_out_in_one_order_whatever_the_order_they_came_in():
    shuffled = pd.DataFrame(frame()).iloc[[3, 0, 2, 1]]
    assert read_scores(shuffled).score.tolist() == read_scores(frame()).score.tolist() == [1.0, 2.0, 3.0, 5.0]


@pytest.mark.parametrize("name", ["NA", "None", "1e5", "nan", " A", "Å", "null"], ids=repr)
def test_names_that_look_like_something_else_stay_names(name):
    table = read_scores(frame(sample=[name, "B", name, "B"]))
    assert name in table.samples


def test_names_that_differ_only_in_case_are_two_samples():
    assert read_scores(frame(sample=["a", "A", "a", "A"])).samples == ("A", "a")


def test_whole_numbers_as_names_become_their_digits():
    assert read_scores(frame(sample=[417, 98, 417, 98])).samples == ("417", "98")


def test_categories_are_read_by_their_text():
    assert read_scores(frame(sample=pd.Categorical(["x", "y", "x", "y"]))).samples == ("x", "y")


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"taster": None}, "column 'taster' is missing"),
        ({"sample": ["A", None, "A", "B"]}, "sample: row 2 has no name"),
        ({"sample": ["A", "", "A", "B"]}, "sample: row 2 has an empty name"),
        ({"sample": [1.5, "B", "A", "B"]}, "row 1 holds 1.5"),
        ({"sample": [True, "B", "A", "B"]}, "row 1 holds True"),
        ({"score": [1, "seven", 2, 3]}, "score: row 2 holds 'seven'"),
        ({"score": [1, float("inf"), 2, 3]}, "score: row 2 holds inf"),
        ({"sample": ["A", "B", "A", "A"]}, "row 4 repeats row 3 .*taster 'bo', sample 'A'.*'replicate'"),
        ({"sample": ["A"] * 4, "replicate": ["1", "2", "1", "2"]}, "sample: at least 2 .* 'A'"),
        ({"taster": ["ann"] * 4, "replicate": ["1", "1", "2", "2"]}, "taster: at least 2 .* 'ann'"),
        ({"attribute": ["salty", "salty", "sour", "sour"]}, "holds 2 attributes"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_cannot_be_analysed_is_refused_with_the_row(columns, message):
    given = {name: column for name, column in frame(**columns).items() if column is not None}
    with pytest.raises(ValueError, match=message):
        read_scores(given)


def test_replicates_with_one_name_are_duplicates():
    doubled = {name: [*column, column[0]] for name, column in frame(replicate=["1"] * 4).items()}
    with pytest.raises(ValueError, match=r"row 5 repeats row 1 .*replicate '1'"):
        read_scores(doubled)


def test_missing_scores_are_dropped_and_said():
    table = read_scores(
        {
            "taster": ["ann", "ann", "bo", "bo", "cy"],
            "sample": ["A", "B", "A", "B", "A"],
            "score": [1, None, 3, 4, float("nan")],
        }
    )
    assert table.dropped == 2
    assert table.notes == (
        "2 rows without a score left out, none imputed",
        "taster 'cy' has no score at all and is left out",
    )


def test_cell_means_average_replicates_and_leave_gaps():
    table = read_scores(
        {
            "taster": ["ann", "ann", "ann", "bo"],
            "sample": ["A", "A", "B", "B"],
            "replicate": ["1", "2", "1", "1"],
            "score": [1.0, 4.0, 2.0, 6.0],
        }
    )
    np.testing.assert_array_equal(table.cell_means(), [[2.5, 2.0], [np.nan, 6.0]])


def test_values_by_name_cannot_be_changed():
    values = ByName({"A": 1.0})
    with pytest.raises(TypeError, match="frozen"):
        values["A"] = 2.0
    with pytest.raises(TypeError, match="frozen"):
        values |= {"B": 1.0}
    assert plain(values) == {"A": 1.0}


@pytest.mark.parametrize("method", ["two-way", "mixed"])
def test_results_are_plain_json(method):
    rng = np.random.default_rng(5)
    data = {
        "taster": [f"t{i}" for i in range(6) for _ in range(3)],
        "sample": ["A", "B", "C"] * 6,
        "score": rng.normal(size=18),
    }
    written = json.dumps(hedonic_anova(data, method=method).to_dict(), allow_nan=False)
    assert json.loads(written)["result"] == "HedonicAnova"
