"""Products beside each other: repeatability, comparison by replicate runs, the race at equal volume."""

import dataclasses
import math

import numpy as np
import pytest
from scipy import stats as scipy_stats

from panel.bench.between_products import LIMIT_FACTOR, compared, races, repeatability
from panel.bench.derived import measurand_figures
from panel.study.measuring import Bench, Measurand
from tests.bench.rice_runs import COOKING, HOLDING, cooled, held, runs_of

ASTER, BIRCH = [1500, 1560, 1530], [1800, 1822, 1790]


def means(measurand, runs):
    return [one for one in measurand_figures(measurand, runs) if one.figure == "mean"]


def test_repeatability_is_pooled_over_products():
    """Pooled by hand: (2 s1² + 2 s2²) / 4, limit 2.8 s as in ISO 5725-6."""
    runs = [*runs_of("Aster", ASTER), *runs_of("Birch", BIRCH)]
    found = repeatability(means(COOKING, runs), "duration")
    sd = math.sqrt((np.var(ASTER, ddof=1) + np.var(BIRCH, ddof=1)) / 2) / 60
    assert (found.sd, found.df, found.products) == (pytest.approx(sd), 4, 2)
    assert found.limit == pytest.approx(LIMIT_FACTOR * sd)
    assert found.coefficient == pytest.approx(sd / (np.mean(ASTER + BIRCH) / 60))
    assert "two runs lie within" in found.sentence()


def test_the_limit_factor_is_that_of_the_normal_rounded():
    assert pytest.approx(scipy_stats.norm.ppf(0.975) * math.sqrt(2), abs=0.03) == LIMIT_FACTOR


def test_without_two_runs_there_is_no_repeatability_and_degrees_have_no_share():
    assert repeatability(means(COOKING, runs_of("Aster", [1500])), "duration") is None
    warm = Measurand("m1", "Temperature", "temperature", "°C")
    assert repeatability(means(warm, runs_of("Aster", [90, 92])), "temperature").coefficient is None


def test_products_are_compared_in_the_unit_shown():
    runs = [*runs_of("Aster", ASTER), *runs_of("Birch", BIRCH)]
    found = compared(COOKING, runs)
    welch = scipy_stats.ttest_ind(np.array(ASTER) / 60, np.array(BIRCH) / 60, equal_var=False)
    assert found.p_value == pytest.approx(welch.pvalue)
    assert found.pairs[0].difference == pytest.approx((np.mean(ASTER) - np.mean(BIRCH)) / 60)
    assert found.letters["Aster"] != found.letters["Birch"]


def test_runs_of_the_same_days_are_compared_within_days():
    days = [f"2026-11-{day:02}T09:00:00Z" for day in (20, 21, 22, 23)]
    shift = [0, 200, -150, 90]
    runs = []
    for product, base in (("Aster", 1500), ("Birch", 1530)):
        mine = runs_of(product, [base + s + (7 if product == "Birch" and s else 0) for s in shift])
        runs += [dataclasses.replace(run, at=day) for run, day in zip(mine, days, strict=True)]
    found = compared(COOKING, runs)
    assert found.blocked
    assert found.p_value < 0.01
    other = [
        dataclasses.replace(run, at=run.at.replace("-20T", "-19T")) if run.product == "Birch" else run
        for run in runs
    ]
    assert not compared(COOKING, other).blocked


def test_the_resolution_stands_in_for_scatter_that_it_hides():
    runs = [*runs_of("Aster", [1500] * 3, resolution=1), *runs_of("Birch", [1560] * 3, resolution=1)]
    found = compared(COOKING, runs)
    assert found.p_value < 0.001
    assert any("resolution" in note for note in found.notes)


def test_figures_of_a_series_are_compared_too_and_refusals_left_out():
    runs = [
        *runs_of("Aster", [cooled(95), cooled(94), cooled(96)], "m2", ambient=22.0),
        *runs_of("Birch", [held(70), held(71), held(69)], "m2", ambient=22.0),
    ]
    found = compared(HOLDING, runs, "at 60")
    assert found.pairs[0].difference < -5
    assert compared(HOLDING, runs, "cooling rate").f is None


def test_a_race_at_equal_volume_names_the_first_only_where_it_is_apart():
    bench = Bench(measurands=(COOKING, dataclasses.replace(COOKING, key="m2", load="full")))
    runs = [
        *runs_of("a", ASTER),
        *runs_of("b", BIRCH),
        *runs_of("c", [1545, 1555, 1505]),
        *runs_of("a", ASTER, "m2"),
    ]
    names = {"a": "Aster 5", "b": "Birch 3", "c": "Cedar 7"}
    (race,) = races(bench, runs)
    assert [row[0] for row in race.order] == ["a", "c", "b"]
    assert race.sentence(names) == (
        "Aster 5 has the shortest mean time, 25.5 min; it is not shown to be faster than Cedar 7."
    )
    (clear,) = races(bench, [*runs_of("a", ASTER), *runs_of("b", BIRCH)])
    assert clear.sentence(names).endswith("is faster than every other product compared.")
    (single,) = races(bench, [*runs_of("a", ASTER), *runs_of("b", [1800])])
    assert "fewer than two products have two runs" in single.sentence(names)
    assert races(bench, runs_of("a", ASTER)) == ()
