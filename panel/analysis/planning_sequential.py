"""Where a sequential plan stops and how often it errs, in sentences, before anything is served."""

from __future__ import annotations

from typing import TYPE_CHECKING

import stats
from stats.phrasing import percent

if TYPE_CHECKING:
    from panel.study.plan import Plan


def stopping_of(plan: Plan) -> tuple[str, ...]:
    """After how many tasters the plan stops on average, its two errors, and how often it ends undecided.

    () for a plan of fixed size, whose outlook is in `planning_outlook`.
    """
    if not plan.sequential:
        return ()
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
