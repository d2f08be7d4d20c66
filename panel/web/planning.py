"""What is said of a plan while it can still be changed: objections, what it could miss, what it needs."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from panel.analysis.planning_limits import all_objections, code_of, refusals
from panel.analysis.planning_outlook import Outlook, outlook_of
from panel.analysis.planning_sequential import stopping_of
from panel.study.asking import MOST_PRODUCTS
from panel.study.circumstances import LINGERING, PANEL_KINDS, SIZES
from panel.study.draft_reader import Reader, renumbered
from panel.study.drafting import check_draft
from panel.study.supplies import Supply, supplies_of, times_of
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.randomiser import ServingPlan
    from panel.study.circumstances import Circumstances
    from panel.study.objecting import Objection
    from panel.study.plan import Plan
    from panel.study.problems import Problem


@dataclass(frozen=True, slots=True)
class DraftAdvice:
    """What is said beside the fields of a draft, and what can be chosen for the circumstances.

    objections : refusals first; fields : where they stand
    """

    objections: tuple[Objection, ...]
    fields: frozenset[str]
    lingering: tuple[tuple[str, str], ...] = tuple(LINGERING.items())
    panel_kinds: tuple[tuple[str, str], ...] = tuple(PANEL_KINDS.items())
    sizes: tuple[tuple[str, str], ...] = tuple((size.key, size.name) for size in SIZES.values())


@dataclass(frozen=True, slots=True)
class PlanAdvice:
    """What is said of a drawn plan.

    outlook : None where it is sequential, or its verdict rests on nothing that has a size
    stopping : where a sequential plan stops, () for any other
    """

    outlook: Outlook | None
    stopping: tuple[str, ...]
    objections: tuple[Objection, ...]
    supplies: tuple[Supply, ...]
    times: tuple[Supply, ...]

    @property
    def refused(self) -> bool:
        """Whether the plan cannot work at all."""
        return any(objection.refused for objection in self.objections)


def draft_advice(typed: Mapping[str, str], problems: tuple[Problem, ...] = ()) -> DraftAdvice:
    """What is said of a draft as far as it can be read; what is only missing does not silence the rest.

    problems : said on the same page already
    """
    drafted = check_draft(renumbered(typed))
    unread = {problem.field for problem in drafted.problems if problem.code != "missing"}
    fewest = method_of(drafted.read.method).fewest  # where there are fewer yet, rules about them stay silent
    plan = replace(drafted.read, samples=max(fewest, drafted.read.samples))
    said = {(problem.field, problem.code) for problem in problems}
    found = tuple(
        objection
        for objection in all_objections(plan, drafted.known, unread)
        if (objection.field, code_of(objection)) not in said
    )
    return DraftAdvice(found, frozenset(objection.field for objection in found))


def planned_products(typed: Mapping[str, str]) -> int:
    """Rows for products that a draft begins with: as many as its question was about, else two."""
    return Reader(typed).whole("products", "how many products there are", 2, MOST_PRODUCTS, default=2)


def draft_problems(typed: Mapping[str, str]) -> tuple[Problem, ...]:
    """What keeps a draft from becoming a plan: what is wrong with it, or that it could not work."""
    drafted = check_draft(typed)
    return drafted.problems if drafted.plan is None else refusals(drafted.plan, drafted.known)


def plan_advice(plan: Plan, known: Circumstances, dealt: ServingPlan) -> PlanAdvice:
    """What is said of this plan as it was drawn."""
    cups = Counter(
        serving.sample for place in dealt.places for serving in place.servings if serving.same_cup_as is None
    )
    return PlanAdvice(
        outlook=outlook_of(plan, known),
        stopping=stopping_of(plan),
        objections=all_objections(plan, known),
        supplies=supplies_of(plan, max(cups.values())),
        times=times_of(plan),
    )


def sealing_problems(typed: Mapping[str, str]) -> tuple[Problem, ...]:
    """Why a complete draft may not be sealed, for a page that has none of its fields."""
    drafted = check_draft(typed)
    if drafted.plan is None:
        return ()  # what is missing is said where it is sealed
    return tuple(replace(problem, field="") for problem in refusals(drafted.plan, drafted.known))
