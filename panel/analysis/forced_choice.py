"""Answers of a forced-choice test -> the report: difference test, similarity test where a limit was set."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import stats
from panel.analysis.provenance import rows_hash, versions
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.discrimination import DifferenceTest, SimilarityTest


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
    answers_per_taster : largest number of answers by one taster; above 1 the answers are pooled and said so
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
    planned: bool
    versions: tuple[tuple[str, str], ...]
    data_hash: str
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The answer to the question that was planned: similarity where a limit was set."""
        return (self.similarity or self.difference).sentence()


POOLED = (
    "Up to {most} answers by one taster are pooled. The difference test stays valid; the limits assume that "
    "tasters are alike, and similarity is not tested, since pooled answers must not be used for it (ISO 4120:2021)."
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
    who = [answer.taster for answer in answers]
    most = max(who.count(name) for name in set(who))
    difference = stats.difference_test(
        method, correct, n, alpha=alpha, confidence=confidence, two_sided=two_sided
    )
    similarity = None
    if pd_limit is not None and most == 1:
        similarity = stats.similarity_test(
            method, correct, n, pd_limit=pd_limit, beta=beta, confidence=confidence
        )
    return ForcedChoiceReport(
        test=method,
        alpha=alpha,
        pd_limit=pd_limit,
        answers=n,
        tasters=len(set(who)),
        correct=correct,
        answers_per_taster=most,
        difference=difference,
        similarity=similarity,
        planned=planned,
        versions=versions(),
        data_hash=rows_hash((answer.taster, bool(answer.correct)) for answer in answers),
        method=difference.method,
        notes=_notes(difference, similarity, most),
    )


def _notes(difference: DifferenceTest, similarity: SimilarityTest | None, most: int) -> tuple[str, ...]:
    said = (*difference.notes, *(similarity.notes if similarity else ()))
    return (*dict.fromkeys(said), *((POOLED.format(most=most),) if most > 1 else ()))
