"""Plans that cannot work, or hardly: found by exact calculation, each with the nearest that does.

Refused is what can never show anything, and a similarity test that truly identical samples would fail more often
than pass. What only finds too little is warned of.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import stats
from panel.analysis.planning_measures import (
    POWER,
    Measure,
    distance_of,
    effective_people,
    measure_of,
    needed_for,
)
from panel.study.objecting import Objection
from panel.study.objections import objections_to
from panel.study.problems import Problem
from panel.study.questions import span_of
from panel.study.test_methods import method_of
from stats.phrasing import count, percent

if TYPE_CHECKING:
    from collections.abc import Collection

    from panel.study.circumstances import Circumstances
    from panel.study.plan import Plan

COIN = 0.5  # below it a test fails more often than it works
FIELD = "tasters"
EXACT = "exact calculation"


def all_objections(
    plan: Plan, known: Circumstances, wrong_fields: Collection[str] = ()
) -> tuple[Objection, ...]:
    """Everything there is to object to a plan, by rule and by calculation, refusals first."""
    found = [*objections_to(plan, known, wrong_fields)]
    if not {FIELD, "alpha", "similarity_limit", "method", "per_taster", "product-0-name"} & set(wrong_fields):
        found += limits_of(plan, known)
    return tuple(sorted(found, key=lambda objection: not objection.refused))


def refusals(plan: Plan, known: Circumstances) -> tuple[Problem, ...]:
    """Why this plan may not be sealed, beside its fields, each with the nearest that works; () where it may."""
    return tuple(
        Problem(objection.field, code_of(objection), f"{objection.text} {objection.remedy}")
        for objection in all_objections(plan, known)
        if objection.refused
    )


def code_of(objection: Objection) -> str:
    """The code of the problem that a refusal becomes."""
    return objection.key.replace(" ", "_")


def limits_of(plan: Plan, known: Circumstances) -> tuple[Objection, ...]:
    """What exact calculation says against the plan: that it can show nothing, or too little."""
    measure = measure_of(plan, known)
    if measure is None:
        return ()
    impossible = _impossible(plan, measure)
    if impossible is not None:
        return (impossible,)
    hopeless = _SHAPES.get(method_of(plan.method).analysis)
    found = hopeless(plan, measure) if hopeless else None
    if found is not None:
        return (found,)
    return _alike(plan, measure) if measure.similar else _underpowered(plan, known, measure)


def who(plan: Plan) -> str:
    """What the places of a plan hold: tasters, or one person's rounds."""
    return "round" if plan.alone else "taster"


def answers_of(plan: Plan) -> int:
    """Answers that a significance test of this plan may pool: repeats count for a difference, not for similarity."""
    pools = method_of(plan.method).analysis in ("forced choice", "preference")
    return plan.tasters * (plan.replicates if pools and plan.similarity_limit is None else 1)


def _impossible(plan: Plan, measure: Measure) -> Objection | None:
    answers = answers_of(plan)
    if answers >= measure.people:
        return None
    method = method_of(plan.method)
    have = count(plan.tasters, who(plan))
    if method.analysis in ("scores", "ranking") and effective_people(plan, plan.tasters) < 2 <= plan.tasters:
        text = f"{have} who each take some of the samples only say as much as one who took all."
    elif method.analysis in ("scores", "ranking"):
        text = f"{have} alone says nothing about others: there is nothing to compare the differences with."
    elif measure.similar:
        text = f"With {have} even the best result would not show that so few tell them apart."
    else:
        best = "if all prefer the same one" if method.analysis == "preference" else "if every answer is right"
        text = (
            f"With {have} {_article(method.running_name)} can never be significant at {plan.alpha:g}, not even "
            f"{best}."
        )
    return Objection("impossible", FIELD, text, _nearest(measure, who(plan)), EXACT, refused=True)


def _article(name: str) -> str:
    return f"an {name}" if name.startswith("A-") else f"a {name}"


def _nearest(measure: Measure, name: str) -> str:
    """The least that works at all, and what is worth planning."""
    enough = f"The nearest that can work has {measure.people} {name}s"
    needed = needed_for(measure)
    if needed is None or needed.lasting <= measure.people:
        return f"{enough}."
    return f"{enough}; {_aim(measure)} four times out of five, plan {needed.lasting}."


def _aim(measure: Measure) -> str:
    if measure.similar:
        return "to let truly identical samples pass"
    return f"to find {measure.words(measure.planned)}"


def _scale_too_short(plan: Plan, measure: Measure) -> Objection | None:
    """A rating that would miss even the largest difference its scale can show."""
    length = span_of(plan.question_called(plan.primary))
    if measure.power(plan.tasters, length) >= COIN:
        return None
    text = (
        f"{count(plan.tasters, who(plan))} would miss even the largest difference that the scale can show "
        f"({length:g} points) more often than find it."
    )
    fewest = next((n for n in range(plan.tasters, 2000) if measure.power(n, length) >= POWER), None)
    needed = needed_for(measure)
    remedy = (
        "Look for a test in which people compare the samples side by side, such as a preference or a ranking."
    )
    if fewest is not None:
        remedy = f"With {fewest} it is found four times out of five."
    if needed is not None:
        remedy += f" {_aim(measure).capitalize()} as often, plan {needed.lasting}."
    return Objection("hopeless", FIELD, text, remedy, "noncentral t, computed", refused=True)


def _never_agreed_enough(plan: Plan, _measure: Measure) -> Objection | None:
    """A ranking in which full agreement would not be significant."""
    if plan.layout.per_taster is not None or _agreed(plan.samples, plan.tasters) <= plan.alpha:
        return None
    fewest = next(n for n in range(plan.tasters, 50) if _agreed(plan.samples, n) <= plan.alpha)
    text = (
        f"With {count(plan.tasters, who(plan))} a ranking of {plan.samples} can never be significant at "
        f"{plan.alpha:g}, "
        "not even if all agree."
    )
    remedy = f"The nearest that can work has {fewest} {who(plan)}s."
    return Objection("impossible", FIELD, text, remedy, "Friedman test of full agreement", refused=True)


def _agreed(samples: int, tasters: int) -> float:
    """p of the Friedman test where all tasters give the same order."""
    import pandas as pd

    rows = [(taster, sample, sample) for taster in range(tasters) for sample in range(samples)]
    return float(stats.friedman(pd.DataFrame(rows, columns=["taster", "sample", "score"])).p_value)


_SHAPES = {"scores": _scale_too_short, "ranking": _never_agreed_enough}


def _alike(plan: Plan, measure: Measure) -> tuple[Objection, ...]:
    """A similarity test that truly identical samples hardly pass."""
    passes = measure.power(plan.tasters, 0.0)
    if passes >= POWER:
        return ()
    needed = needed_for(measure)
    limit = percent(plan.similarity_limit or 0.0)
    refused = passes < COIN
    text = (
        f"{count(plan.tasters, who(plan))} are too few to show that at most {limit} tell them apart: even truly "
        "identical "
        f"samples would pass only {percent(passes)} of the time."
    )
    widest = _limit_that_passes(plan)
    wider = f" Or allow up to {percent(widest)}, which these show." if widest is not None else ""
    enough = "Many more are needed" if needed is None else f"Plan {needed.lasting}"
    remedy = f"{enough}: identical samples then pass four times out of five.{wider}"
    return (Objection("similarity", FIELD, text, remedy, "ISO 4120:2021; exact binomial", refused),)


def _limit_that_passes(plan: Plan) -> float | None:
    """The smallest limit, in steps of five per cent up to a half, that so many tasters can show."""
    for limit in (step / 100 for step in range(5, 55, 5)):
        found = stats.similarity_power(plan.method, plan.tasters, beta=plan.beta, pd_limit=limit)
        if limit > (plan.similarity_limit or 0) and found.power[0] >= POWER:
            return limit
    return None


def _underpowered(plan: Plan, known: Circumstances, measure: Measure) -> tuple[Objection, ...]:
    chance = measure.power(plan.tasters, measure.planned)
    if chance >= POWER:
        return ()
    needed = needed_for(measure)
    verdict = "more often than find it" if chance < COIN else f"{percent(1 - chance)} of the time"
    have = count(plan.tasters, who(plan))
    text = f"{have} will miss what you look for, {measure.words(measure.planned)}, {verdict}."
    remedy = "No number of people that could be found would do: look for a larger difference."
    if needed is not None:
        remedy = f"Plan {needed.lasting} for a power of {percent(POWER)}, or look for a larger difference."
    remedy += _cheaper(plan, known)
    return (Objection("power", FIELD, text, remedy, EXACT),)


def _cheaper(plan: Plan, known: Circumstances) -> str:
    """What another test of the same difference would need, where that is much less."""
    if plan.method not in ("triangle", "duo-trio", "two-out-of-five"):
        return ""
    needed = stats.required_tasters("tetrad", alpha=plan.alpha, power=POWER, d_prime=distance_of(known.size))
    return f" A tetrad of the same two needs about {needed.lasting}, where four cups do not tire."
