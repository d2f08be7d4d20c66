"""What the standards ask a test report to state: each item filled, or shown as missing.

The lists follow ISO 4120:2021 (with ASTM E1885) and ISO 11136:2014 with Amd 1:2020, from memory; compare them
with the clauses before you claim conformity.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.forced_choice import ForcedChoiceReport
from panel.analysis.view_parts import Column, Section, Table
from stats.phrasing import count, percent

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.analysis.score_report import ScoreReport

MISSING = "not stated"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to state. key : under which the study states it, or the report itself does."""

    key: str
    text: str


_FOR_ALL = (
    Item("objective", "Objective of the test"),
    Item("samples", "Samples: origin, lot, preparation, quantity, storage"),
    Item("serving", "How the samples were served: temperature, vessel, amount, carrier"),
    Item("tasters", "Number of tasters"),
    Item("experience", "Who the tasters were: recruitment, experience, age and sex"),
    Item("instructions", "Information and instructions given to the tasters"),
    Item("environment", "Test environment"),
    Item("design", "Design and order of serving"),
)
_AT_THE_END = (
    Item("place and date", "Place and date"),
    Item("leader", "Who led the test"),
    Item("deviations", "Deviations from the plan or the standard"),
)
FORCED_CHOICE = (
    *_FOR_ALL,
    Item("correct", "Number of correct answers"),
    Item("levels", "α, β and pd"),
    Item("result", "Statistical result"),
    Item("disclosure", "Whether the samples' identity was disclosed after the test, and how"),
    *_AT_THE_END,
)
SCORES = (
    *_FOR_ALL,
    Item("questionnaire", "Questions and scales, word for word"),
    Item("result", "Statistical result"),
    Item("inference", "To whom the result extends"),
    *_AT_THE_END,
)
INFERENCE = "To tasters like these, these lots and this way of serving; no further."


def checklist(report: ScoreReport | ForcedChoiceReport, stated: Mapping[str, str]) -> Section:
    """The list for the kind of test. stated : item key -> text, for what only the study knows."""
    forced = isinstance(report, ForcedChoiceReport)
    own = _of_forced_choice(report) if isinstance(report, ForcedChoiceReport) else _of_scores(report)
    known = {**own, **{key: text for key, text in stated.items() if text.strip()}}
    items = FORCED_CHOICE if forced else SCORES
    missing = sum(item.key not in known for item in items)
    told = (
        "Everything is stated."
        if not missing
        else f"{count(missing, 'item')} of {len(items)} not stated yet."
    )
    table = Table(
        caption=f"What {'ISO 4120' if forced else 'ISO 11136'} asks a report to state",
        columns=(Column("Item", numeric=False), Column("Stated", numeric=False)),
        rows=tuple((item.text, known.get(item.key, MISSING)) for item in items),
        note="The list is from memory of the standard: compare it with the clause before you claim conformity.",
    )
    return Section("checklist", "Checklist", paragraphs=(told,), tables=(table,))


def _of_forced_choice(report: ForcedChoiceReport) -> dict[str, str]:
    levels = f"α = {report.alpha:g}"
    if report.similarity is not None:
        levels += f", β = {report.similarity.beta:g}, pd = {percent(report.similarity.pd_limit)}"
    return {
        "tasters": str(report.tasters),
        "correct": f"{report.correct} of {report.answers}",
        "levels": levels,
        "result": report.sentence(),
    }


def _of_scores(report: ScoreReport) -> dict[str, str]:
    own = {"tasters": str(report.tasters), "result": "in this report, by attribute", "inference": INFERENCE}
    return own | ({"objective": report.question} if report.question else {})
