"""Answers in order of arrival, judged by a sequential plan sealed beforehand -> the decision and the report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import stats
from panel.analysis.provenance import rows_hash, versions
from stats.phrasing import count
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.study.answer_rows import Choice
    from panel.study.plan import Plan
    from stats.sequential import SequentialTest

FIXED_P = (
    "The answers were looked at while they came in, so the p-values and intervals of a test with a fixed number of "
    "tasters do not hold and are not given. What holds is the decision, with the risks that the plan states."
)


@dataclass(frozen=True, slots=True)
class SequentialReport(Result):
    """The report of a forced-choice test under a sealed sequential plan.

    test : name of the method, as `stats.guess_probability` knows it
    alpha, beta, pd_limit, most : the sealed plan: both risks, the share that matters, tasters at most
    answers, tasters, correct : how many there were, those after the decision included
    found : the test taster by taster, in order of arrival
    """

    test: str
    alpha: float
    beta: float
    pd_limit: float
    most: int
    answers: int
    tasters: int
    correct: int
    found: SequentialTest
    planned: bool
    versions: tuple[tuple[str, str], ...]
    data_hash: str
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The decision; where tasting ended before there was one, that nothing is shown."""
        if self.found.decision != "continue":
            return self.found.sentence()
        return (
            f"After {count(self.answers, 'taster')}, {self.correct} correct in a sequential {self.test} test: tasting "
            "ended before either line was reached. Neither a difference nor similarity is shown."
        )


def followed(plan: Plan, choices: Sequence[Choice]) -> SequentialTest:
    """The sealed plan over these answers, in order of arrival; there may be none."""
    in_turn = sorted(choices, key=lambda choice: choice.arrived)
    found: SequentialTest = stats.sequential_test(
        plan.method,
        [bool(choice.correct) for choice in in_turn],
        alpha=plan.alpha,
        beta=plan.beta,
        pd=plan.similarity_limit,
        max_tasters=plan.tasters,
    )
    return found


def decision(plan: Plan, choices: Sequence[Choice]) -> str:
    """What may be known of a look: "continue", "difference", "similar" or "undecided"."""
    return followed(plan, choices).decision


def analyse_sequential(plan: Plan, choices: Sequence[Choice]) -> SequentialReport:
    """The report over the answers that count; ValueError where there is none."""
    if not choices:
        raise ValueError("answers: there is no answer yet, so that there is nothing to analyse")
    found = followed(plan, choices)
    in_turn = sorted(choices, key=lambda choice: choice.arrived)
    return SequentialReport(
        test=plan.method,
        alpha=plan.alpha,
        beta=plan.beta,
        pd_limit=found.pd,
        most=plan.tasters,
        answers=len(choices),
        tasters=len({choice.taster for choice in choices}),
        correct=sum(bool(choice.correct) for choice in choices),
        found=found,
        planned=True,
        versions=versions(),
        data_hash=rows_hash(
            (place, choice.taster, bool(choice.correct)) for place, choice in enumerate(in_turn, start=1)
        ),
        method=found.method,
        notes=(FIXED_P, *found.notes),
    )
