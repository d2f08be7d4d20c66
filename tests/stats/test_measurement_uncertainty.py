"""Uncertainty of measurement: rounding, limits, and what cannot be said."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from stats import combined_uncertainty, coverage_factor, measurement_uncertainty, rounded_to_uncertainty
from stats.measurement_uncertainty import Contribution, from_limits, from_resolution, type_a

readings = st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=12).filter(lambda x: np.ptp(x) > 1e-3)


@given(readings, st.floats(0.8, 0.999))
def test_without_an_instrument_it_is_the_t_interval_of_the_mean(values, confidence):
    found = measurement_uncertainty(values, confidence=confidence)
    low, high = scipy_stats.t.interval(confidence, len(values) - 1, np.mean(values), scipy_stats.sem(values))
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-6, abs=1e-6)
    assert "type A only" in found.notes[-1]


@given(readings, st.floats(1e-3, 10), st.floats(1e-3, 10), st.floats(0.01, 100))
def test_units_only_rescale(values, step, limits, factor):
    one = measurement_uncertainty(values, resolution=step, limits=limits)
    other = measurement_uncertainty(
        [x * factor for x in values], resolution=step * factor, limits=limits * factor
    )
    assert other.u == pytest.approx(one.u * factor, rel=1e-6)
    assert other.df == pytest.approx(one.df, rel=1e-5)


@given(readings, st.floats(1e-3, 10))
def test_a_rougher_instrument_never_makes_it_more_certain(values, step):
    plain = measurement_uncertainty(values)
    rough = measurement_uncertainty(values, resolution=step)
    assert rough.u >= plain.u
    assert rough.df >= plain.df * (1 - 1e-9)


def test_the_parts_add_as_squares():
    found = measurement_uncertainty([10, 12, 14], resolution=1, limits=2)
    assert found.u**2 == pytest.approx(4 / 3 + 1 / 12 + 4 / 3)
    assert [one.kind for one in found.contributions] == ["A", "B", "B"]
    assert json.loads(json.dumps(found.to_dict()))["value"] == 12


def test_the_interval_covers_about_its_nominal_rate():
    rng, hit = np.random.default_rng(3), 0
    for _ in range(600):
        bias = rng.uniform(-1, 1)
        found = measurement_uncertainty(list(5 + bias + rng.normal(size=4)), limits=1)
        hit += found.low <= 5 <= found.high
    # More than asked, since t with few degrees of freedom is wide; 3 standard errors of 600 are 0.027.
    assert 0.92 <= hit / 600 <= 1


def test_one_run_says_that_its_scatter_is_unknown():
    found = measurement_uncertainty([63.0], resolution=0.5)
    assert (found.u, found.df) == (pytest.approx(0.5 / math.sqrt(12)), math.inf)
    assert found.coverage_factor == pytest.approx(1.959964, abs=1e-6)
    assert "one value only" in found.notes[0]
    with pytest.raises(ValueError, match="says nothing of its uncertainty"):
        measurement_uncertainty([63.0])


@pytest.mark.parametrize(
    ("value", "u", "digits", "written"),
    [
        (12.3456, 0.0996, 2, ("12.35", "0.10")),
        (1234.5, 560, 2, ("1230", "560")),
        (1234.5, 98.7, 1, ("1200", "100")),
        (-0.001, 0.3, 2, ("0.00", "0.30")),
        (2.5, 1, 1, ("3", "1")),
        (0.00012345, 0.0000067, 2, ("0.0001235", "0.0000067")),
    ],
)
def test_value_and_uncertainty_end_at_the_same_place(value, u, digits, written):
    assert rounded_to_uncertainty(value, u, digits) == written


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6), st.integers(1, 3))
def test_rounding_moves_neither_by_more_than_half_its_last_place(value, u, digits):
    text, half = rounded_to_uncertainty(value, u, digits)
    place = 10.0 ** (math.floor(math.log10(u)) - digits + 1)
    assert abs(float(half) - u) <= place * 5.01
    assert abs(float(text) - value) <= place * 5.01 + abs(value) * 1e-15
    assert len(half.replace(".", "").lstrip("0").rstrip("0") or "1") <= digits


def test_the_factor_falls_to_the_normals_as_degrees_grow():
    factors = [coverage_factor(df) for df in (1, 2, 5, 30, 1e6, math.inf)]
    assert factors == sorted(factors, reverse=True)
    assert factors[0] == pytest.approx(12.7062, abs=1e-4)
    assert factors[-1] == pytest.approx(1.95996, abs=1e-5)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: type_a([1]), "at least two"),
        (lambda: from_resolution(0), "above 0"),
        (lambda: from_limits(-1), "above 0"),
        (lambda: from_limits(1, doubt=1), "doubt"),
        (lambda: combined_uncertainty(1, []), "at least one"),
        (lambda: combined_uncertainty(1, [Contribution("x", -1)]), "'x' has u -1"),
        (lambda: combined_uncertainty(1, [Contribution("x", 1)], confidence=1), "confidence"),
        (
            lambda: combined_uncertainty(1, [Contribution("x", 1)] * 2, correlation=[[1, 2], [2, 1]]),
            "cannot hold",
        ),
        (lambda: combined_uncertainty(1, [Contribution("x", 1)], correlation=[[2]]), "ones on its diagonal"),
        (lambda: measurement_uncertainty([]), "there is none"),
        (lambda: measurement_uncertainty([1, math.nan]), "finite"),
        (lambda: rounded_to_uncertainty(1, 0), "above 0"),
    ],
)
def test_rubbish_is_refused_in_words(call, said):
    with pytest.raises(ValueError, match=said):
        call()
