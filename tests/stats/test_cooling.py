"""Newton's law of cooling: the fit, its errors, a heater, and series that say nothing."""

import json
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from stats import cooling, time_in_window

MINUTES = np.arange(0, 121, 5.0)


def series(rate=0.012, start=92.0, ambient=22.0, noise=0.3, seed=0, minutes=MINUTES):
    rng = np.random.default_rng(seed)
    return ambient + (start - ambient) * np.exp(-rate * minutes) + rng.normal(size=len(minutes)) * noise


def newton(t, start, rate, ambient):
    return ambient + (start - ambient) * np.exp(-rate * t)


@pytest.mark.parametrize("seed", range(3))
def test_values_and_errors_agree_with_scipys_curve_fit(seed):
    y = series(seed=seed)
    values, covariance = curve_fit(newton, MINUTES, y, p0=[90, 0.01, 20], xtol=1e-14, ftol=1e-14)
    found = cooling(MINUTES, y)
    assert (found.start, found.rate, found.ambient) == pytest.approx(tuple(values), rel=1e-6)
    errors = tuple(np.sqrt(np.diag(covariance)))
    assert (found.start_se, found.rate_se, found.ambient_se) == pytest.approx(errors, rel=1e-4)


def test_half_life_and_its_error_follow_from_the_rate():
    found = cooling(MINUTES, series(), 22.0)
    assert found.half_life == pytest.approx(math.log(2) / found.rate)
    assert found.half_life_se == pytest.approx(math.log(2) / found.rate**2 * found.rate_se)
    assert (found.ambient, found.ambient_se, found.ambient_given) == (22.0, 0.0, True)


@given(
    rate=st.floats(0.005, 0.2), start=st.floats(50, 100), ambient=st.floats(0, 30), part=st.floats(0.05, 0.95)
)
def test_without_noise_the_law_comes_back_and_time_to_inverts_temperature_at(rate, start, ambient, part):
    minutes = np.linspace(0, 3 / rate, 12)
    found = cooling(minutes, newton(minutes, start, rate, ambient))
    assert (found.rate, found.ambient, found.start) == pytest.approx(
        (rate, ambient, start), rel=1e-5, abs=1e-5
    )
    target = ambient + part * (start - ambient)
    assert found.temperature_at(found.time_to(target)) == pytest.approx(target, abs=1e-6)
    assert not found.heater


@given(factor=st.floats(0.5, 3), shift=st.floats(-50, 50), stretch=st.floats(0.1, 10))
def test_units_of_temperature_and_time_only_rescale(factor, shift, stretch):
    y = series()
    assume(abs(factor) > 0)
    a, b = cooling(MINUTES, y), cooling(MINUTES * stretch, y * factor + shift)
    assert b.rate == pytest.approx(a.rate / stretch, rel=1e-5)
    assert b.half_life_se == pytest.approx(a.half_life_se * stretch, rel=1e-4)
    assert b.ambient == pytest.approx(a.ambient * factor + shift, rel=1e-4, abs=1e-3)


def test_the_delta_method_error_of_time_to_agrees_with_numerical_slopes():
    found = cooling(MINUTES, series(seed=2))
    theta = np.array([found.start, found.rate, found.ambient])

    def time_to(values):
        return math.log((values[0] - values[2]) / (60 - values[2])) / values[1]

    steps = np.diag(theta * 1e-6)
    slope = np.array([(time_to(theta + s) - time_to(theta - s)) / (2 * s.sum()) for s in steps])
    wanted = math.sqrt(slope @ np.array(found.covariance) @ slope)
    assert found.time_to_interval(60).standard_error == pytest.approx(wanted, rel=1e-6)


def test_intervals_of_half_life_and_time_cover_about_their_nominal_rate():
    half = time = 0
    for seed in range(300):
        found = cooling(MINUTES[::2], series(seed=seed, noise=0.8, minutes=MINUTES[::2]), 22.0)
        half += found.half_life_interval.low <= math.log(2) / 0.012 <= found.half_life_interval.high
        interval = found.time_to_interval(60).interval
        time += interval.low <= math.log(70 / 38) / 0.012 <= interval.high
    assert 0.92 <= half / 300 <= 0.98
    assert 0.92 <= time / 300 <= 0.98


def test_a_sample_that_warms_up_is_described_by_the_same_law():
    found = cooling(MINUTES, series(start=4.0), 22.0)
    assert found.rate == pytest.approx(0.012, rel=0.05)
    assert found.time_to(15.0) > 0
    assert not found.heater


def test_a_thermostat_that_switches_is_noticed_as_a_heater():
    y = np.where(MINUTES < 30, series(), 70 + 2.5 * np.sin(MINUTES / 7))
    found = cooling(MINUTES, y)
    assert "rises again" in found.heater
    assert "does not describe this series" in found.sentence()


def test_a_plateau_above_the_measured_ambient_is_noticed_as_a_heater():
    y = series(rate=0.05, ambient=66.0)
    assert "levels off near 66" in cooling(MINUTES, y, 22.0).heater
    assert not cooling(MINUTES, y).heater


@pytest.mark.parametrize("seed", range(25))
def test_plain_cooling_with_noise_is_not_taken_for_a_heater(seed):
    assert not cooling(MINUTES, series(seed=seed, noise=1.0), 22.0).heater
    assert not cooling(MINUTES, series(seed=seed, noise=1.0)).heater


def test_one_odd_reading_is_not_taken_for_a_heater():
    y = series()
    y[10] += 12
    assert not cooling(MINUTES, y).heater


def test_missing_readings_are_left_out_and_said():
    y = [float(one) for one in series()]
    gone = [None if i in (3, 4) else one for i, one in enumerate(y)]
    found = cooling(MINUTES, gone)
    assert found.n == len(y) - 2
    assert "2 of 25 readings are missing" in found.notes[0]
    json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: cooling([0, 1, 2], [90, 80]), "have 3 and 2 entries"),
        (lambda: cooling([0, 1, 2], [90, 80, 72]), "3 different times are too few to fit 3 values"),
        (lambda: cooling([0, 5, 10, 15], [70, 70, 70, 70]), "temperature stays at 70.0: nothing cools"),
        (lambda: cooling([0, 5, 10, 15], [70, 72, 74, 77], 20), "do not move towards the ambient of 20.0"),
        (lambda: cooling([0, 1, 2, 3, 4], [70, 69, 68, 67, 66]), "do not bend enough"),
        (
            lambda: cooling([0, 1, 2, 3], [70, 60, math.inf, 50]),
            "temperature must hold finite numbers, but entry 3",
        ),
        (lambda: cooling([0, 1, 2, 3], [70, 60, 55, 50], math.nan), "ambient must be a finite number"),
        (lambda: cooling([0, 1, 2, 3], ["hot", 60, 55, 50]), "temperature must hold numbers"),
    ],
    ids=["lengths", "too few", "constant", "rising", "straight", "infinite", "ambient", "text"],
)
def test_a_series_that_cannot_be_fitted_is_refused_with_the_reason(call, match):
    with pytest.raises(ValueError, match=match):
        call()


@pytest.mark.parametrize(
    ("temperature", "match"), [(10.0, "never reached"), (95.0, "before the start"), (22.0, "never reached")]
)
def test_a_temperature_off_the_curve_is_refused(temperature, match):
    with pytest.raises(ValueError, match=match):
        cooling(MINUTES, series(), 22.0).time_to(temperature)


def test_time_in_a_window_follows_the_lines_between_readings():
    found = time_in_window([0, 10, 20], [90, 70, 50], 60, 80)
    assert (found.inside, found.below, found.above, found.total) == (10, 5, 5, 20)
    assert (found.below_area, found.above_area) == (25, 25)
    assert "for 10.0 of 20.0 minutes" in found.sentence()


@given(st.lists(st.floats(0, 100), min_size=2, max_size=12), st.floats(5, 60), st.floats(1, 35))
def test_times_inside_below_and_above_make_up_the_whole(temperatures, low, width):
    found = time_in_window(range(len(temperatures)), temperatures, low, low + width)
    assert found.inside + found.below + found.above == pytest.approx(len(temperatures) - 1)
    assert min(found.inside, found.below, found.above, found.below_area, found.above_area) >= 0


def test_a_window_without_width_and_a_series_without_time_are_refused():
    with pytest.raises(ValueError, match="low must be below high"):
        time_in_window([0, 1], [50, 60], 70, 60)
    with pytest.raises(ValueError, match="at least two are needed"):
        time_in_window([0], [50], 40, 60)
    with pytest.raises(ValueError, match="two readings at 1"):
        time_in_window([0, 1, 1], [50, 51, 52], 40, 60)
