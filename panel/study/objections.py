"""What ruins tests, said at the point where it is decided: one table of rules over a plan and its circumstances.

An objection either refuses (the plan cannot work at all, and the nearest that does is named) or warns. The rules
need no calculation beyond counting; those that need the power of a test stand in `panel.analysis.planning_limits`.
Sources stand with each rule; "common practice" has no published source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.study import objections_panel, objections_serving
from panel.study.objecting import Objection, Rule

if TYPE_CHECKING:
    from collections.abc import Collection

    from panel.study.circumstances import Circumstances
    from panel.study.plan import Plan

__all__ = ["RULES", "Objection", "Rule", "objections_to"]

RULES: tuple[Rule, ...] = (*objections_serving.RULES, *objections_panel.RULES)


def objections_to(
    plan: Plan, known: Circumstances, wrong_fields: Collection[str] = ()
) -> tuple[Objection, ...]:
    """Every objection to the plan as far as it can be read, refusals first.

    wrong_fields : fields of the draft that could not be read; rules that rest on one of them stay silent
    """
    found = [
        objection
        for rule in RULES
        if not any(field in wrong_fields for field in rule.reads)
        for objection in rule.find(plan, known)
    ]
    return tuple(sorted(found, key=lambda objection: not objection.refused))
