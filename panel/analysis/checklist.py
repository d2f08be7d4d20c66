"""What the standards ask a test report to state: each item filled, or shown as missing.

The lists follow, from memory: ISO 4120:2021, ISO 10399, ISO 5495 and ASTM E1885 (forced choice), ISO 8588 and ASTM
E2139 (A-not-A, same-different), ISO 8587 (ranking), ISO 11136:2014 with Amd 1:2020 (hedonic). Compare them with
the clauses before you claim conformity.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.choice_report import ChoiceReport
from panel.analysis.forced_choice import ForcedChoiceReport
from panel.analysis.numbers import typeset
from panel.analysis.sequential_report import SequentialReport
from panel.analysis.view_parts import Column, Section, Table
from panel.study.statements import TO_STATE
from panel.study.test_methods import method_of
from stats.phrasing import count, percent

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.analysis.score_report import ScoreReport

    AnyReport = ScoreReport | ForcedChoiceReport | SequentialReport | ChoiceReport

MISSING = "not stated"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to state. key : under which the study states it, or the report itself does."""

    key: str
    text: str


def _items(*keys: str) -> tuple[Item, ...]:
    texts = {**_ITEMS, **TO_STATE}
    return tuple(Item(key, texts[key]) for key in keys)


_ITEMS = {
    "objective": "Objective of the test",
    "standard": "Method and the standard followed",
    "tasters": "Number of tasters",
    "attendance": "How many came, finished and were counted",
    "number of samples": "Number of samples, and whether there was a reference",
    "instructions": "Information and instructions given to the tasters",
    "questionnaire": "Questions and scales, word for word",
    "design": "Design and order of serving",
    "correct": "Number of correct answers",
    "counts": "Number of answers of each kind",
    "levels": "α, β and pd",
    "level": "α",
    "result": "Statistical result",
    "disclosure": "Whether the samples' identity was disclosed after the test, and how",
    "inference": "To whom the result extends",
    "date": "Date",
    "deviations": "Deviations from the plan or the standard",
}
_BEFORE = (
    "objective",
    "standard",
    "samples",
    "serving",
    "tasters",
    "experience",
    "instructions",
    "environment",
)
_AFTER = ("disclosure", "place", "date", "leader", "deviations")
FORCED_CHOICE = _items(*_BEFORE, "design", "correct", "levels", "result", *_AFTER)
TWO_PRODUCTS = _items(*_BEFORE, "design", "counts", "level", "result", *_AFTER)
RANKING = _items(*_BEFORE, "number of samples", "design", "level", "result", *_AFTER)
SCORES = _items(
    *_BEFORE, "attendance", "design", "questionnaire", "segments", "level", "result", "inference", *_AFTER
)
INFERENCE = "To tasters like these, these lots and this way of serving; no further."


def checklist(report: AnyReport, stated: Mapping[str, str]) -> Section:
    """The list for the kind of test. stated : item key -> text, for what only the study knows."""
    items, own = _of(report)
    known = {**own, **{key: text for key, text in stated.items() if text.strip()}}
    missing = sum(item.key not in known for item in items)
    told = (
        "Everything is stated."
        if not missing
        else f"{count(missing, 'item')} of {len(items)} not stated yet."
    )
    table = Table(
        caption=f"What {known.get('standard') or _standard(report)} asks a report to state",
        columns=(Column("Item", numeric=False), Column("Stated", numeric=False)),
        rows=tuple((item.text, known.get(item.key, MISSING)) for item in items),
        note="The list is from memory of the standard: compare it with the clause before you claim conformity.",
    )
    gist = f"{missing} of {len(items)} not stated" if missing else "everything is stated"
    return Section("checklist", "Checklist", paragraphs=(told,), tables=(table,), gist=gist)


def _standard(report: AnyReport) -> str:
    test = getattr(report, "test", "rating")
    return method_of(test).standard


def _of(report: AnyReport) -> tuple[tuple[Item, ...], dict[str, str]]:
    """The list, and what the report itself states of it."""
    own = {
        "tasters": str(report.tasters),
        "level": f"α = {report.alpha:g}",
        "standard": _standard(report),
        "result": typeset(report.sentence()),
    }
    if isinstance(report, ForcedChoiceReport | SequentialReport):
        own |= {"correct": f"{report.correct} of {report.answers}", "levels": _levels(report)}
        return FORCED_CHOICE, own
    if isinstance(report, ChoiceReport):
        told = [f"{what or 'No preference'}: {number}" for what, number in report.counts]
        own |= {"counts": "; ".join(told), "number of samples": str(len(report.samples))}
        return (RANKING if report.kind == "ranking" else TWO_PRODUCTS), own
    own |= {"inference": INFERENCE}
    own |= {"objective": report.question} if report.question else {}
    return SCORES, own


def _levels(report: ForcedChoiceReport | SequentialReport) -> str:
    levels = f"α = {report.alpha:g}"
    if isinstance(report, SequentialReport):
        return f"{levels}, β = {report.beta:g}, pd = {percent(report.pd_limit)}"
    if report.similarity is not None:
        levels += f", β = {report.similarity.beta:g}, pd = {percent(report.similarity.pd_limit)}"
    return levels
