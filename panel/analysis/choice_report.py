"""Answers about sets where no guess is right: same-different, A-not-A, preference and ranking -> the report."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import stats
from panel.analysis.provenance import rows_hash, versions
from stats.discrimination_exact import exact_limits
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from panel.study.answer_rows import Choice
    from panel.study.plan import Plan
    from stats.discrimination_two_product import TwoProductTest


@dataclass(frozen=True, slots=True)
class PairOrder:
    """How often sample `a` was ranked before `b`, of so many rankings that held both.

    low, high : limits of that share, exact, for all pairs together by Bonferroni's rule
    """

    a: str
    b: str
    before: int
    of: int
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ChoiceReport(Result):
    """The report of one of these tests.

    test : name of the method; kind : its family of results, as the table of methods names it
    answers, tasters : how many there were; answers_per_taster : the most by one taster
    samples : blind labels; counts : what was counted, in words that name no sample, or by blind label
    result : the test behind it; orders : pairs of samples in rankings, empty for the other kinds
    """

    test: str
    kind: str
    alpha: float
    answers: int
    tasters: int
    answers_per_taster: int
    samples: tuple[str, ...]
    counts: tuple[tuple[str, int], ...]
    result: Result
    orders: tuple[PairOrder, ...]
    planned: bool
    versions: tuple[tuple[str, str], ...]
    data_hash: str
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """What was found, by blind label."""
        return self.result.sentence()


REPEATED = (
    "Up to {most} answers by one taster are counted as independent, which makes p too small where tasters "
    "differ from each other."
)
Counted = tuple[Result, tuple[tuple[str, int], ...]]


def analyse_choices(plan: Plan, kind: str, answers: Sequence[Choice]) -> ChoiceReport:
    """The sealed analysis of the answers that count.

    kind : "same-different", "A-not-A", "preference" or "ranking"; ValueError where there is too little to analyse.
    """
    if not answers:
        raise ValueError("answers: there is no answer yet, so that there is nothing to analyse")
    result, counts = _TESTS[kind](plan, answers)
    who = [answer.taster for answer in answers]
    most = max(map(who.count, set(who)))
    repeated = (REPEATED.format(most=most),) if most > 1 and kind != "ranking" else ()
    return ChoiceReport(
        test=plan.method,
        kind=kind,
        alpha=plan.alpha,
        answers=len(answers),
        tasters=len(set(who)),
        answers_per_taster=most,
        samples=tuple(sorted({sample for answer in answers for sample in answer.samples})),
        counts=counts,
        result=result,
        orders=_orders(answers) if kind == "ranking" else (),
        planned=True,
        versions=versions(),
        data_hash=rows_hash((a.taster, " ".join(a.samples), a.chosen) for a in answers),
        method=result.method,
        notes=(*result.notes, *repeated),
    )


def _two_product(
    test: Callable[..., TwoProductTest], said: str, plan: Plan, answers: Sequence[Choice]
) -> Counted:
    """Answers `said` to what they are true of and to what they are not; truth follows from answer and correctness."""
    true_of = [answer.chosen == said for answer in answers if (answer.chosen == said) == bool(answer.correct)]
    not_of = [answer.chosen == said for answer in answers if (answer.chosen == said) != bool(answer.correct)]
    if not true_of or not not_of:
        raise ValueError("answers: both kinds of servings must have been answered, but only one kind was")
    found = test(sum(true_of), len(true_of), sum(not_of), len(not_of), alpha=plan.alpha)
    kinds = {"different": ("Different pairs", "Same pairs"), "yes": ("Servings of A", "Servings of not-A")}[
        said
    ]
    counts = (
        (kinds[0], len(true_of)),
        (f"{kinds[0]}, answered “{said}”", sum(true_of)),
        (kinds[1], len(not_of)),
        (f"{kinds[1]}, answered “{said}”", sum(not_of)),
    )
    return found, counts


def _same_different(plan: Plan, answers: Sequence[Choice]) -> Counted:
    return _two_product(stats.same_different_test, "different", plan, answers)


def _a_not_a(plan: Plan, answers: Sequence[Choice]) -> Counted:
    return _two_product(stats.a_not_a_test, "yes", plan, answers)


def _preference(plan: Plan, answers: Sequence[Choice]) -> Counted:
    votes = [a.samples[int(a.chosen) - 1] if a.chosen.isdigit() else "" for a in answers]
    first, second = sorted({sample for answer in answers for sample in answer.samples})
    numbers = (votes.count(first), votes.count(second), votes.count(""))
    found = stats.paired_preference(*numbers, alpha=plan.alpha)
    counts = ((first, numbers[0]), (second, numbers[1]))
    return found, (*counts, ("", numbers[2])) if plan.no_preference else counts


def _ranking(plan: Plan, answers: Sequence[Choice]) -> Counted:
    """Friedman's test of whole rankings; Skillings and Mack's where each taster ranks some of the samples."""
    import pandas as pd

    rows = [
        (answer.taster, sample, float(rank), str(number))
        for number, answer in enumerate(answers)
        for sample, rank in zip(answer.samples, answer.chosen.split(), strict=True)
    ]
    frame = pd.DataFrame(rows, columns=["taster", "sample", "score", "replicate"])
    if plan.layout.per_taster is None:
        found: Result = stats.friedman(frame, alpha=plan.alpha)
    else:
        # Each ranking is a block of its own, also where one taster comes several times.
        blocks = frame.drop(columns="taster").rename(columns={"replicate": "taster"})
        found = stats.skillings_mack(blocks, alpha=plan.alpha)
    firsts = frame.loc[frame["score"] == 1, "sample"].value_counts()
    return found, tuple((sample, int(firsts.get(sample, 0))) for sample in sorted(set(frame["sample"])))


def _orders(answers: Sequence[Choice]) -> tuple[PairOrder, ...]:
    """Which of two samples came first, pair by pair, over all rankings."""
    places = [dict(zip(a.samples, map(int, a.chosen.split()), strict=True)) for a in answers]
    pairs = list(combinations(sorted({sample for row in places for sample in row}), 2))
    found = []
    for a, b in pairs:
        both = [row[a] < row[b] for row in places if a in row and b in row]
        if both:
            low, high = exact_limits(sum(both), len(both), *(0.025 / len(pairs),) * 2)
            found.append(PairOrder(a, b, sum(both), len(both), low, high))
    return tuple(found)


_TESTS: dict[str, Callable[[Plan, Sequence[Choice]], Counted]] = {
    "same-different": _same_different,
    "A-not-A": _a_not_a,
    "preference": _preference,
    "ranking": _ranking,
}
