"""What a plan finds and misses, held against calculations that share no code with ours: sums written out with
`math.comb`, SciPy's distributions, statsmodels, numerical integrals of Thurstone's model, and simulation."""

from __future__ import annotations

from dataclasses import replace
from math import comb, sqrt

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import fisher_exact, friedmanchisquare, nct, norm, studentized_range
from statsmodels.stats.power import TTestPower

from panel.analysis.planning_measures import (
    Measure,
    distance_of,
    effective_people,
    measure_of,
    needed_for,
    people_for,
    size_in,
)
from panel.analysis.planning_outlook import outlook_of, smallest_found
from panel.study.circumstances import SIZES, Circumstances
from panel.study.plan import Layout, Plan, Question

KNOWN = Circumstances()
CHANCE = {"triangle": 1 / 3, "tetrad": 1 / 3, "duo-trio": 1 / 2, "2-AFC": 1 / 2, "two-out-of-five": 1 / 10}


def plan_of(method: str, people: int, samples: int = 2, **more: object) -> Plan:
    liking = (Question("q1", "How much do you like it?", "hedonic-9"),) if method == "rating" else ()
    primary = "q1" if liking else ""
    return Plan("t", "h", "q", method, samples, people, questions=liking, primary=primary, **more)  # type: ignore[arg-type]


def measured(plan: Plan, known: Circumstances = KNOWN) -> Measure:
    measure = measure_of(plan, known)
    assert measure is not None
    return measure


def tail(n: int, least: int, p: float) -> float:
    """P(at least so many of n), summed by hand."""
    return sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(least, n + 1))


def power_by_hand(n: int, chance: float, pd: float, alpha: float = 0.05) -> float:
    least = next((c for c in range(n + 1) if tail(n, c, chance) <= alpha), n + 1)
    return tail(n, least, chance + (1 - chance) * pd)


# ---- telling apart


@pytest.mark.parametrize("people", [8, 14, 24, 42])
@pytest.mark.parametrize("method", CHANCE)
def test_the_power_of_a_forced_choice_is_the_sum_written_out(method: str, people: int) -> None:
    measure = measured(plan_of(method, people))
    for pd in (0.1, 0.3, 0.5, 0.8):
        assert measure.power(people, pd) == pytest.approx(
            power_by_hand(people, CHANCE[method], pd), abs=1e-12
        )


@pytest.mark.parametrize(
    ("method", "notice", "lasting"),
    [
        # Lasting numbers for a power of 80 % at 5 %, shares of discriminators as given: recomputed by enumeration.
        ("triangle", 0.2, 94),
        ("triangle", 0.3, 42),
        ("triangle", 0.5, 16),
        ("two-out-of-five", 0.3, 17),
    ],
)
def test_the_people_needed_are_those_of_every_number_tried(method: str, notice: float, lasting: int) -> None:
    known = Circumstances(size=replace(SIZES["medium"], notice=notice))
    needed = needed_for(measured(plan_of(method, 24), known))
    assert needed is not None
    powers = [power_by_hand(n, CHANCE[method], notice) for n in range(1, 260)]
    enough = [power >= 0.8 for power in powers]
    assert needed.smallest == enough.index(True) + 1
    assert needed.lasting == len(enough) - enough[::-1].index(False) + 1 == lasting


def in_a_triangle(d: float) -> float:
    """Thurstone's triangle: Ennis (1993), The power of sensory discrimination methods, from memory."""
    a, b = sqrt(3), d * sqrt(2 / 3)
    return 2 * quad(lambda z: (norm.cdf(-z * a + b) + norm.cdf(-z * a - b)) * norm.pdf(z), 0, np.inf)[0]


def in_a_tetrad(d: float) -> float:
    """Thurstone's tetrad: Ennis, Ennis, Palen and O'Mahony (1998), from memory."""
    inner = quad(
        lambda x: norm.pdf(x) * (2 * norm.cdf(x) * norm.cdf(x - d) - norm.cdf(x - d) ** 2), -9, 9 + d
    )[0]
    return 1 - 2 * inner


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_a_size_means_the_same_distance_in_every_test(size) -> None:
    d = distance_of(size)
    assert (in_a_triangle(d) - 1 / 3) * 1.5 == pytest.approx(size.notice, abs=1e-7)
    assert size_in("tetrad", size) == pytest.approx((in_a_tetrad(d) - 1 / 3) * 1.5, abs=1e-7)
    assert size_in("2-AFC", size) == pytest.approx(2 * norm.cdf(d / sqrt(2)) - 1, abs=1e-9)


def test_what_14_people_could_miss_in_a_tetrad() -> None:
    outlook = outlook_of(plan_of("tetrad", 14), KNOWN)
    assert outlook is not None
    assert outlook.found is not None
    assert power_by_hand(14, 1 / 3, outlook.found) == pytest.approx(0.8, abs=1e-9)
    assert outlook.chance == pytest.approx(power_by_hand(14, 1 / 3, size_in("tetrad", SIZES["medium"])))
    assert "With 14 tasters, a difference that 56\u202f% of people taste is found" in outlook.answer[0]
    assert "To find it four times out of five, plan 15" in outlook.answer[2]


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        # ISO 4120:2004 Table A.1, as in FAO V7180E Appendix A: 24 assessors, 5 %: 13.
        pytest.param(plan_of("triangle", 24), "Of 24 answers, at least 13 right ones", id="FAO V7180E, n=24"),
        # The same table begins with 3 assessors.
        pytest.param(plan_of("triangle", 2), None, id="FAO V7180E, no number for n=2"),
        # Similarity, limit 30 %, beta 5 %: recomputed by enumeration, as below.
        pytest.param(plan_of("triangle", 60, similarity_limit=0.3), "at most 25 right ones", id="similarity"),
        pytest.param(
            plan_of("A-not-A", 5, replicates=4, with_reference=True), "10 answers about each", id="A-not-A"
        ),
    ],
)
def test_the_outlook_says_what_the_answers_must_come_to(plan: Plan, said: str | None) -> None:
    outlook = outlook_of(plan, KNOWN)
    assert outlook is not None
    told = [note for note in outlook.notes if "right ones" in note or "answers about" in note]
    assert [said in note for note in told if said] == [True] * (said is not None)
    assert len(told) == (said is not None)


def test_no_curve_is_called_half_as_many_that_is_not() -> None:
    """Of four people half could show nothing in a triangle: three are the fewest (FAO V7180E Appendix A)."""
    for people, label in ((4, "3, the fewest that can work"), (24, "12, half as many")):
        outlook = outlook_of(plan_of("triangle", people), KNOWN)
        assert outlook is not None
        assert label in outlook.missed.alt


# ---- as good


def passes_by_hand(n: int, pd: float, limit: float, beta: float = 0.05) -> tuple[int, float]:
    right = 1 / 3 + 2 / 3 * limit
    most = max((c for c in range(n + 1) if 1 - tail(n, c + 1, right) <= beta), default=-1)
    return most, 1 - tail(n, most + 1, 1 / 3 + 2 / 3 * pd)


@pytest.mark.parametrize(
    ("people", "most", "passing"),
    # Triangle, limit 30 %, beta 5 %: recomputed by enumeration.
    [(60, 25, 0.93), (30, 11, 0.72), (24, 8, 0.59), (12, 3, 0.39)],
)
def test_identical_samples_pass_as_often_as_the_sum_says(people: int, most: int, passing: float) -> None:
    measure = measured(plan_of("triangle", people, similarity_limit=0.3))
    allowed, chance = passes_by_hand(people, 0.0, 0.3)
    assert allowed == most
    assert measure.power(people, 0.0) == pytest.approx(chance, abs=1e-12)
    assert chance == pytest.approx(passing, abs=0.005)
    assert measure.power(people, 0.3) <= 0.05


def test_the_people_for_similarity_are_those_of_every_number_tried() -> None:
    needed = needed_for(measured(plan_of("triangle", 24, similarity_limit=0.3)))
    assert needed is not None
    enough = [passes_by_hand(n, 0.0, 0.3)[1] >= 0.8 for n in range(1, 160)]
    assert needed.smallest == enough.index(True) + 1
    assert needed.lasting == len(enough) - enough[::-1].index(False) + 1


# ---- preference


@pytest.mark.parametrize("people", [14, 24, 97])
def test_the_power_of_a_preference_is_the_sum_written_out(people: int) -> None:
    least = next(c for c in range(people + 2) if 2 * tail(people, c, 0.5) <= 0.05)
    measure = measured(plan_of("paired preference", people))
    for share in (0.6, 0.65, 0.75, 0.9):
        assert measure.power(people, share) == pytest.approx(tail(people, least, share), abs=1e-12)


# ---- liking


@pytest.mark.parametrize("people", [8, 24, 56])
def test_two_samples_rated_have_the_power_of_a_paired_t_test_in_statsmodels(people: int) -> None:
    spread = 0.23 * 8
    measure = measured(plan_of("rating", people))
    for gap in (0.5, 1.0, 1.5):
        theirs = TTestPower().power(gap / (spread * sqrt(2)), people, 0.05)
        assert measure.power(people, gap) == pytest.approx(theirs, abs=1e-9)


def test_several_samples_have_the_power_of_tukeys_method() -> None:
    """Noncentral t beyond SciPy's studentised range over √2; 24 tasters, 5 samples."""
    error, df = 0.23 * 8 * sqrt(2 / 24), 23 * 4
    critical = studentized_range.ppf(0.95, 5, df) / sqrt(2)
    measure = measured(plan_of("rating", 24, 5))
    for gap in (0.5, 1.0, 1.5):
        theirs = nct.sf(critical, df, gap / error) + nct.cdf(-critical, df, gap / error)
        assert measure.power(24, gap) == pytest.approx(theirs, rel=1e-5)
    needed = needed_for(measure)
    assert needed is not None
    assert measure.power(needed.lasting, 1.0) >= 0.8 > measure.power(needed.lasting - 1, 1.0)


def test_an_assumed_spread_scales_what_is_found() -> None:
    """Twice the spread, twice the difference: the noncentrality is their ratio."""
    plan = plan_of("rating", 24)
    found = [
        smallest_found(measured(plan, Circumstances(spread=spread)), 24, target=0.5)
        for spread in (0.115, 0.23)
    ]
    assert found[1] == pytest.approx(2 * found[0], rel=1e-6)  # type: ignore[operator]


def test_incomplete_blocks_count_for_fewer_people() -> None:
    """15 samples, 4 each: efficiency 15 · 3 / (4 · 14) = 0.804 (Cochran and Cox 1957), 4/15 of the servings."""
    plan = plan_of("rating", 60, 15, layout=Layout(per_taster=4))
    assert effective_people(plan, 60) == int(60 * 4 / 15 * 45 / 56) == 12
    assert effective_people(replace(plan, layout=Layout(per_taster=4, sittings=3)), 60) == 38
    people = people_for(plan, 12)
    assert effective_people(plan, people) >= 12 > effective_people(plan, people - 1)


# ---- ranking


def test_the_power_of_a_ranking_is_that_of_simulated_friedman_tests() -> None:
    """5 samples, 20 people, one put before another by 75 %: SciPy's Friedman test on 2000 panels, null ones beside."""
    draw, runs, n, k = np.random.default_rng(11), 2000, 20, 5
    ahead = np.array([0, 0, 0, 0, sqrt(2) * norm.ppf(0.75)])
    statistics = [
        [friedmanchisquare(*(draw.standard_normal((n, k)) + mean).T)[0] for _ in range(runs)]
        for mean in (np.zeros(k), ahead)
    ]
    theirs = np.mean(np.array(statistics[1]) > np.quantile(statistics[0], 0.95))
    ours = measured(plan_of("ranking", n, k)).power(n, 0.75)
    # both simulated: standard errors 0.011 and 0.016, and the edges' own; five of them together
    assert ours == pytest.approx(theirs, abs=0.1)


# ---- same or different, A or not


def test_the_power_of_a_not_a_is_every_fisher_test_weighed() -> None:
    d, half = 1.5, 10
    yes, no = norm.cdf(d / 2), norm.cdf(-d / 2)
    theirs = sum(
        comb(half, x) * yes**x * (1 - yes) ** (half - x) * comb(half, y) * no**y * (1 - no) ** (half - y)
        for x in range(half + 1)
        for y in range(half + 1)
        if fisher_exact([[x, half - x], [y, half - y]], "greater")[1] <= 0.05
    )
    plan = plan_of("A-not-A", 5, replicates=4, with_reference=True)
    assert measured(plan).power(5, d) == pytest.approx(theirs, abs=1e-9)


# ---- figures


@pytest.mark.parametrize(
    "plan",
    [
        plan_of("tetrad", 14),
        plan_of("triangle", 46, similarity_limit=0.3),
        plan_of("paired preference", 24),
        plan_of("rating", 14, 5),
        plan_of("ranking", 14, 5),
        plan_of("same-different", 14),
    ],
    ids=lambda plan: plan.method,
)
def test_every_figure_has_its_numbers_behind_it_and_in_words(plan: Plan) -> None:
    outlook = outlook_of(plan, KNOWN)
    assert outlook is not None
    for figure in (outlook.missed, outlook.crowd):
        assert figure.svg.startswith("<svg")
        assert figure.data is not None
        assert len(figure.data.rows) >= 8
        assert "%" in figure.alt
    planned = [row for row in outlook.fewer.rows if "as planned" in row[0]]
    assert len(planned) == 1
    assert any(row[0] == f"{plan.tasters}" for row in outlook.crowd.data.rows)  # type: ignore[union-attr]


def test_a_study_without_a_size_has_no_outlook() -> None:
    words = (Question("q1", "What is it like?", "yes-no"),)
    assert measure_of(Plan("t", "h", "q", "rating", 3, 20, questions=words, primary="q1"), KNOWN) is None
    sequential = Plan("t", "h", "q", "triangle", 2, 40, similarity_limit=0.3, sequential=True)
    assert outlook_of(sequential, KNOWN) is None
