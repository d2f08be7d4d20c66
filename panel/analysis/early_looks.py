"""Looks at a sequential plan, taken again from a bundle: each must follow from what had come in by then."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from panel.analysis.recounting import choices_in
from panel.analysis.sequential_report import decision
from panel.study.plan import plan_from_dict

if TYPE_CHECKING:
    from panel.study.seal import Event

LOOK = "sequential look"


def look_that_differs(sealed: dict[str, Any], events: list[Event], sends: list[dict[str, Any]]) -> str:
    """In words, the first look that the sealed plan does not give; "" where all follow from it.

    At each look only the sends and exchanged cups count that the log holds before it.
    """
    plan = plan_from_dict(sealed["plan"])
    received = 0
    for place, event in enumerate(events):
        received += event.kind == "answers received"
        if event.kind != LOOK:
            continue
        if not plan.sequential:
            return f"event {event.number} is a look at results, and the sealed plan allows none"
        choices = [c for c in choices_in(sealed, events[:place], sends[:received]) if not c.late]
        if event.detail["answers"] != len(choices):
            return f"event {event.number} counts {event.detail['answers']} answers, but {len(choices)} had come in"
        found = decision(plan, choices)
        if event.detail["decision"] != found:
            return (
                f"event {event.number} says “{event.detail['decision']}”, but the sealed plan gives “{found}”"
            )
    return ""
