"""The people, the drivers and the bench against published values; the source stands on every row."""

import math
from fractions import Fraction
from itertools import product

import numpy as np
import pandas as pd
import pytest

from stats import (
    bradley_terry,
    check_all,
    circular_triads,
    cooling,
    kendall_w,
    panel_consistency,
    penalty_analysis,
)
from stats.correspondence import correspondence
from stats.triad_counts import greatest_triads, triad_distribution, triads

ISO_8586 = "ISO 8586-1 Annex B / ISO 8586 Annex C, fish freshness, 6 samples x 4 assessors x 3 replicates"
# sample x assessor x replicate, as printed
FISH = [
    [[8, 8, 9], [5, 8, 9], [6, 7, 5], [9, 8, 8]],
    [[6, 8, 7], [6, 7, 4], [5, 4, 7], [7, 7, 6]],
    [[4, 5, 5], [5, 2, 3], [4, 3, 5], [5, 5, 5]],
    [[6, 6, 5], [6, 4, 6], [4, 2, 4], [6, 5, 5]],
    [[4, 5, 3], [3, 2, 4], [4, 4, 5], [4, 5, 4]],
    [[5, 6, 6], [4, 2, 7], [5, 4, 6], [7, 5, 7]],
]


@pytest.fixture(scope="module")
def fish():
    rows = [
        {
            "taster": f"assessor {a + 1}",
            "sample": f"sample {s + 1}",
            "replicate": r + 1,
            "score": FISH[s][a][r],
        }
        for s, a, r in product(range(6), range(4), range(3))
    ]
    return panel_consistency(pd.DataFrame(rows))


@pytest.mark.parametrize(
    ("assessor", "printed_f", "f", "p", "sd", "source"),
    [
        pytest.param(1, 13.36, 13.36, 0.0001482907439, 0.7453559925, ISO_8586, id="assessor 1"),
        pytest.param(2, 2.66, 2.660377358, 0.07657100531, 1.715938357, ISO_8586, id="assessor 2"),
        pytest.param(3, 2.40, 2.4, 0.09939265403, 1.08012345, ISO_8586, id="assessor 3"),
        pytest.param(4, 13.8, 13.8, 0.000126475795, 0.6666666667, ISO_8586 + ", recomputed", id="assessor 4"),
    ],
)
def test_discrimination_and_repeatability_of_the_standards_example(
    fish, assessor, printed_f, f, p, sd, source
):
    row = fish.tasters[assessor - 1]
    assert round(row.discrimination_f, 2) == printed_f, source
    assert row.discrimination_f == pytest.approx(f, rel=1e-9)
    assert row.discrimination_p == pytest.approx(p, rel=1e-9)
    assert row.repeatability_sd == pytest.approx(sd, rel=1e-9)
    assert (row.discrimination_df_num, row.discrimination_df_den) == (5, 12)


def test_the_panels_f_is_over_the_interaction_in_the_standards_example(fish):
    # ISO 8586 example, recomputed: MS samples 20.98 over MS interaction 1.0694 on 5 and 15 degrees of freedom.
    assert fish.panel.f == pytest.approx(19.61818182, rel=1e-9)
    assert fish.panel.p_value == pytest.approx(4.24489244e-06, rel=1e-8)
    assert (fish.panel.df_num, fish.panel.df_den) == (5, 15)


def long(table):
    cells = [(f"t{i:02d}", f"s{j:02d}", float(v)) for i, row in enumerate(table) for j, v in enumerate(row)]
    return pd.DataFrame(cells, columns=["taster", "sample", "score"])


SHROUT_FLEISS = "Shrout & Fleiss 1979, Psychol. Bull. 86:420-428, table 2 data and table 4 (from memory)"


@pytest.mark.parametrize(
    ("field", "value", "source"),
    [
        pytest.param("icc_single", 0.29, SHROUT_FLEISS, id="ICC(2,1)"),
        pytest.param("icc_average", 0.62, SHROUT_FLEISS, id="ICC(2,4)"),
        pytest.param("cronbach", 0.91, SHROUT_FLEISS, id="ICC(3,4)"),
    ],
)
def test_intraclass_correlations_of_the_paper_that_named_them(field, value, source):
    # Six targets by four judges; judges are tasters here, targets samples.
    targets = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    found = panel_consistency(long(np.array(targets).T))
    assert round(getattr(found, field), 2) == value, source


def test_kendalls_w_with_ties_agrees_with_zar():
    # Zar, Biostatistical Analysis 5e, Example 20.5: three variables of twelve birds, W corrected for ties.
    ranks = [
        [4.0, 8.5, 10.0, 1.5, 3.0, 1.5, 7.0, 5.0, 8.5, 11.0, 6.0, 12.0],
        [5.0, 7.0, 11.0, 2.5, 5.0, 1.0, 5.0, 2.5, 9.5, 8.0, 9.5, 12.0],
        [5.5, 5.5, 9.5, 2.0, 3.0, 1.0, 8.0, 4.0, 11.0, 9.5, 7.0, 12.0],
    ]
    assert panel_consistency(long(ranks)).kendall_w == pytest.approx(0.9241352201, rel=1e-9)
    assert kendall_w(long(ranks)).w == pytest.approx(0.9241352201, rel=1e-9)


SHESKIN = [
    *([0, 1, 0], [1, 1, 0], [1, 1, 1], [0, 0, 0], [1, 0, 0], [0, 1, 1]),
    *([0, 0, 0], [1, 1, 0], [0, 1, 0], [1, 1, 1], [0, 1, 0], [1, 1, 0]),
]


def test_cochrans_q_agrees_with_sheskin():
    # Sheskin 2011, ch. 26: 12 subjects, 3 conditions; Q = 6.75, df 2. The exact p is recomputed.
    found = check_all(long(SHESKIN))
    assert found.cochran_q == pytest.approx(6.75, rel=1e-12)
    assert found.df == 2
    assert found.p_value == pytest.approx(0.03421811831, rel=1e-9)
    assert found.terms[0].p_permutation == pytest.approx(0.03566529492, rel=1e-9)


GREENACRE = (
    "Greenacre, Correspondence Analysis in Practice, smoking data (5 staff groups x 4 levels, from memory)"
)
SMOKE = [[4, 2, 3, 2], [4, 3, 7, 4], [25, 10, 12, 4], [18, 24, 33, 13], [10, 6, 7, 2]]


@pytest.mark.parametrize(
    ("dimension", "inertia", "share", "source"),
    [
        pytest.param(0, 0.074759, 87.8, GREENACRE, id="dimension 1"),
        pytest.param(1, 0.010017, 11.8, GREENACRE, id="dimension 2"),
        pytest.param(2, 0.000414, 0.5, GREENACRE, id="dimension 3"),
    ],
)
def test_the_correspondence_map_agrees_with_greenacre(dimension, inertia, share, source):
    found = correspondence(np.array(SMOKE, dtype=float), list("abcde"), list("wxyz"))
    assert round(found.inertia[dimension], 6) == inertia, source
    assert round(100 * found.explained[dimension], 1) == share


KENDALL = "Kendall & Babington Smith 1940, Biometrika 31:324-345, recomputed by full enumeration"
TRIADS = {
    3: ["0.75", "0.25"],
    4: ["0.375", "0.25", "0.375"],
    5: ["0.1171875", "0.1171875", "0.234375", "0.234375", "0.2734375", "0.0234375"],
    6: [
        *("0.02197265625", "0.029296875", "0.068359375", "0.087890625", "0.1904296875"),
        *("0.111328125", "0.263671875", "0.146484375", "0.08056640625"),
    ],
}


@pytest.mark.parametrize(
    ("n", "printed", "source"), [pytest.param(n, p, KENDALL, id=f"{n} samples") for n, p in TRIADS.items()]
)
def test_circular_triads_have_the_published_distribution(n, printed, source):
    assert list(triad_distribution(n).values()) == [float(one) for one in printed], source


@pytest.mark.parametrize("n", [3, 4, 5])
def test_circular_triads_agree_with_plain_enumeration(n):
    pairs = [(a, b) for a in range(n) for b in range(a)]
    found = {}
    for outcome in product([0, 1], repeat=len(pairs)):
        wins = [0] * n
        for (a, b), first in zip(pairs, outcome, strict=True):
            wins[a if first else b] += 1
        d = triads(tuple(wins))
        found[d] = found.get(d, Fraction(0)) + Fraction(1, 2 ** len(pairs))
    assert {d: Fraction(p) for d, p in triad_distribution(n).items()} == found
    assert max(found) == greatest_triads(n)


# Agresti, Categorical Data Analysis, American League East 1987: row beat column so often (from memory).
BASEBALL = [
    [0, 7, 9, 7, 7, 9, 11],
    [6, 0, 7, 5, 11, 9, 9],
    [4, 6, 0, 7, 7, 8, 12],
    [6, 8, 6, 0, 6, 7, 10],
    [6, 2, 6, 7, 0, 7, 12],
    [4, 4, 5, 6, 6, 0, 6],
    [2, 4, 1, 3, 1, 7, 0],
]
AGRESTI = (
    "Agresti, Categorical Data Analysis (2nd ed. 2002), section 10.6, home advantage ignored (from memory)"
)


@pytest.mark.parametrize(
    ("team", "estimate", "error", "source"),
    [
        pytest.param(0, 1.5814, 0.3433, AGRESTI, id="team 1"),
        pytest.param(1, 1.4364, 0.3396, AGRESTI, id="team 2"),
        pytest.param(2, 1.2945, 0.3367, AGRESTI, id="team 3"),
        pytest.param(3, 1.2476, 0.3359, AGRESTI, id="team 4"),
        pytest.param(4, 1.1077, 0.3339, AGRESTI, id="team 5"),
        pytest.param(5, 0.6839, 0.3319, AGRESTI, id="team 6"),
    ],
)
def test_bradley_terry_agrees_with_agrestis_baseball(team, estimate, error, source):
    rows = [(f"team {a}", f"team {b}") for a in range(7) for b in range(7) for _ in range(BASEBALL[a][b])]
    found = bradley_terry(pd.DataFrame(rows, columns=["winner", "loser"]))
    pair = next(one for one in found.pairs if (one.sample_a, one.sample_b) == (f"team {team}", "team 6"))
    assert pair.difference.estimate == pytest.approx(estimate, abs=5e-5), source
    assert (pair.difference.high - pair.difference.estimate) / 1.959964 == pytest.approx(error, abs=5e-5)
    assert (round(found.fit_statistic, 2), found.fit_df) == (15.74, 15)


JAR = "constructed, recomputed exactly: no published example with full data was found"
JAR_POINTS = [1] * 6 + [2] * 14 + [3] * 52 + [4] * 18 + [5] * 10
JAR_LIKING = [
    *(3, 4, 4, 5, 3, 5, 5, 6, 5, 6, 4, 6, 7, 5, 6, 5, 6, 5, 4, 6),
    *([7] * 20 + [8] * 18 + [6] * 10 + [9] * 4),
    *(6, 5, 7, 6, 5, 6, 6, 7, 5, 6, 4, 6, 7, 5, 6, 6, 5, 7, 4, 5, 3, 5, 4, 6, 4, 5, 3, 5),
]


@pytest.mark.parametrize(
    ("side", "n", "mean", "drop", "weighted", "t", "p", "welch", "df", "source"),
    [
        pytest.param(
            *("low", 20, 5.0, 2.307692308, 0.4615384615, 9.38942006, 5.128800823e-14),
            *(8.562902556, 29.19758733, JAR),
            id="too little",
        ),
        pytest.param(
            *("high", 28, 5.321428571, 1.986263736, 0.5561538462, 8.748057761, 3.327170385e-13),
            *(8.119032296, 44.97683463, JAR),
            id="too much",
        ),
    ],
)
def test_penalties_agree_with_the_worked_example(side, n, mean, drop, weighted, t, p, welch, df, source):
    found = getattr(penalty_analysis(JAR_LIKING, JAR_POINTS), side)
    assert (found.n, found.share) == (n, n / 100), source
    assert found.mean == pytest.approx(mean, rel=1e-9)
    assert found.mean_drop == pytest.approx(drop, rel=1e-9)
    assert found.weighted_drop == pytest.approx(weighted, rel=1e-9)
    assert (found.pooled.t, found.pooled.p_value) == pytest.approx((t, p), rel=1e-8)
    assert (found.welch.t, found.welch.df) == pytest.approx((welch, df), rel=1e-8)


def test_the_whole_penalty_and_its_anova_agree_with_the_worked_example():
    found = penalty_analysis(JAR_LIKING, JAR_POINTS)
    assert found.overall_penalty == pytest.approx(2.120192308, rel=1e-9), JAR
    assert found.anova.f == pytest.approx(57.78475366, rel=1e-9)
    assert found.anova.p_value == pytest.approx(2.98285583e-17, rel=1e-8)


# NIST Statistical Reference Datasets, nonlinear regression: y = b1 (1 - exp(-b2 x)), which is Newton's law
# from a known start of 0 towards an ambient of b1. Data and certified values from memory.
MISRA1A = (
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0],
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78],
)
BOXBOD = ([1, 2, 3, 5, 7, 10], [109, 149, 149, 191, 213, 224])


@pytest.mark.parametrize(
    ("data", "ambient", "ambient_se", "rate", "rate_se", "residual_sd", "source"),
    [
        pytest.param(
            *(MISRA1A, 2.3894212918e2, 2.7070075241, 5.5015643181e-4, 7.2668688436e-6, 1.0187876330e-1),
            "NIST StRD Misra1a (lower difficulty)",
            id="Misra1a",
        ),
        pytest.param(
            *(BOXBOD, 2.1380940889e2, 1.2354515176e1, 5.4723748542e-1, 1.0455993237e-1, 1.7088072423e1),
            "NIST StRD BoxBOD (higher difficulty)",
            id="BoxBOD",
        ),
    ],
)
def test_the_fit_reaches_the_certified_values(data, ambient, ambient_se, rate, rate_se, residual_sd, source):
    found = cooling(*data, start=0.0)
    got = (found.ambient, found.ambient_se, found.rate, found.rate_se, found.residual_sd)
    assert got == pytest.approx((ambient, ambient_se, rate, rate_se, residual_sd), rel=1e-7), source


def test_a_perfectly_consistent_taster_of_six_samples_has_the_least_chance_there_is():
    # Kendall & Babington Smith 1940: 6! / 2^15 orders without any circular triad.
    rows = [("t", f"s{a}", f"s{b}") for a in range(6) for b in range(a)]
    found = circular_triads(pd.DataFrame(rows, columns=["taster", "winner", "loser"])).tasters[0]
    assert (found.triads, found.zeta) == (0, 1.0)
    assert found.p_value == math.factorial(6) / 2**15
