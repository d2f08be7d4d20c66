"""Runs become figures: values, uncertainty of type A and B, refusals with their reason, and counts."""

import dataclasses
import math

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from panel.bench.derived import bench_figures, energy_mean, measurand_figures, product_figure
from panel.bench.figures import Run
from panel.bench.units import convert
from panel.study.measuring import Bench, Measurand
from panel.study.quantities import QUANTITIES
from tests.bench.rice_runs import COOKING, HOLDING, cooled, held, runs_of


def figure(measurand, runs, which):
    found = {one.figure: one for one in measurand_figures(measurand, runs, currency="EUR")}
    return found[which]


def flags(one):
    return " ".join(one.flags)


def test_mean_of_three_runs_with_type_a_and_b():
    found = figure(COOKING, runs_of("Aster", [1500, 1560, 1530], resolution=1, accuracy=3), "mean")
    u = math.sqrt(30**2 / 3 + 1 / 12 + 9 / 3)
    df = u**4 / ((30**2 / 3) ** 2 / 2)
    assert (found.value, found.unit, found.n) == (25.5, "min", 3)
    assert (found.u, found.df) == (pytest.approx(u / 60), pytest.approx(df))
    half = scipy_stats.t.ppf(0.975, math.floor(df)) * u / 60
    assert (found.low, found.high) == (pytest.approx(25.5 - half), pytest.approx(25.5 + half))
    assert found.runs == pytest.approx((25, 26, 25.5))
    assert found.flags == ()


def test_per_serving_divides_by_the_runs_own_servings_first():
    runs = runs_of("Aster", [1200, 1200, 1200], resolution=1)
    runs[2] = dataclasses.replace(runs[2], servings=2)
    found = figure(COOKING, runs, "per serving")
    assert found.runs == pytest.approx((5, 5, 10))
    bare = dataclasses.replace(COOKING, servings=None)
    refused = figure(bare, runs[:2], "per serving")
    assert refused.value is None
    assert "how many servings" in flags(refused)


def test_one_run_of_three_has_no_interval_and_says_so():
    found = figure(COOKING, runs_of("Aster", [1500], resolution=1), "mean")
    assert (found.value, found.low, found.high) == (25, None, None)
    assert found.u == pytest.approx(1 / math.sqrt(12) / 60)
    assert "1 valid run of the 3 asked for." in found.flags
    assert "how far repeats scatter is unknown" in flags(found)


def test_one_run_that_was_planned_has_the_instruments_interval():
    height = Measurand("m1", "Height", "length", "cm", runs=1)
    found = figure(height, runs_of("Aster", [234], resolution=1), "mean")
    assert found.value == pytest.approx(23.4)
    assert found.high - found.low == pytest.approx(2 * 1.959964 * 0.1 / math.sqrt(12))


def test_nothing_is_known_without_scatter_and_without_instrument():
    found = figure(COOKING, runs_of("Aster", [1500, 1500, 1500]), "mean")
    assert (found.value, found.u, found.df, found.low) == (25, None, 0, None)
    assert "All runs gave the same value" in flags(found)
    assert "Neither resolution nor limits" in flags(found)


def test_invalid_runs_are_kept_out_and_counted():
    runs = runs_of("Aster", [1500, 1560, 1530, 9999], resolution=1)
    runs[3] = dataclasses.replace(runs[3], invalid="lid left open")
    found = figure(COOKING, runs, "mean")
    assert (found.n, found.invalid, found.value) == (3, 1, 25.5)
    assert "1 entry kept out as invalid." in found.flags
    none = figure(COOKING, [dataclasses.replace(run, invalid="x") for run in runs], "mean")
    assert (none.n, none.invalid, none.value) == (0, 4, None)
    assert "There is no valid run." in none.flags


def test_levels_are_averaged_as_levels_and_wide_scatter_is_flagged():
    noise = Measurand("m1", "Noise", "noise", "dB(A)")
    found = figure(noise, runs_of("Aster", [50, 60], resolution=0.1), "mean")
    assert found.value == 55
    assert "mean of their energies is 57.4" in flags(found)
    assert figure(noise, runs_of("Aster", [55, 56, 55.5], resolution=0.1), "mean").flags == ()


@given(st.lists(st.floats(20, 100), min_size=1, max_size=8))
def test_the_energy_mean_lies_between_the_mean_and_the_loudest(levels):
    found = energy_mean(levels)
    assert sum(levels) / len(levels) - 1e-9 <= found <= max(levels) + 1e-9


def test_two_sources_together_are_three_decibels_above_one_alone():
    """10 lg 2 = 3.01: half of the time silent is 3 dB less. Definition of the level."""
    assert energy_mean([60, -200]) == pytest.approx(60 - 10 * math.log10(2), abs=1e-9)


def test_a_price_is_exact_and_several_prices_scatter():
    price = Measurand("m1", "Price", "price")
    found = figure(price, runs_of("Aster", [79.9]), "mean")
    assert (found.value, found.u, found.low, found.high, found.unit) == (79.9, 0, 79.9, 79.9, "EUR")
    assert figure(price, runs_of("Aster", [70, 80]), "mean").u == pytest.approx(5)
    assert figure(price, runs_of("Aster", [80], servings=400), "per serving").value == pytest.approx(0.2)


def test_testers_who_all_agree_are_no_certainty():
    found = figure(Measurand("m1", "Filling", "rating"), runs_of("Aster", [3, 3, 3]), "mean")
    assert (found.value, found.u, found.low, found.high, found.df) == (3, None, None, None, 0)
    assert "All testers gave the same score" in flags(found)


@pytest.mark.parametrize(
    ("passed", "n", "low", "high"), [(2, 2, 0.1581, 1), (0, 3, 0, 0.7076), (1, 10, 0.0025, 0.4450)]
)
def test_shares_have_exact_limits(passed, n, low, high):
    """Clopper-Pearson, as scipy's binomtest gives them: 1 of 10 is 0.0025 to 0.4450 in every table."""
    fits = Measurand("m1", "Fits the shelf", "check")
    found = figure(fits, runs_of("Aster", [1] * passed + [0] * (n - passed)), "mean")
    exact = scipy_stats.binomtest(passed, n).proportion_ci(0.95)
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high))
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-5)


def test_values_at_times_are_moved_to_one_ambient():
    runs = runs_of("Aster", [cooled(), cooled(room=26.0), cooled(room=18.0)], "m2", resolution=0.1)
    runs = [dataclasses.replace(run, ambient=room) for run, room in zip(runs, (22, 26, 18), strict=True)]
    for minutes in (30, 60, 120):
        found = figure(HOLDING, runs, f"at {minutes}")
        starts = [room + (95 - room) * math.exp(-0.05) for room in (22, 26, 18)]
        expected = [20 + (start - 20) * math.exp(-0.01 * (minutes - 5)) for start in starts]
        assert found.runs == pytest.approx(expected)
        assert found.flags == ()


def test_without_the_rooms_temperature_it_is_shown_as_measured_and_said():
    found = figure(HOLDING, runs_of("Aster", [cooled()] * 3, "m2", resolution=0.1), "at 30")
    assert found.runs == pytest.approx([22 + 73 * math.exp(-0.3)] * 3)
    assert "surroundings were not noted" in flags(found)


def test_the_rate_is_per_hour_and_has_the_fits_error_for_one_run():
    noisy = tuple((m, v + 0.2 * math.sin(7 * m)) for m, v in cooled())
    found = figure(HOLDING, runs_of("Aster", [noisy], "m2", ambient=22.0), "cooling rate")
    assert found.value == pytest.approx(0.6, rel=0.02)
    assert found.unit == "1/h"
    assert 0 < found.u < 0.02
    assert found.low is None


def test_a_heater_refuses_the_rate_with_its_reason_and_leaves_the_time_inside():
    runs = runs_of("Birch", [held(), held(71), held(69)], "m2", ambient=22.0, resolution=0.1)
    refused = figure(HOLDING, runs, "cooling rate")
    assert (refused.value, refused.n) == (None, 0)
    assert "as if something heats; the time inside the window is reported instead" in flags(refused)
    inside = figure(HOLDING, runs, "time inside")
    assert inside.bound == "at least"
    assert 90 < inside.value <= 115


def test_one_run_that_heats_refuses_the_rate_of_all_but_a_short_one_does_not():
    mixed = runs_of("Birch", [cooled(), cooled(), held()], "m2", ambient=22.0)
    assert figure(HOLDING, mixed, "cooling rate").value is None
    short = runs_of("Birch", [cooled(), cooled(), cooled(minutes=range(0, 11, 5))], "m2", ambient=22.0)
    found = figure(HOLDING, short, "cooling rate")
    assert (found.n, found.value) == (2, pytest.approx(0.6))
    assert "too few" in flags(found)


def test_a_plateau_warmer_than_any_room_is_a_heater_also_without_a_noted_room():
    level = tuple((m, 70 + 25 * math.exp(-0.05 * m)) for m, _ in cooled())
    found = figure(HOLDING, runs_of("Birch", [level] * 3, "m2"), "cooling rate")
    assert found.value is None
    assert "warmer than any room" in flags(found)


def test_time_until_below_is_a_lower_bound_where_it_never_falls_so_far():
    runs = runs_of("Birch", [held(), held(), held()], "m2", ambient=22.0, resolution=0.1)
    found = figure(HOLDING, runs, "time until below")
    assert (found.value, found.bound) == (120, "at least")
    assert "does not fall below the threshold" in flags(found)
    falling = figure(
        dataclasses.replace(HOLDING, ambient=None), runs_of("A", [cooled()] * 3, "m2"), "time until below"
    )
    assert falling.value == pytest.approx(math.log(73 / 43) / 0.01, abs=0.1)
    assert falling.bound == ""


def test_area_outside_is_that_of_the_triangle():
    line = tuple((float(m), 100.0 - m) for m in range(5, 66, 5))  # below 60 from 40 to 65 minutes: 25² / 2
    window = dataclasses.replace(HOLDING, low=60, high=200, ambient=None)
    found = figure(window, runs_of("Aster", [line] * 2, "m2"), "area outside")
    assert (found.value, found.unit) == (pytest.approx(312.5), "°C·min")


def test_a_series_that_ends_too_early_says_when():
    found = figure(
        HOLDING, runs_of("Aster", [cooled(minutes=range(0, 61, 5))] * 3, "m2", ambient=22.0), "at 120"
    )
    assert found.value is None
    assert "no reading around 120 minutes; its last is at 60" in flags(found)


def test_the_instruments_part_of_a_time_follows_from_the_slope():
    runs = runs_of("Aster", [cooled(room=20)], "m2", ambient=20.0, accuracy=0.6)
    found = figure(HOLDING, runs, "time until below")
    slope = 0.01 * (65 - 20)
    # The reading's error moves the start, too, so that the sum of both is a little off the plain slope.
    own = found.u**2 - (0.6 / math.sqrt(3) / slope) ** 2
    assert abs(own) < 0.3


def test_without_window_or_threshold_their_figures_are_refused():
    bare = dataclasses.replace(HOLDING, low=None, high=None, threshold=None)
    runs = runs_of("Aster", [cooled()] * 3, "m2")
    for which, said in (("time inside", "No window is set."), ("time until below", "No threshold is set.")):
        found = figure(bare, runs, which)
        assert (found.value, found.flags[0]) == (None, said)


def _in(unit, measurand):
    limits = {
        name: convert(getattr(measurand, name), "°C", unit)
        for name in ("low", "high", "threshold", "ambient")
    }
    return dataclasses.replace(measurand, unit=unit, **limits)


@settings(max_examples=15, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(st.floats(80, 99), st.floats(0.004, 0.02), st.sampled_from([held(), None]), st.floats(16, 26))
def test_the_unit_shown_changes_no_finding(start, rate, other, room):
    series = other or cooled(start, rate, room)
    runs = runs_of("Aster", [series, series], "m2", ambient=room, resolution=0.1)
    celsius = measurand_figures(HOLDING, runs)
    fahrenheit = measurand_figures(_in("°F", HOLDING), runs)
    for one, two in zip(celsius, fahrenheit, strict=True):
        assert (one.n, one.bound, one.value is None) == (two.n, two.bound, two.value is None)
        if one.value is None or one.figure in ("time until below", "time inside", "cooling rate"):
            assert two.value == (None if one.value is None else pytest.approx(one.value, abs=1e-6))
            continue
        apart = one.figure == "area outside"
        assert two.value == pytest.approx(convert(one.value, one.unit, two.unit, difference=apart), abs=1e-6)
        assert two.u == pytest.approx(convert(one.u, "°C", "°F", difference=True), abs=1e-6)


def test_every_figure_of_every_quantity_is_derived():
    measurands = tuple(
        Measurand(f"m{place}", kind.name, kind.id, kind.units[0] if kind.units else "", servings=2)
        for place, kind in enumerate(QUANTITIES.values(), start=1)
    )
    measurands = tuple(
        dataclasses.replace(one, low=60, high=90, threshold=65)
        if one.quantity == "temperature-series"
        else one
        for one in measurands
    )
    runs = []
    for one in measurands:
        entry = QUANTITIES[one.quantity].entry
        for product in ("Aster", "Birch"):
            values = [cooled(rate=0.02)] * 3 if entry == "series" else [1, 1, 1]
            more = {"answers": (3,) * 10} if entry == "usability" else {}
            runs += runs_of(product, values, one.key, resolution=0.5, ambient=22.0, **more)
    found = bench_figures(Bench(measurands=measurands), runs)
    expected = [
        (one.key, which, product)
        for one in measurands
        for which in QUANTITIES[one.quantity].figures
        for product in ("Aster", "Birch")
    ]
    assert [(one.measurand, one.figure, one.product) for one in found] == expected
    assert all(one.value is not None and math.isfinite(one.value) for one in found)


def test_runs_of_nothing_measured_are_refused():
    with pytest.raises(ValueError, match="measures no m9"):
        bench_figures(Bench(), [Run("1", "m9", "Aster", 1, 1.0)])
    assert product_figure(COOKING, "mean", runs_of("Aster", [60])).value == 1
