"""How large a difference is, for each family of tests, and the chance that so many people show it.

One `Measure` for each family: its sizes (shares of people, scale points, d′), their words, and the power behind
them. What a page asks of a plan ("what could I miss?", "how many do I need?") is asked of its measure.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import stats
from panel.study.questions import span_of
from panel.study.test_methods import method_of
from stats.comparisons_range import range_quantile
from stats.phrasing import percent, significant

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.study.circumstances import Circumstances, Size
    from panel.study.plan import Plan

ALL_ALIKE = 0.5  # the share who put one sample before another when they are alike
SIMULATIONS = 1000
MOST_SIMULATED = 400
MOST_RATERS = 100_000
MOST_OF_A_KIND = 300  # answers whose power is enumerated; more find no less
POWER = 0.8
REACHES = (30, 60, 120, 240)  # people up to whom panels are simulated at once; more find no less


@dataclass(frozen=True, slots=True)
class Needed:
    """How many people: the least number that meets the target, and that from which every larger one does."""

    smallest: int
    lasting: int


@dataclass(frozen=True, slots=True)
class Measure:
    """How a family of tests sizes a difference.

    axis : what a size is, for a figure; shares : sizes are shares 0..1; unit : of sizes that are none, "" for d′
    sizes : true sizes of a curve, ascending; planned : the size that matters
    power : of (people, size), the chance 0..1 to show it
    words : a size as a noun, "a difference of 1 point"; needed : of (size, power)
    people : at least so many make a test at all; notes : assumptions, as sentences
    simulated : whether power is known at `sizes` only, and read off between them
    coarse : whether a figure of people takes a few numbers of them only, since each takes time
    steady : whether power never falls when people are added; similar : whether being alike is what is to be shown
    """

    axis: str
    shares: bool
    sizes: tuple[float, ...]
    planned: float
    power: Callable[[int, float], float]
    words: Callable[[float], str]
    needed: Callable[[float, float], Needed]
    people: int
    notes: tuple[str, ...]
    unit: str = ""
    simulated: bool = False
    coarse: bool = False
    steady: bool = False
    similar: bool = False


def measure_of(plan: Plan, known: Circumstances) -> Measure | None:
    """The measure of this plan; None where its verdict rests on nothing that has a size."""
    kind = method_of(plan.method).analysis
    if plan.sequential:
        return None  # its number of tasters is not fixed; `planning_sequential` says where it stops
    if kind == "forced choice" and plan.similarity_limit is not None:
        return _similarity(plan, plan.similarity_limit)
    return _FAMILIES[kind](plan, known)


def needed_for(measure: Measure) -> Needed | None:
    """People for the difference that matters at a power of 80 %; None where no reasonable number does."""
    try:
        return measure.needed(measure.planned, POWER)
    except ValueError:
        return None


def effective_people(plan: Plan, people: int) -> int:
    """People who would compare two samples as precisely if all took all: replications times efficiency factor.

    Of a balanced incomplete block plan, t (k - 1) / (k (t - 1)): Cochran and Cox (1957), chapter 11.
    """
    taken, samples = plan.layout.per_taster, plan.samples
    if taken is None or taken >= samples:
        return people
    efficiency = samples * (taken - 1) / (taken * (samples - 1))
    return int(people * plan.layout.sittings * taken / samples * efficiency + 1e-9)


def people_for(plan: Plan, effective: int) -> int:
    """The fewest people who are worth so many that take everything."""
    people = effective * effective // max(1, effective_people(plan, effective))
    while people > effective and effective_people(plan, people - 1) >= effective:
        people -= 1
    while effective_people(plan, people) < effective:
        people += 1
    return people


def size_in(method: str, size: Size) -> float:
    """Discriminators in this test of the difference that a share `size.notice` would notice in a triangle.

    By Thurstone's model, where the method has one: the same d′ is noticed more often in some tests than in others.
    """
    if method == "two-out-of-five":
        return size.notice
    chance = stats.guess_probability(method)
    right = float(stats.percent_correct(method, distance_of(size)))
    return float((right - chance) / (1 - chance))


def distance_of(size: Size) -> float:
    """d′ of the difference that a share `size.notice` would notice in a triangle."""
    third = stats.guess_probability("triangle")
    return float(stats.d_prime("triangle", third + (1 - third) * size.notice))


def standing_out(share: float) -> float:
    """How far a sample stands out, in standard deviations of an impression, that this share puts before another."""
    from scipy.special import ndtri

    return float(2**0.5 * ndtri(share))


def _steps(first: float, last: float, number: int) -> tuple[float, ...]:
    return tuple(first + (last - first) * step / (number - 1) for step in range(number))


def _forced_choice(plan: Plan, known: Circumstances) -> Measure:
    test, alpha = plan.method, plan.alpha

    @functools.cache
    def power(people: int, pd: float) -> float:
        return float(stats.difference_power(test, people, alpha=alpha, pd=pd).power[0])

    def needed(pd: float, target: float) -> Needed:
        found = stats.required_tasters(test, alpha=alpha, power=target, pd=pd)
        return Needed(found.smallest, found.lasting)

    return Measure(
        axis="share of people who really taste the difference in this test",
        shares=True,
        sizes=_steps(0.02, 1.0, 50),
        planned=size_in(test, known.size),
        power=power,
        words=lambda pd: f"a difference that {percent(pd)} of people taste",
        needed=needed,
        people=next(n for n in range(1, 200) if stats.critical_correct(test, n, alpha) is not None),
        notes=("Exact binomial power; one independent answer for each person.", *_in_a_triangle(test, known)),
    )


def _in_a_triangle(test: str, known: Circumstances) -> tuple[str, ...]:
    """Why the same difference is tasted more often in another test."""
    if test in ("triangle", "two-out-of-five"):
        return ()
    text = (
        f"What {percent(known.size.notice)} would notice between three cups (a triangle) is tasted by "
        f"{percent(size_in(test, known.size))} in this test: the same distance between the products, by "
        "Thurstone’s model."
    )
    return (text,)


def _similarity(plan: Plan, limit: float) -> Measure:
    from scipy.stats import binom

    test, beta = plan.method, plan.beta
    chance = stats.guess_probability(test)

    @functools.cache
    def passes(people: int, pd: float) -> float:
        most = stats.critical_similar(test, people, beta, limit)
        return 0.0 if most is None else float(binom.cdf(most, people, chance + (1 - chance) * pd))

    def needed(_pd: float, target: float) -> Needed:
        found = stats.required_tasters_for_similarity(test, beta=beta, pd_limit=limit, power=target)
        return Needed(found.smallest, found.lasting)

    return Measure(
        axis="share of people who really taste a difference",
        shares=True,
        sizes=_steps(0.0, min(1.0, max(2 * limit, 0.4)), 41),
        planned=0.0,
        power=passes,
        words=lambda pd: f"a difference that {percent(pd)} of people taste" if pd else "no difference at all",
        needed=needed,
        people=next(n for n in range(1, 5000) if stats.critical_similar(test, n, beta, limit) is not None),
        notes=(
            f"Exact binomial; at most {percent(beta)} risk of passing a difference as large as the limit.",
        ),
        similar=True,
    )


def _preference(plan: Plan, known: Circumstances) -> Measure:
    @functools.cache
    def power(people: int, share: float) -> float:
        return float(stats.preference_power(people, prefer_a=share, alpha=plan.alpha).power)

    def needed(share: float, target: float) -> Needed:
        found = stats.required_tasters_for_preference(prefer_a=share, alpha=plan.alpha, power=target)
        return Needed(found.smallest, found.lasting)

    undecided = ("Counted without “no preference”, which costs some power.",) if plan.no_preference else ()
    return Measure(
        axis="share of people who prefer the one that more people prefer",
        shares=True,
        sizes=_steps(0.5, 1.0, 41),
        planned=known.size.prefer,
        power=power,
        words=lambda share: f"a preference of {percent(share)} for the same one",
        needed=needed,
        people=next(n for n in range(1, 200) if 2 * 0.5**n <= plan.alpha),
        notes=("Exact binomial power, two-sided.", *undecided),
    )


def _rating(plan: Plan, known: Circumstances) -> Measure | None:
    length = span_of(plan.question_called(plan.primary)) if plan.primary else 0.0
    if length <= 1 or plan.samples < 2:
        return None
    spread = known.spread * length
    alpha, samples, replicates = plan.alpha, plan.samples, plan.replicates

    @functools.cache
    def power(people: int, gap: float) -> float:
        judges = effective_people(plan, people)
        if judges < 2:
            return 0.0
        df = (judges - 1) * (samples - 1)
        error = spread * (2 / (judges * replicates)) ** 0.5
        return float(stats.pair_power(gap, standard_error=error, df=df, critical=_reach(samples, df, alpha)))

    how = f"a spread of {significant(spread, 2)} points within tasters ({percent(known.spread)} of the scale)"
    return Measure(
        axis="true difference between two samples, in scale points",
        shares=False,
        unit="points",
        sizes=_steps(0.0, length / 2, 41),
        planned=known.size.of_scale * length,
        power=power,
        words=lambda gap: f"a difference of {gap:.2g} {'point' if gap == 1 else 'points'}",
        needed=functools.partial(_least, power),
        people=people_for(plan, 2),
        notes=(f"Noncentral t{_all_pairs(samples)}; assumes {how}.", *_few_take_all(plan), *_ways(plan)),
        coarse=True,
        steady=True,
    )


def _least(power: Callable[[int, float], float], gap: float, target: float) -> Needed:
    """The least number of people, where more never find less."""
    low, high = 1, 2
    while power(high, gap) < target:
        low, high = high, 2 * high
        if high > MOST_RATERS:
            raise ValueError(f"more than {MOST_RATERS} people are needed")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power(middle, gap) >= target else (middle, high)
    return Needed(high, high)


@functools.lru_cache(maxsize=4096)
def _reach(samples: int, df: int, alpha: float) -> float:
    """Standard errors that a difference must reach in the report: Tukey's for all pairs, the t quantile of two."""
    return float(range_quantile(1 - alpha, samples, df).item()) / 2**0.5


def _all_pairs(samples: int) -> str:
    if samples == 2:
        return ""
    return f", all {samples * (samples - 1) // 2} pairs compared together by Tukey’s method, as in the report"


def _ways(plan: Plan) -> tuple[str, ...]:
    if len(plan.conditions) == 1:
        return ()
    return ("Counted for one way of serving; all of them together find somewhat more.",)


def _few_take_all(plan: Plan) -> tuple[str, ...]:
    if effective_people(plan, 1000) == 1000:
        return ()
    worth = effective_people(plan, plan.tasters)
    text = (
        f"Since nobody takes all samples, {plan.tasters} people compare two samples as well as {worth} who took "
        "all."
    )
    return (text,)


def _ranking(plan: Plan, known: Circumstances) -> Measure:
    samples, alpha = plan.samples, plan.alpha

    def power(people: int, share: float) -> float:
        judges = effective_people(plan, people)
        if judges < 2:
            return 0.0
        judges = min(judges, REACHES[-1])
        most = next(reach for reach in REACHES if judges <= reach)
        return _simulated(samples, alpha, share, most)[judges - 2]

    def needed(share: float, target: float) -> Needed:
        smallest, lasting = _simulated_needs(samples, alpha, share, target)
        return Needed(people_for(plan, smallest), people_for(plan, lasting))

    return Measure(
        axis="share who put the one that stands out before any other",
        shares=True,
        sizes=_steps(ALL_ALIKE, 0.95, 10),
        planned=known.size.prefer,
        power=power,
        words=lambda share: f"one that {percent(share)} put before any other",
        needed=needed,
        people=people_for(plan, 2),
        notes=(
            f"Friedman test by {SIMULATIONS} simulated panels, fixed seed; good to about three parts in a hundred. "
            "One "
            "sample stands out, the others are alike.",
            *_few_take_all(plan),
        ),
        simulated=True,
        coarse=True,
        steady=True,
    )


@functools.lru_cache(maxsize=4096)
def _simulated(samples: int, alpha: float, share: float, most: int) -> tuple[float, ...]:
    """Power with 2 .. most people where one sample stands out by this share."""
    positions = [0.0] * (samples - 1) + [standing_out(share)]
    found = stats.ranking_power(range(2, most + 1), positions, alpha=alpha, simulations=SIMULATIONS)
    return tuple(found.power)


@functools.lru_cache(maxsize=512)
def _simulated_needs(samples: int, alpha: float, share: float, target: float) -> tuple[int, int]:
    """Smallest and lasting number of people; ValueError where the largest number tried does not do."""
    positions = [0.0] * (samples - 1) + [standing_out(share)]
    found = stats.required_tasters_for_ranking(
        positions, power=target, alpha=alpha, most=MOST_SIMULATED, simulations=SIMULATIONS
    )
    return found.smallest or 2, found.lasting or 2


def _two_product(plan: Plan, known: Circumstances) -> Measure:
    test, alpha, each = plan.method, plan.alpha, plan.replicates

    @functools.cache
    def power(people: int, distance: float) -> float:
        half = min(people * each // 2, MOST_OF_A_KIND)
        return float(stats.two_product_power(test, half, d_prime=distance, alpha=alpha)) if half else 0.0

    def needed(distance: float, target: float) -> Needed:
        found = stats.required_servings(test, d_prime=distance, power=target, alpha=alpha)
        return Needed(-(-2 * found.smallest // each), -(-2 * found.lasting // each))

    return Measure(
        axis="distance between the two, d′ (1.6: about a third would notice it in a triangle)",
        shares=False,
        sizes=_steps(0.1, 4.0, 40),
        planned=distance_of(known.size),
        power=power,
        words=lambda distance: f"a difference of d′ = {significant(distance, 2)}",
        needed=needed,
        people=-(-2 * _least_of_each(alpha) // each),
        notes=("Exact power of Fisher’s test.",),
        coarse=True,
    )


def _least_of_each(alpha: float) -> int:
    """The fewest answers of each kind that can be significant when every one is right."""
    from math import comb

    return next(n for n in range(1, 100) if 1 / comb(2 * n, n) <= alpha)


_FAMILIES: dict[str, Callable[[Plan, Circumstances], Measure | None]] = {
    "scores": _rating,
    "forced choice": _forced_choice,
    "same-different": _two_product,
    "A-not-A": _two_product,
    "preference": _preference,
    "ranking": _ranking,
}
