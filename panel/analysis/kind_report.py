"""The report of a table that is no table of scores: its results, the answer first, and how it was read."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.forced_choice_view import CLAIM, status
from panel.analysis.numbers import as_sentence, typeset
from panel.analysis.provenance import rows_hash, versions
from panel.analysis.view_parts import Finding, ReportView, Section
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.analysis.columns import Columns
    from panel.analysis.drawing import Figure


MEASURED = "Readings of an instrument: no panel was asked."


@dataclass(frozen=True, slots=True)
class Asked:
    """What the user says about a table. What a kind does not use it leaves alone.

    columns : role -> heading; terms : headings of check-all terms or just-about-right scales
    test : forced-choice method; pd_limit, d_prime : the difference that matters; beta : the risk of missing it
    one_sided : whether only "the first is preferred" was asked; drop : leave "no preference" out of the test
    order : samples as predicted beforehand, first-ranked first; ambient : temperature of the surroundings
    window : temperatures between which a drink or dish is good
    """

    columns: Mapping[str, str]
    terms: tuple[str, ...] = ()
    alpha: float = 0.05
    beta: float = 0.05
    test: str = "triangle"
    pd_limit: float | None = None
    d_prime: float | None = None
    most_tasters: int | None = None
    one_sided: bool = False
    drop: bool = False
    order: tuple[str, ...] = ()
    ambient: float | None = None
    window: tuple[float, float] | None = None
    just_right: float = 3.0


@dataclass(frozen=True, slots=True)
class KindReport(Result):
    """Results of one kind of table.

    results : name and result, the one that answers the question first
    answer : the answer in a sentence or two; findings : what else was found
    facts : term and text, who took part and what was read
    readings : name -> pairs of numbers behind a curve; labels : samples that the results call first, second
    """

    kind: str
    title: str
    answer: str
    findings: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    results: tuple[tuple[str, Result], ...]
    alpha: float
    assumptions: tuple[str, ...]
    versions: tuple[tuple[str, str], ...]
    data_hash: str
    method: str
    notes: tuple[str, ...]
    readings: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] = ()
    labels: tuple[str, ...] = ()

    def sentence(self) -> str:
        """The answer."""
        return self.answer


def kind_report(
    kind: str,
    columns: Columns,
    asked: Asked,
    results: Sequence[tuple[str, Result]],
    *,
    title: str,
    facts: Sequence[tuple[str, str]],
    answer: str = "",
    findings: Sequence[str] | None = None,
    readings: Sequence[tuple[str, tuple[tuple[float, float], ...]]] = (),
    labels: Sequence[str] = (),
) -> KindReport:
    """The report with what all kinds share. answer, findings : the results' own sentences unless given."""
    notes = dict.fromkeys(note for _, result in results for note in result.notes)
    rows = (columns.raw.columns, *columns.raw.rows)
    return KindReport(
        kind=kind,
        title=title,
        answer=answer or results[0][1].sentence(),
        findings=tuple([one.sentence() for _, one in results[1:]] if findings is None else findings),
        facts=tuple(facts),
        results=tuple(results),
        alpha=asked.alpha,
        assumptions=(*columns.raw.assumptions, *columns.said),
        versions=versions(),
        data_hash=rows_hash(rows),
        method="; ".join(dict.fromkeys(result.method for _, result in results)),
        notes=tuple(notes),
        readings=tuple(readings),
        labels=tuple(labels),
    )


def kind_view(report: KindReport, sections: Sequence[Section], *, title: str = "") -> ReportView:
    """What the page, the file and the terminal show; `sections` are the kind's own tables and figures."""
    methods = tuple(as_sentence(text) for text in dict.fromkeys(one.method for _, one in report.results))
    told = {note for section in sections for note in section.notes}
    sections = [
        dataclasses.replace(one, paragraphs=tuple(text for text in one.paragraphs if text != report.answer))
        for one in sections
    ]
    reading = (
        (Section("reading", "How the file was read", notes=report.assumptions),) if report.assumptions else ()
    )
    method = Section(
        "method",
        "Method",
        paragraphs=methods,
        notes=tuple(note for note in map(as_sentence, report.notes) if note not in told),
    )
    lead, sections = _leading(sections)
    return ReportView(
        title=title or report.title,
        question="",
        headline=typeset(report.answer),
        status=MEASURED if report.kind == "cooling" else status(planned=False),
        findings=tuple(Finding(typeset(text), "exploratory") for text in report.findings),
        facts=(*report.facts, ("Level", f"α = {report.alpha:g}")),
        sections=(*sections, *reading, method),
        provenance=(("Data (SHA-256)", report.data_hash), *report.versions),
        lead=lead,
        sure=() if report.kind == "cooling" else (CLAIM,),
    )


def _leading(sections: list[Section]) -> tuple[Figure | None, list[Section]]:
    """The first figure of the first part goes to the top of the report, and that part is unfolded."""
    if not sections:
        return None, sections
    first, *rest = sections
    lead = first.figures[0] if first.figures else None
    return lead, [dataclasses.replace(first, figures=first.figures[1:], opened=True), *rest]
