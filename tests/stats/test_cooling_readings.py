"""What a series says without a law: values between readings, one ambient, time until below."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stats import cooling, on_one_ambient, time_in_window, time_until_below, value_at

MINUTES = np.arange(0, 121, 5.0)


def newton(t, start=92.0, rate=0.012, ambient=22.0):
    return ambient + (start - ambient) * np.exp(-rate * t)


def test_values_between_readings_lie_on_the_line_and_none_outside():
    assert value_at([0, 10, 30], [90, 80, 70], 20) == 75
    assert value_at([0, 10, 30], [90, 80, 70], 30) == 70
    assert value_at([5, 10], [90, 80], 4) is None
    assert value_at([5, 10], [90, None], 8) is None


@given(
    st.floats(15, 30),
    st.floats(15, 30),
    st.floats(0.004, 0.03),
    st.sampled_from([0.0, 5.0, 10.0]),
    st.floats(60, 98),
)
def test_one_ambient_undoes_the_room_where_the_law_holds(room, reference, rate, start_minutes, hot):
    minutes = np.arange(0, 121, 5.0)
    measured = newton(minutes, hot, rate, room)
    moved = on_one_ambient(minutes, measured, room, reference, start_minutes=start_minutes)
    start = value_at(minutes, measured, start_minutes)
    expected = newton(minutes - start_minutes, start, rate, reference)
    assert moved == pytest.approx(expected, abs=1e-9)
    assert value_at(minutes, moved, start_minutes) == pytest.approx(start)
    assert on_one_ambient(minutes, measured, room, room, start_minutes=start_minutes) == pytest.approx(
        measured
    )


@pytest.mark.parametrize("threshold", [85.0, 70.0, 60.0, 50.0])
def test_time_until_below_is_that_of_the_law(threshold):
    found = time_until_below(MINUTES, newton(MINUTES), threshold, ambient=22.0)
    exact = math.log(70 / (threshold - 22)) / 0.012
    assert found.minutes == pytest.approx(exact, abs=0.1)  # the chord of five minutes
    assert (found.reached, found.returns) == (True, False)


def test_its_interval_covers_about_its_nominal_rate():
    exact, hit = math.log(70 / 38) / 0.012, 0
    for seed in range(200):
        y = newton(MINUTES) + 0.1 * np.random.default_rng(seed).normal(size=len(MINUTES))
        fit = cooling(MINUTES, y, 22.0)
        found = time_until_below(MINUTES, y, 60, ambient=22.0)
        assert found.standard_error == pytest.approx(fit.time_to_interval(60).standard_error)
        hit += fit.time_to_interval(60).interval.low <= exact <= fit.time_to_interval(60).interval.high
    assert hit / 200 > 0.89  # four standard errors below 95 %


def test_never_below_is_a_lower_bound_and_begins_below_is_nothing():
    found = time_until_below(MINUTES, newton(MINUTES), 20)
    assert (found.minutes, found.reached) == (120, False)
    assert "lower bound" in found.notes[0]
    begun = time_until_below([0, 10, 20], [50, 70, 65], 60)
    assert (begun.minutes, begun.reached, begun.returns) == (0, True, True)


def test_a_heater_takes_the_interval_away_and_says_so():
    y = np.where(MINUTES < 30, newton(MINUTES), 66 + 3 * np.sin(MINUTES / 7))
    found = time_until_below(MINUTES, y, 65, ambient=22.0)
    assert found.reached
    assert found.returns
    assert found.interval is None
    assert "no interval" in found.notes[0]


@given(st.floats(61, 90))
def test_time_until_below_is_where_time_above_ends(threshold):
    y = newton(MINUTES)
    window = time_in_window(MINUTES, y, threshold, 1000)
    assert time_until_below(MINUTES, y, threshold).minutes == pytest.approx(window.inside, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: value_at([1, 1], [2, 3], 1), "two readings"),
        (lambda: time_until_below([1], [2], 1), "at least two"),
        (lambda: on_one_ambient([10, 20], [80, 70], 22, 20), "around the start"),
        (lambda: on_one_ambient([0, 20], [22, 22], 22, 20), "nothing cools"),
    ],
)
def test_rubbish_is_refused_in_words(call, said):
    with pytest.raises(ValueError, match=said):
        call()
