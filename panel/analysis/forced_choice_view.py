"""The report of a forced-choice test in words, tables and its figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.figures import chance_figure
from panel.analysis.numbers import number_with_limits, p_cell, share_with_limits
from panel.analysis.view_parts import Column, Finding, ReportView, Section, Table
from stats import guess_probability
from stats.phrasing import count, percent

if TYPE_CHECKING:
    from panel.analysis.figures import Figure
    from panel.analysis.forced_choice import ForcedChoiceReport

TITLES = {
    "triangle": "Triangle test",
    "duo-trio": "Duo-trio test",
    "2-AFC": "Paired comparison (2-AFC)",
    "3-AFC": "3-AFC test",
    "tetrad": "Tetrad test",
    "two-out-of-five": "Two-out-of-five test",
}
CLAIM = (
    "The result holds for these tasters, these lots and this way of serving. A house panel supports an "
    "editorial verdict, not an advertising claim."
)


def forced_choice_view(report: ForcedChoiceReport, *, title: str = "", figures: bool = True) -> ReportView:
    """What the page, the file and the terminal show of a forced-choice test. It names no sample."""
    standing = "primary" if report.planned else "exploratory"
    findings = [Finding(report.difference.sentence(), standing)]
    if report.similarity is not None:
        findings = [Finding(report.similarity.sentence(), standing), Finding(findings[0].text, "secondary")]
    return ReportView(
        title=title or TITLES[report.test],
        question="",
        headline=report.sentence(),
        status=status(report.planned),
        findings=tuple(findings[1:]),
        facts=(
            ("Test", f"{TITLES[report.test]}; guessing is right {percent(guess_probability(report.test))}"),
            ("Took part", f"{count(report.tasters, 'taster')}, {count(report.answers, 'answer')}"),
            ("Correct", f"{report.correct} of {report.answers}"),
        ),
        sections=(_result(report, figures), _method(report)),
        provenance=(("Data (SHA-256)", report.data_hash), *report.versions),
    )


def status(planned: bool) -> str:
    """Whether the analysis was fixed beforehand."""
    if planned:
        return "The analysis was sealed before the data were seen."
    return "No analysis plan was sealed beforehand: every finding here is exploratory."


def _result(report: ForcedChoiceReport, figures: bool) -> Section:
    test = report.difference
    needed = "none would suffice" if test.critical_value is None else str(test.critical_value)
    rows = [
        ("Share of correct answers", share_with_limits(test.pc), "exact, two-sided"),
        ("Share who tell the samples apart (pd)", share_with_limits(test.pd), "exact, two-sided"),
        ("The same, what could have been missed", share_with_limits(test.pd_upper), "exact, one-sided"),
    ]
    if test.d_prime is not None:
        rows.append(("Size of the difference (d′)", number_with_limits(test.d_prime), "exact, two-sided"))
    rows.append(("Fewest correct that show a difference", needed, f"α = {report.alpha:g}"))
    rows.append(("p of the difference test", p_cell(test.p_value), "exact binomial"))
    if report.similarity is not None:
        similar = report.similarity
        most = "none would suffice" if similar.critical_value is None else str(similar.critical_value)
        limit = percent(similar.pd_limit)
        rows.append(("Most correct that show similarity", most, f"limit {limit}, β = {similar.beta:g}"))
        rows.append(("p of the similarity test", p_cell(similar.p_value), "exact binomial"))
    table = Table(
        caption=f"Estimates with {percent(test.pc.confidence)} limits",
        columns=(
            Column("Quantity", numeric=False),
            Column("Estimate (limits)"),
            Column("Kind", numeric=False),
        ),
        rows=tuple(rows),
        note="pd depends on the method and is not comparable between methods; d′ is.",
    )
    drawn: tuple[Figure, ...] = ()
    if figures:
        guess = guess_probability(report.test)
        figure = chance_figure(
            report.correct, report.answers, guess, test.critical_value, title=TITLES[report.test]
        )
        drawn = (figure,)
    return Section("result", "Result", figures=drawn, tables=(table,))


def _method(report: ForcedChoiceReport) -> Section:
    methods = [report.difference.method, *([report.similarity.method] if report.similarity else [])]
    paragraphs = tuple(f"{method}." for method in methods)
    return Section("method", "Method and limits", paragraphs=(*paragraphs, CLAIM), notes=report.notes)
