"""What looks wrong in the bench's entries: flagged with the runs meant, and quiet where nothing is wrong."""

import dataclasses

import pytest

from panel.bench.checks import check_runs
from panel.study.measuring import Bench, Measurand
from tests.bench.rice_runs import COOKING, HOLDING, cooled, runs_of

MASS = Measurand("m1", "Weight", "mass", "kg")
WARM = Measurand("m1", "Temperature", "temperature", "°C")
PRICE = Measurand("m1", "Price", "price")
SYSTEM = Measurand("m1", "Use", "usability")
RATED = Measurand("m1", "Filling", "rating")


def remarks(measurand, *runs, **names):
    return check_runs(Bench(measurands=(measurand,)), list(runs), names)


def change(runs, place, **what):
    runs[place] = dataclasses.replace(runs[place], **what)
    return runs


@pytest.mark.parametrize(
    ("measurand", "runs"),
    [
        (COOKING, runs_of("Aster", [1500, 1560, 1490], laps=(60.0, 900.0))),
        (MASS, [*runs_of("Aster", [1500]), *runs_of("Birch", [3400])]),
        (MASS, [*runs_of("Aster", [1500]), *runs_of("Birch", [0])]),
        (WARM, runs_of("Aster", [93, 91, 95])),
        (WARM, [*runs_of("Aster", [-18]), *runs_of("Birch", [95])]),
        (HOLDING, runs_of("Aster", [cooled(), cooled(93), cooled(94)], "m2", ambient=22.0)),
        (PRICE, runs_of("Aster", [79.9], servings=400, at="2026-11-26")),
        (PRICE, [*runs_of("Aster", [79.9], at="2026-11-26"), *runs_of("Birch", [99], at="2026-11-26")]),
        (SYSTEM, runs_of("Aster", [0], answers=(4, 2, 4, 2, 4, 2, 4, 2, 4, 2))),
    ],
)
def test_plain_entries_are_not_flagged(measurand, runs):
    assert remarks(measurand, *runs) == ()


@pytest.mark.parametrize(
    ("measurand", "runs", "said"),
    [
        (
            COOKING,
            change(runs_of("Aster", [1500, 1560]), 1, run=1),
            "run 1 is entered twice with different values",
        ),
        (COOKING, change(runs_of("Aster", [1500, 1500]), 1, run=1), "entered twice with the same value"),
        (COOKING, runs_of("Aster", [1500, 1560, 25]), "as if a number in min was taken for s"),
        (COOKING, runs_of("Aster", [25, 26, 1500]), "as if a number in s was taken for min"),
        (MASS, runs_of("Aster", [1.5, 1500, 1480]), "as if a number in kg was taken for g"),
        (MASS, runs_of("Aster", [1500, 1510, 3310]), "as if a number in lb was taken for kg"),
        (MASS, runs_of("Aster", [1500, 1510, 30000]), "check the decimal point"),
        (MASS, [*runs_of("Aster", [1500]), *runs_of("Birch", [1.5])], "as if a number in kg was taken for g"),
        (COOKING, runs_of("Aster", [1500], laps=(60.0, 50.0)), "laps that do not rise: 60, 50 s"),
        (
            COOKING,
            runs_of("Aster", [100], laps=(60.0, 150.0)),
            "a last lap of 150 s, later than its end at 100 s",
        ),
        (WARM, runs_of("Aster", [203]), "203 °F would be 95 °C"),
        (WARM, runs_of("Aster", [94, 95, 203]), "as if 203 °F (95 °C) was meant"),
        (WARM, runs_of("Aster", [94, 95, 34.4]), "as if 94 °C was typed as °F"),
        (MASS, change(runs_of("Aster", [1, 1]), 0, value=None), "run 1 has no value"),
        (MASS, runs_of("Aster", [-5]), "cannot be below 0"),
        (
            PRICE,
            [
                *runs_of("Aster", [79.9], at="2026-11-26"),
                *runs_of("Birch", [4.9], servings=4, at="2026-11-26"),
            ],
            "without saying how many servings the package holds",
        ),
        (COOKING, runs_of("Aster", [1500, 1510, 0]), "run 3 is 0 min, where the others are about 25.1 min"),
        (COOKING, [*runs_of("Aster", [1500]), *runs_of("Birch", [0])], "run 1 is 0 min"),
        (PRICE, runs_of("Aster", [79.9], servings=4), "without its date"),
        (PRICE, runs_of("Aster", [0], servings=4, at="2026-11-26"), "costs nothing"),
        (RATED, runs_of("Aster", [7]), "not on the scale from 1 to 5"),
        (RATED, runs_of("Aster", [4, 2], by="Kim"), "Kim has rated it twice"),
        (SYSTEM, runs_of("Aster", [0], answers=(3,) * 9), "answers 9 of the 10 statements"),
        (SYSTEM, runs_of("Aster", [0], answers=(5,) * 10), "gives 5 to every statement"),
        (HOLDING, runs_of("Aster", [cooled()], "m2"), "no temperature of the room"),
        (
            HOLDING,
            runs_of("Aster", [cooled(start=21.0)], "m2", ambient=22.0),
            "not above its room of 22.0 °C",
        ),
        (HOLDING, runs_of("Aster", [cooled()], "m2", ambient=72.0), "72 °F would be 22 °C"),
        (HOLDING, runs_of("Aster", [cooled(start=203.0)], "m2", ambient=22.0), "203 °F would be 95 °C"),
        (
            HOLDING,
            runs_of("Aster", [cooled(minutes=range(10, 121, 5))], "m2", ambient=22.0),
            "after the start at 5",
        ),
        (HOLDING, runs_of("Aster", [cooled(minutes=(0, 5))], "m2", ambient=22.0), "2 readings"),
        (
            HOLDING,
            runs_of("Aster", [((0.0, 95.0), (0.0, 94.0), (9.0, 90.0))], "m2", ambient=22.0),
            "two readings at 0",
        ),
        (
            HOLDING,
            runs_of("Aster", [((0.0, 95.0), (9.0, 94.0), (5.0, 90.0))], "m2", ambient=22.0),
            "goes back in time",
        ),
        (HOLDING, runs_of("Aster", [cooled(), cooled()], "m2", ambient=22.0), "hold the same series"),
        (
            HOLDING,
            runs_of("Aster", [cooled(), cooled(93, minutes=range(0, 91, 5))], "m2", ambient=22.0),
            "its runs end after 120 and 90 minutes",
        ),
    ],
)
def test_what_looks_wrong_is_said(measurand, runs, said):
    found = remarks(measurand, *runs, Aster="Aster 5")
    assert any(said in one.text for one in found), [one.text for one in found]
    assert all(one.text.startswith(("Aster 5", "Birch")) and one.text.endswith(".") for one in found)
    assert {name for one in found for name in one.runs} <= {run.id for run in runs}


def test_a_product_without_an_entry_is_missed():
    found = check_runs(
        Bench(measurands=(MASS, HOLDING)),
        [*runs_of("Aster", [1500]), *runs_of("Birch", [cooled()], "m2", ambient=22.0)],
    )
    assert [one.text for one in found] == [
        "Birch: no valid entry of Weight.",
        "Aster: no valid entry of Holding warm.",
    ]


def test_invalid_runs_are_not_looked_at():
    runs = change(runs_of("Aster", [1500, 1510, 1.5]), 2, invalid="slipped")
    assert remarks(MASS, *runs) == ()
