"""One measurand side by side: every product by name, letters, repeats, and what testers and open ends do to it."""

import dataclasses

import pytest

from panel.bench.side_by_side import side_by_side
from panel.study.measuring import Bench, Measurand
from tests.bench.rice_runs import COOKING, HOLDING, cooled, held, runs_of

NAMES = {"a": "Aster 5", "b": "Birch 3", "c": "Birch 3"}
RUNS = [*runs_of("a", [1500, 1560, 1530]), *runs_of("b", [1800, 1822, 1790]), *runs_of("c", [1600])]


def beside(measurand, runs):
    return side_by_side(Bench(measurands=(measurand,)), measurand, runs, NAMES)


def test_products_stand_by_name_and_the_same_name_twice_is_told_apart():
    found = beside(COOKING, RUNS)
    mean = found.figures[0]
    assert [name for name, _, _ in mean.rows] == ["Aster 5", "Birch 3", "Birch 3 (2)"]
    assert [letters for _, _, letters in mean.rows] == ["b", "a", ""]
    assert mean.comparison.left_out == ("Birch 3 (2)",)
    assert mean.repeats.df == 4
    assert mean.words[0].startswith("Aster 5, Cooking time, mean of the runs: (25.5 ± 1.2)")
    assert found.race.order[0][0] == "Aster 5"


def test_a_figure_that_no_product_has_is_left_out():
    assert [one.figure for one in beside(dataclasses.replace(COOKING, servings=None), RUNS).figures] == [
        "mean"
    ]
    assert beside(COOKING, []).figures == ()


def test_prices_are_shown_and_not_compared():
    price = Measurand("m1", "Price", "price")
    found = beside(price, [*runs_of("a", [79.9, 80.0]), *runs_of("b", [60.0, 61.0])])
    assert found.figures[0].comparison is None


def test_testers_are_compared_with_themselves():
    rated = Measurand("m1", "Filling", "rating")
    strict = {"Kim": 0, "Lou": 1, "Mo": 2, "Noor": 2}
    runs = []
    for product, plus in (("a", 0), ("b", 1)):
        for place, (by, level) in enumerate(strict.items(), start=1):
            more = 1 if (product, by) == ("b", "Mo") else 0
            runs += [
                dataclasses.replace(
                    runs_of(product, [1 + level + plus + more - (plus if by == "Kim" else 0)])[0],
                    id=f"{product}{by}",
                    run=place,
                    by=by,
                )
            ]
    found = beside(rated, runs).figures[0]
    assert found.comparison.blocked
    assert "4 testers: mean 2.25" in found.words[0]
    assert "1 gave 1, 1 gave 2 and 2 gave 3" in found.words[0]
    assert found.repeats is None
    nameless = [dataclasses.replace(run, by="") for run in runs]
    assert not beside(rated, nameless).figures[0].comparison.blocked


def test_a_product_that_never_falls_below_is_named_and_not_compared():
    runs = [
        *runs_of("a", [cooled(95), cooled(94), cooled(96)], "m2", ambient=22.0),
        *runs_of("b", [held(70), held(71), held(69)], "m2", ambient=22.0),
    ]
    found = {one.figure: one for one in beside(HOLDING, runs).figures}
    until = found["time until below"]
    assert until.rows[1][1].value == "at least 120\u202fmin"
    assert until.comparison.left_out == ("Birch 3",)
    assert "only a lower bound is known" in until.comparison.notes[-1]
    assert "cooling rate" in found
    assert found["cooling rate"].rows[1][1].value == "–"


def test_curves_are_those_of_the_runs_and_only_those_that_cool_are_fitted():
    runs = [*runs_of("a", [cooled()], "m2", ambient=22.0), *runs_of("b", [held()], "m2", ambient=22.0)]
    runs += [dataclasses.replace(runs[0], id="x", run=2, invalid="probe fell out")]
    first, second = beside(HOLDING, runs).curves
    assert (first.product, second.product) == ("Aster 5", "Birch 3")
    assert first.points == cooled()
    assert [value for _, value in first.fitted[:1]] == pytest.approx([22 + 73 * 0.951229], abs=1e-3)
    assert second.fitted == ()
    assert "as if something heats" in second.why


def test_curves_come_in_the_unit_shown():
    limits = {"low": 140.0, "high": 185.0, "threshold": 149.0, "ambient": 68.0}
    fahrenheit = dataclasses.replace(HOLDING, unit="°F", **limits)
    (curve,) = beside(fahrenheit, runs_of("a", [cooled()], "m2", ambient=22.0)).curves
    assert curve.points[0] == (0, pytest.approx(203))
    assert curve.fitted[0][1] == pytest.approx((22 + 73 * 0.951229) * 1.8 + 32, abs=1e-2)
