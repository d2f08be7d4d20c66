"""Answers of a forced-choice test -> the report: difference test, similarity test where a limit was set."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import stats
from panel.analysis.provenance import rows_hash, versions
from stats.phrasing import percent
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.discrimination import DifferenceTest, SimilarityTest
    from stats.replication import ReplicatedTest


@dataclass(frozen=True, slots=True)
class ForcedAnswer:
    """One answered set: who, and whether the answer was right."""

    taster: str
    correct: bool


@dataclass(frozen=True, slots=True)
class ForcedChoiceReport(Result):
    """The report of a forced-choice test.

    test : name of the method, as `stats.guess_probability` knows it
    answers, tasters, correct : how many there were
    difference : the test against guessing; similarity : against `pd_limit`, None where no limit was set or
        answers are pooled
    answers_per_taster : largest number of answers by one taster
    replicated : where tasters answered several times: pooled test, limits that allow for tasters who differ, and
        each taster's own result; None otherwise
    planned : whether alpha and limit come from a sealed plan
    """

    test: str
    alpha: float
    pd_limit: float | None
    answers: int
    tasters: int
    correct: int
    answers_per_taster: int
    difference: DifferenceTest
    similarity: SimilarityTest | None
    replicated: ReplicatedTest | None
    planned: bool
    versions: tuple[tuple[str, str], ...]
    data_hash: str
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The answer to the question that was planned: similarity where a limit was set."""
        found = self.replicated or self.difference
        if self.similarity is None:
            return found.sentence()
        if found.significant and not self.similarity.significant:
            limit = percent(self.similarity.pd_limit)
            high = percent(self.similarity.pd.high or 0.0)
            return (
                f"{found.sentence()} That at most {limit} of tasters tell the samples apart, which was to be shown, "
                f"was not: it might be up to {high} (one-sided {percent(self.similarity.pd.confidence)} limit)."
            )
        return self.similarity.sentence()


POOLED = (
    "Up to {most} answers by one taster are pooled. The difference test stays valid; similarity is not tested, since "
    "pooled answers must not be used for it (ISO 4120:2021)."
)


def analyse_forced_choice(
    method: str,
    answers: Sequence[ForcedAnswer],
    *,
    alpha: float = 0.05,
    pd_limit: float | None = None,
    beta: float = 0.05,
    confidence: float = 0.95,
    two_sided: bool = False,
    planned: bool = False,
) -> ForcedChoiceReport:
    """The report of a triangle, duo-trio, 2-AFC, 3-AFC, tetrad or two-out-of-five test.

    answers : one per set that was answered; unanswered sets are left out by the caller
    pd_limit, beta : largest tolerable share of discriminators and the risk of missing it (similarity)
    ValueError where there is no answer, or as the stats functions raise it.
    """
    if not answers:
        raise ValueError("answers: there is no answer yet, so that there is nothing to analyse")
    n, correct = len(answers), sum(answer.correct for answer in answers)
    who = Counter(answer.taster for answer in answers)
    most = max(who.values())
    asked = {"alpha": alpha, "confidence": confidence, "two_sided": two_sided}
    difference = stats.difference_test(method, correct, n, **asked)
    similarity = None
    if pd_limit is not None and most == 1:
        limits = {"pd_limit": pd_limit, "beta": beta, "confidence": confidence}
        similarity = stats.similarity_test(method, correct, n, **limits)
    replicated = _replicated(method, answers, most, alpha, confidence)
    return ForcedChoiceReport(
        test=method,
        alpha=alpha,
        pd_limit=pd_limit,
        answers=n,
        tasters=len(who),
        correct=correct,
        answers_per_taster=most,
        difference=difference,
        similarity=similarity,
        replicated=replicated,
        planned=planned,
        versions=versions(),
        data_hash=rows_hash((answer.taster, bool(answer.correct)) for answer in answers),
        method=difference.method,
        notes=_notes(replicated or difference, similarity, most),
    )


def _replicated(
    method: str, answers: Sequence[ForcedAnswer], most: int, alpha: float, confidence: float
) -> ReplicatedTest | None:
    """The test that allows for tasters who differ; None where nobody, or only one taster, answered twice."""
    right: dict[str, list[bool]] = {}
    for answer in sorted(answers, key=lambda answer: answer.taster):
        right.setdefault(answer.taster, []).append(answer.correct)
    if most == 1 or len(right) < 2:
        return None
    found: ReplicatedTest = stats.replicated_test(
        method,
        [sum(each) for each in right.values()],
        [len(each) for each in right.values()],
        tasters=list(right),
        alpha=alpha,
        confidence=confidence,
    )
    return found


def _notes(
    difference: DifferenceTest | ReplicatedTest, similarity: SimilarityTest | None, most: int
) -> tuple[str, ...]:
    said = (*difference.notes, *(similarity.notes if similarity else ()))
    return (*dict.fromkeys(said), *((POOLED.format(most=most),) if most > 1 else ()))
