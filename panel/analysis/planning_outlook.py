"""With the people there are, what could be missed? The answer in sentences, two figures, and what fewer would cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import stats
from panel.analysis.figures_power import Mark, PowerCurve, power_figure
from panel.analysis.numbers import chance_text
from panel.analysis.planning_figures import People, people_figure
from panel.analysis.planning_limits import answers_of, who
from panel.analysis.planning_measures import POWER, Measure, Needed, measure_of, needed_for
from panel.analysis.view_parts import table_of
from panel.study.test_methods import method_of
from stats.phrasing import percent

if TYPE_CHECKING:
    from panel.analysis.drawing import Figure
    from panel.analysis.view_parts import Table
    from panel.study.circumstances import Circumstances
    from panel.study.plan import Plan

MOST_PEOPLE = 400  # in the figure of people
MOST_SIMULATED = 120  # people whose whole curve is simulated
FEW_PEOPLE = 50  # of which the chance is computed, where each takes time
HALVINGS = 40  # of the search for the smallest difference found


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a plan can find and could miss.

    people : whose answers count; needed : for the difference that matters, None where no number was found
    chance : to show the difference that matters; found : the smallest that is shown four times out of five, or None
    answer : sentences; missed : chance by size, for these people and others; crowd : chance by number of people
    fewer : what other numbers of people would give; notes : what is counted, and assumptions
    """

    people: int
    needed: Needed | None
    chance: float
    found: float | None
    answer: tuple[str, ...]
    missed: Figure
    crowd: Figure
    fewer: Table
    notes: tuple[str, ...]


def outlook_of(plan: Plan, known: Circumstances) -> Outlook | None:
    """The outlook of this plan; None where its verdict rests on nothing that has a size."""
    measure = measure_of(plan, known)
    if measure is None:
        return None
    people = plan.tasters
    needed = needed_for(measure)
    chance = measure.power(people, measure.planned)
    found = smallest_found(measure, people)
    return Outlook(
        people=people,
        needed=needed,
        chance=chance,
        found=found,
        answer=_answer(plan, measure, needed, chance, found),
        missed=_missed(plan, measure, needed),
        crowd=_crowd(plan, measure, needed),
        fewer=_fewer(plan, measure, needed),
        notes=(*_counted(plan), *measure.notes, *_of_repeats(plan)),
    )


def smallest_found(measure: Measure, people: int, target: float = POWER) -> float | None:
    """The smallest size that so many people show with this chance; None where they show none so surely.

    Of a similarity test: the largest share of tasters among whom a difference still passes with this chance.
    """
    chances = [measure.power(people, size) for size in measure.sizes]
    met = [chance >= target for chance in chances]
    if measure.similar:  # the small ones pass
        last = max((place for place, one in enumerate(met) if one), default=None)
        return None if last is None else _between(measure, people, target, last, min(last + 1, len(met) - 1))
    first = next((place for place, one in enumerate(met) if one), None)
    return None if first is None else _between(measure, people, target, max(first - 1, 0), first)


def _between(measure: Measure, people: int, target: float, below: int, above: int) -> float:
    """Where the chance crosses the target between two neighbouring sizes."""
    low, high = measure.sizes[below], measure.sizes[above]
    first, last = measure.power(people, low), measure.power(people, high)
    if measure.simulated:
        return high if last == first else low + (high - low) * (target - first) / (last - first)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if (measure.power(people, middle) >= target) is measure.similar:
            low = middle
        else:
            high = middle
    return low if measure.similar else high


def _answer(
    plan: Plan, measure: Measure, needed: Needed | None, chance: float, found: float | None
) -> tuple[str, ...]:
    have = f"{plan.tasters} {who(plan)}{'' if plan.tasters == 1 else 's'}"
    if measure.similar:
        limit = percent(plan.similarity_limit or 0.0)
        said = [
            f"If truly nobody tastes a difference, {have} show so with a chance of {chance_text(chance)}.",
            f"If {limit} of people do taste one, which is your limit, the panel calls it small with a chance of at "
            f"most {percent(plan.beta)}.",
        ]
    elif found is None:
        said = [f"With {have} no difference is found four times out of five, however large it is."]
    else:
        said = [
            f"With {have}, {measure.words(found)} is found four times out of five. Smaller ones you could miss.",
            f"What matters to you, {measure.words(measure.planned)}, is found with a chance of "
            f"{chance_text(chance)}.",
        ]
    if needed is not None and needed.lasting != plan.tasters:
        said.append(_numbers(measure, needed))
    return tuple(said)


def _numbers(measure: Measure, needed: Needed) -> str:
    aim = "For identical samples to pass" if measure.similar else "To find it"
    text = f"{aim} four times out of five, plan {needed.lasting}"
    if needed.smallest == needed.lasting:
        return f"{text}."
    return (
        f"{text}; {needed.smallest} would do by luck of the count, but some numbers between them fall short."
    )


def _counted(plan: Plan) -> tuple[str, ...]:
    """What the answers must come to, where the verdict counts them."""
    people, kind = plan.tasters, method_of(plan.method).analysis
    if kind in ("A-not-A", "same-different"):
        return (
            f"{people * plan.replicates // 2} answers about each of the two kinds, over all {who(plan)}s.",
        )
    if kind != "forced choice":
        return ()
    if plan.similarity_limit is None:
        bound, what = "at least", "a difference"
        right = stats.critical_correct(plan.method, people, plan.alpha)
    else:
        bound, what = "at most", "that so few taste one"
        right = stats.critical_similar(plan.method, people, plan.beta, plan.similarity_limit)
    return () if right is None else (f"Of {people} answers, {bound} {right} right ones show {what}.",)


def _of_repeats(plan: Plan) -> tuple[str, ...]:
    if answers_of(plan) == plan.tasters:
        return ()
    return ("Repeats are not counted here: the same people answering again are not more people.",)


def _missed(plan: Plan, measure: Measure, needed: Needed | None) -> Figure:
    people = plan.tasters
    half = people // 2
    others = (
        {half: "half as many"} if half >= measure.people else {measure.people: "the fewest that can work"}
    )
    most = MOST_SIMULATED if measure.simulated else MOST_PEOPLE * 5
    if needed is not None and needed.lasting <= most:
        others[needed.lasting] = "enough for what matters"
    others.pop(people, None)
    curves = [_curve(measure, people, f"{people} {who(plan)}s, as planned")]
    curves += [_curve(measure, number, f"{number}, {label}") for number, label in sorted(others.items())]
    marks = (
        [Mark(plan.similarity_limit or 0.0, "your limit")]
        if measure.similar
        else [Mark(measure.planned, "what matters to you")]
    )
    what = "Chance to be called alike" if measure.similar else "Chance to be found"
    return power_figure(
        curves,
        axis=measure.axis,
        title=f"{what}, by how large the difference really is",
        marks=marks,
        level=POWER,
        shares=measure.shares,
        name="missed",
    )


def _curve(measure: Measure, people: int, label: str) -> PowerCurve:
    return PowerCurve(label, measure.sizes, tuple(measure.power(people, size) for size in measure.sizes))


def _crowd(plan: Plan, measure: Measure, needed: Needed | None) -> Figure:
    upto = max(12, plan.tasters * 3 // 2)
    if needed is not None:
        upto = max(upto, needed.lasting * 5 // 4)
    upto = min(upto, max(MOST_PEOPLE, plan.tasters))
    most = FEW_PEOPLE if measure.coarse else MOST_PEOPLE
    numbers = {*range(2, upto + 1, -(-upto // most)), upto}
    marks = [People(plan.tasters, "as planned")]
    if needed is not None:
        marks += [People(needed.smallest, "the smallest")] if needed.smallest != needed.lasting else []
        marks += [People(needed.lasting, "enough, and every larger number too")]
    kept = [
        mark
        for place, mark in enumerate(marks)
        if 2 <= mark.number <= upto and mark.number not in {other.number for other in marks[:place]}
    ]
    numbers |= {mark.number for mark in kept}
    chances = [(number, measure.power(number, measure.planned)) for number in sorted(numbers)]
    aim = "identical samples pass" if measure.similar else f"{measure.words(measure.planned)} is found"
    return people_figure(
        chances, kept, title=f"Chance that {aim}, by the number of people", level=POWER, steady=measure.steady
    )


def _fewer(plan: Plan, measure: Measure, needed: Needed | None) -> Table:
    numbers = {plan.tasters, max(1, plan.tasters // 2), max(1, plan.tasters * 3 // 4)}
    if needed is not None:
        numbers |= {needed.smallest, needed.lasting}
    limit = "Largest share that still passes so often" if measure.similar else "Found four times out of five"
    aim = "Identical samples pass" if measure.similar else "Finds what matters to you"
    rows = []
    for number in sorted(numbers):
        if measure.simulated and number > MOST_SIMULATED and number != plan.tasters:
            continue  # the figure of people shows it
        found = smallest_found(measure, number)
        words = "nothing" if found is None else _short(measure, found)
        planned = " (as planned)" if number == plan.tasters else ""
        rows.append((f"{number}{planned}", chance_text(measure.power(number, measure.planned)), words))
    return table_of("What fewer people would cost", (f"{who(plan).capitalize()}s", aim, limit), rows)


def _short(measure: Measure, size: float) -> str:
    """A size for a cell."""
    return percent(size) if measure.shares else f"{size:.2g} {measure.unit}".rstrip()
