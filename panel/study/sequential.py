"""Looking early by a plan: what such a plan may be. It is the only way in which a result is seen before closing.

After each answer, in the order in which they arrive, the number of right ones is held against two lines (Wald 1947,
ISO 16820): difference, similar, or go on. The plan fixes beforehand what the lines depend on: the chance of guessing
right, the share of discriminators that matters, both risks, and the number of tasters with which it ends.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from panel.study.draft_reader import Reader
    from panel.study.plan import Plan
    from panel.study.test_methods import TestMethod

GO_ON, DIFFERENCE, SIMILAR, UNDECIDED = "continue", "difference", "similar", "undecided"
SAYS = {
    GO_ON: "Go on.",
    DIFFERENCE: "Stop: difference.",
    SIMILAR: "Stop: similar.",
    UNDECIDED: "Stop: undecided. The agreed number of tasters is used up.",
}


def refuse_unfit_sequential(reader: Reader, method: TestMethod, plan: Plan) -> None:
    """Note every reason why this plan cannot be followed answer by answer."""
    if method.chance is None:
        text = (
            f"A {method.running_name} has no right answer to count. Looking after each taster is for the triangle, "
            "tetrad, duo-trio, 2-AFC, 3-AFC and two-out-of-five test."
        )
        reader.wrong("sequential", "method", text)
    elif plan.similarity_limit is None:
        text = (
            "Write the share of discriminators that matters, such as 30: after each taster the plan decides between "
            "guessing and this share."
        )
        reader.wrong("similarity_limit", "missing", text)
    if plan.replicates > 1 or len(plan.conditions) > 1 or plan.layout.sittings > 1:
        text = (
            "Looking after each taster needs one answer from each: write 1 for how often, leave one way of serving "
            "and one sitting."
        )
        reader.wrong("sequential", "repeated", text)
    if plan.alone:
        text = "Alone, nothing is known before the dots are read, so there is nothing to look at early."
        reader.wrong("sequential", "alone", text)
