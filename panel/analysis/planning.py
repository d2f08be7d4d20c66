"""What a plan can find and what it could miss, in sentences, before anything is served."""

from __future__ import annotations

from typing import TYPE_CHECKING

import stats
from panel.analysis.planning_measures import POWER, effective_people
from panel.study.circumstances import TYPICAL_SPREAD
from panel.study.questions import span_of
from panel.study.test_methods import method_of
from stats.phrasing import percent

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.study.plan import Plan

FEW = 8


def what_it_can_find(plan: Plan) -> tuple[str, ...]:
    """Sentences for the plan page: the difference it finds, what it could miss, and what more tasters would give."""
    return _PLANS[method_of(plan.method).analysis](plan)


def _forced_choice(plan: Plan) -> tuple[str, ...]:
    if plan.sequential:
        return _sequential(plan)
    test, n, alpha = plan.method, plan.tasters, plan.alpha
    critical = stats.critical_correct(test, n, alpha)
    if critical is None:
        enough = next(m for m in range(n, 200) if stats.critical_correct(test, m, alpha) is not None)
        return (
            f"With {n} tasters even all right answers would not be significant at {alpha:g}. "
            f"Plan at least {enough} tasters.",
        )
    said = [f"With {n} answers, {critical} right ones show a difference at {alpha:g}."]
    if n >= FEW:
        said.append(stats.smallest_difference(test, n, alpha=alpha, power=POWER).sentence())
    said.append(stats.required_tasters(test, alpha=alpha, power=POWER, pd=0.3).sentence())
    if plan.similarity_limit is not None:
        limit = plan.similarity_limit
        passes = stats.similarity_power(test, n, beta=plan.beta, pd_limit=limit).power[0]
        said.append(
            f"If the two are truly identical, this panel shows them to be within the limit of "
            f"{100 * limit:.0f}\u202f% discriminators with a chance of {100 * passes:.0f}\u202f%."
        )
        said.append(
            stats.required_tasters_for_similarity(test, beta=plan.beta, pd_limit=limit, power=0.9).sentence()
        )
    return tuple(said)


def _sequential(plan: Plan) -> tuple[str, ...]:
    found = stats.sequential_test(
        plan.method, [], alpha=plan.alpha, beta=plan.beta, pd=plan.similarity_limit, max_tasters=plan.tasters
    )
    alike, apart = found.if_alike, found.if_different
    return (
        f"Looked at after each taster, this plan stops on average after {alike.mean_tasters:.0f} tasters if everybody "
        f"guesses, and after {apart.mean_tasters:.0f} if {percent(found.pd)} tell the samples apart.",
        f"It then ends with “difference” in {percent(alike.difference, 1)}, or with “similar” in "
        f"{percent(apart.similar, 1)} of panels: these are its two errors.",
        f"With {plan.tasters} tasters at most it ends undecided in {percent(alike.undecided, 1)} and "
        f"{percent(apart.undecided, 1)} of panels. More places make that rarer.",
    )


def _rating(plan: Plan) -> tuple[str, ...]:
    length = span_of(plan.question_called(plan.primary))
    if length <= 1:
        return ()
    if plan.tasters < 2:
        return ("One taster’s scores say nothing about other tasters. Plan at least two.",)
    spread = TYPICAL_SPREAD * length
    judges = _effective_tasters(plan)
    found = stats.detectable_difference(
        judges,
        sd=spread,
        alpha=plan.alpha,
        power=POWER,
        samples=plan.samples,
        replicates=plan.replicates,
    )
    aim = length / 8
    points = "point" if aim == 1 else "points"
    needed = stats.required_raters(aim, sd=spread, alpha=plan.alpha, power=POWER, samples=plan.samples)
    said = [
        f"{found.sentence()} Smaller differences are easily missed; the spread is that of an average "
        "consumer study (23\u202f% of the scale), yours may differ.",
        f"To find a difference of {aim:g} {points}, plan about {needed.tasters} tasters.",
    ]
    if judges < plan.tasters:
        said.append(
            f"Since nobody takes all samples, the {plan.tasters} tasters compare two samples about as well as "
            f"{judges} would who took them all."
        )
    pairs = plan.samples * (plan.samples - 1) // 2
    if pairs > 1:
        said.append(
            f"{plan.samples} samples make {pairs} pairs: compared together, each pair needs a somewhat larger "
            "difference."
        )
    return tuple(said)


def _effective_tasters(plan: Plan) -> int:
    """Tasters who take all samples and compare two of them as precisely; at least two, for which power is defined."""
    return max(2, effective_people(plan, plan.tasters)) if plan.layout.per_taster else plan.tasters


def _two_product(plan: Plan) -> tuple[str, ...]:
    answers = plan.tasters * plan.replicates
    needed = stats.required_servings(plan.method, d_prime=1.0, power=POWER, alpha=plan.alpha)
    return (
        needed.sentence(),
        f"This plan gives about {answers // 2} of each kind, over {plan.tasters} tasters.",
    )


def _preference(plan: Plan) -> tuple[str, ...]:
    share = 2 / 3
    power = stats.preference_power(plan.tasters, prefer_a=share, alpha=plan.alpha)
    needed = stats.required_tasters_for_preference(prefer_a=share, alpha=plan.alpha, power=POWER)
    return (power.sentence(), needed.sentence())


def _ranking(plan: Plan) -> tuple[str, ...]:
    if plan.tasters < 2:
        return ("One taster’s order says nothing about other tasters. Plan at least two.",)
    positions = [0.0] * (plan.samples - 1) + [1.0]
    said = stats.ranking_power(_effective_tasters(plan), positions, alpha=plan.alpha, simulations=1000)
    return (f"Where one sample stands out by one standard deviation of an impression: {said.sentence()}",)


_PLANS: dict[str, Callable[[Plan], tuple[str, ...]]] = {
    "scores": _rating,
    "forced choice": _forced_choice,
    "same-different": _two_product,
    "A-not-A": _two_product,
    "preference": _preference,
    "ranking": _ranking,
}
