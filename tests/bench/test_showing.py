"""Figures in writing: digits by uncertainty, ±, unit, and from how many runs."""

import dataclasses
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.bench.derived import measurand_figures
from panel.bench.showing import in_words, written
from panel.study.measuring import Measurand
from tests.bench.rice_runs import COOKING, HOLDING, cooled, held, runs_of


def figure(measurand, runs, which="mean"):
    return next(one for one in measurand_figures(measurand, runs, currency="EUR") if one.figure == which)


def text(measurand, runs, which="mean"):
    return written(figure(measurand, runs, which), measurand).text


def test_value_and_expanded_uncertainty_end_at_the_same_place():
    # s = 30 s, 3 runs: u = 17.3 s = 0.2887 min; t of 2 degrees of freedom 4.303; 1.24 min.
    assert (
        text(COOKING, runs_of("Aster", [1500, 1560, 1530], resolution=1)) == "(25.5 ± 1.2)\u202fmin, 3 runs"
    )


@pytest.mark.parametrize(
    ("measurand", "runs", "which", "said"),
    [
        (COOKING, runs_of("Aster", [1530]), "mean", "25.5\u202fmin, 1 run"),
        (Measurand("m1", "Price", "price"), runs_of("Aster", [79.9]), "mean", "79.90\u202fEUR, 1 run"),
        (Measurand("m1", "Fits", "check"), runs_of("Aster", [1, 1, 0]), "mean", "2 of 3 passed, 3 runs"),
        (Measurand("m1", "Filling", "rating"), runs_of("Aster", [4]), "mean", "4\u202fof 5, 1 tester"),
        (
            Measurand("m1", "Filling", "rating"),
            runs_of("Aster", [5, 5, 4]),
            "mean",
            "4.67\u202fof 5 (95\u202f% interval 3.23 to 5.00), 3 testers",
        ),
        (
            Measurand("m1", "Cold", "temperature", "°C"),
            runs_of("Aster", [-18.5]),
            "mean",
            "−18.5\u202f°C, 1 run",
        ),
        (
            HOLDING,
            runs_of("Birch", [held()] * 3, "m2", ambient=22.0),
            "time until below",
            "at least 120\u202fmin, 3 runs",
        ),
    ],
)
def test_each_kind_is_written_as_people_read_it(measurand, runs, which, said):
    assert text(measurand, runs, which) == said


def test_what_cannot_be_had_is_a_dash_and_its_reason_stands_in_words():
    refused = figure(HOLDING, runs_of("Birch", [held()] * 3, "m2", ambient=22.0), "cooling rate")
    assert written(refused, HOLDING).text == "–"
    assert "not known. Run 1 has no rate of cooling" in in_words(refused, HOLDING, "Birch 3")


def test_words_say_what_stands_behind_the_number():
    three = figure(COOKING, runs_of("Aster", [1500, 1560, 1530], resolution=1))
    said = in_words(three, COOKING, "Aster 5")
    assert said.startswith("Aster 5, Cooking time, mean of the runs: (25.5 ± 1.2)\u202fmin, 3 runs.")
    assert "repeats and instrument together (95\u202f% coverage, k = 4.3)" in said
    one = in_words(figure(COOKING, runs_of("Aster", [1500], resolution=1)), COOKING, "Aster 5")
    assert one.endswith("How sure that is, is not known.")
    planned = dataclasses.replace(COOKING, runs=1)
    assert "of instrument alone" in in_words(
        figure(planned, runs_of("A", [1500], resolution=1)), planned, "A"
    )


def test_per_serving_stands_in_the_unit():
    assert text(COOKING, runs_of("Aster", [1200]), "per serving") == "5\u202fmin per serving, 1 run"


@given(st.lists(st.floats(1, 1e5), min_size=2, max_size=6), st.floats(0.001, 100))
def test_what_is_written_lies_within_half_a_place_of_the_value(values, step):
    found = figure(COOKING, runs_of("Aster", values, resolution=step))
    shown = written(found, COOKING)
    number = float(shown.number.replace("−", "-"))
    half = (found.high - found.low) / 2
    assert abs(number - found.value) <= max(half / 10, 1e-9)
    assert re.fullmatch(r"± [\d.]+|[\d.]+ to [\d.]+", shown.spread)


def test_a_cooling_series_reads_well_to_the_end():
    runs = runs_of("Aster", [cooled(), cooled(94), cooled(96)], "m2", ambient=22.0, resolution=0.1)
    for one in measurand_figures(HOLDING, runs):
        said = in_words(one, HOLDING, "Aster 5")
        assert said.startswith("Aster 5, Holding warm, ")
        assert "None" not in said
        assert "nan" not in said
