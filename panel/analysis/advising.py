"""The whole advice on a question in plain words: test, people, design, ballot, cautions, shopping list, time."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from panel.analysis.planning_limits import all_objections
from panel.analysis.planning_measures import effective_people, measure_of, needed_for
from panel.analysis.planning_outlook import Outlook, outlook_of
from panel.study.cautions import ALWAYS, CAUTIONS
from panel.study.circumstances import LIKING_LENGTH, SIZES
from panel.study.drafting import check_draft
from panel.study.objecting import Objection
from panel.study.proposing import Proposal, propose
from panel.study.questions import points_of
from panel.study.scales import scale_of
from panel.study.supplies import Supply, supplies_of, times_of
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from panel.analysis.planning_measures import Needed
    from panel.study.asking import Situation
    from panel.study.plan import Plan, Question
    from panel.study.test_methods import TestMethod

# Over-recruitment: 10 to 20 per cent is usual (no number seen in ISO 11136:2014, 6.5; from memory).
RESERVE = 1.15
MOST_PLACES = 2000
# Orders in a balanced group, by method: ISO 4120 (triangle); the others by counting their orders.
GROUPS = {"triangle": 6, "tetrad": 6, "duo-trio": 4, "2-AFC": 2, "same-different": 4, "paired preference": 2}


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do, each part with its reason.

    test : the method; proposal : why it, and how samples are dealt out; needed : people for what matters
    people : why so many; ballot : what tasters read; outlook : what could be missed
    objections : refusals first; told : what tasters must know before they agree
    supplies, times : lines; typed : the draft that this makes
    """

    test: TestMethod
    proposal: Proposal
    plan: Plan
    needed: Needed | None
    people: tuple[str, ...]
    ballot: tuple[str, ...]
    outlook: Outlook | None
    objections: tuple[Objection, ...]
    told: tuple[str, ...]
    supplies: tuple[Supply, ...]
    times: tuple[Supply, ...]
    typed: dict[str, str]

    @property
    def refused(self) -> bool:
        """Whether the plan cannot work at all."""
        return any(objection.refused for objection in self.objections)


def advise(situation: Situation) -> Advice:
    """The advice for this situation. It is always a whole plan; what cannot work is refused within it."""
    proposal = propose(situation)
    typed = proposal.typed | _own_sizes(situation)
    needed = _needed(typed, situation)
    tasters = places_for(situation.people, needed, proposal)
    typed |= {"tasters": str(tasters)}
    plan = planned(typed)
    return Advice(
        test=method_of(proposal.method),
        proposal=proposal,
        plan=plan,
        needed=needed,
        people=_people(situation, plan, needed),
        ballot=_ballot(plan),
        outlook=outlook_of(plan, situation.known),
        objections=_objections(situation, proposal, plan),
        told=(*(CAUTIONS[key] for key in plan.cautions), ALWAYS),
        supplies=supplies_of(plan),
        times=times_of(plan),
        typed=typed,
    )


def planned(typed: dict[str, str]) -> Plan:
    """The plan that a proposal's fields mean, with names that stand for the products' own."""
    named = {f"product-{number}-name": f"product {number}" for number in range(int(typed["products"]))}
    return check_draft(typed | named).read


def places_for(people: int | None, needed: Needed | None, proposal: Proposal) -> int:
    """Places of the plan: all people there are where they are too few, else enough with a reserve."""
    if needed is None:
        return people or 30
    enough = math.ceil(needed.lasting * RESERVE)
    group = GROUPS.get(proposal.method) or _orders(proposal)
    enough = min(MOST_PLACES, -(-enough // group) * group)
    return enough if people is None else min(people, enough)


def _orders(proposal: Proposal) -> int:
    """Orders of a balanced set: one for each sample, two for an odd number (Williams 1949)."""
    if "per_taster" in proposal.typed:
        return 1
    return proposal.compared * (1 + proposal.compared % 2)


def _needed(typed: dict[str, str], situation: Situation) -> Needed | None:
    measure = measure_of(planned(typed | {"tasters": "30"}), situation.known)
    return None if measure is None else needed_for(measure)


def _own_sizes(situation: Situation) -> dict[str, str]:
    """The size that matters, where it was typed and not chosen."""
    size, chosen = situation.known.size, SIZES[situation.known.size.key]
    own = {
        "own_notice": (size.notice, chosen.notice, 100.0),
        "own_prefer": (size.prefer, chosen.prefer, 100.0),
        "own_points": (size.of_scale, chosen.of_scale, LIKING_LENGTH),
    }
    return {name: f"{value * factor:g}" for name, (value, usual, factor) in own.items() if value != usual}


def _people(situation: Situation, plan: Plan, needed: Needed | None) -> tuple[str, ...]:
    if needed is None:
        return ()
    aim = "find what matters to you" if plan.similarity_limit is None else "let truly identical products pass"
    said = []
    if needed.smallest == needed.lasting:
        said.append(f"{needed.lasting} people {aim} four times out of five (a power of 80 %).")
    else:
        said.append(
            f"{needed.lasting} people, and every larger number, {aim} four times out of five. {needed.smallest} would "
            "do by luck of the count, but one more can then do worse."
        )
    if plan.tasters > needed.lasting:
        extra = plan.tasters - needed.lasting
        said.append(
            f"The plan holds {plan.tasters}: {extra} to spare for those who do not come, and to keep it balanced."
        )
    elif situation.people is not None and plan.tasters < needed.lasting:
        said.append(f"You have {situation.people}. What they could miss stands below.")
    if situation.people is not None and situation.people > plan.tasters:
        rest = situation.people - plan.tasters
        said.append(f"You need not ask all {situation.people}: {rest} can rest for another study.")
    if effective_people(plan, plan.tasters) < plan.tasters:
        said.append("Nobody takes all products, so more people are needed than if everybody did.")
    return tuple(said)


def _ballot(plan: Plan) -> tuple[str, ...]:
    wording = method_of(plan.method).wording
    first = () if wording is None else (f"{wording.question(plan.attribute)} {wording.hint}",)
    return (*first, *(f"{question.text} {_answered(question)}" for question in plan.questions))


def _answered(question: Question) -> str:
    scale = scale_of(question.scale)
    if scale.kind == "line":
        return f"(a line from “{question.low or scale.low_anchor}” to “{question.high or scale.high_anchor}”)"
    points = points_of(question)
    if points:
        return f"({len(points)} points, from “{points[-1].label}” to “{points[0].label}”)"
    return f"({scale.name.lower()}{'' if question.required else ', may be left open'})"


def _objections(situation: Situation, proposal: Proposal, plan: Plan) -> tuple[Objection, ...]:
    known = situation.known
    if not proposal.refused:
        return all_objections(plan, known)
    text, _, remedy = proposal.refused.partition(" The nearest that works: ")
    field = "products" if situation.products < 2 else "cups"
    first = Objection("cannot", field, text, f"The nearest that works: {remedy}", "", refused=True)
    return (
        first,
        *(o for o in all_objections(replace(plan, samples=max(plan.samples, 2)), known) if not o.refused),
    )
