"""The report of a forced-choice test in words, tables and its figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.figures import chance_figure
from panel.analysis.missed_view import missed_in_sets
from panel.analysis.numbers import (
    ABSENT,
    as_sentence,
    limit_alone,
    natural,
    number_with_limits,
    often,
    p_cell,
    p_equals,
    share_with_limits,
    typeset,
)
from panel.analysis.view_parts import Column, Finding, ReportView, Section, Table
from stats import guess_probability
from stats.phrasing import count, percent, significant

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
    "The result holds for tasters like these, these lots and this way of serving. A house panel supports an "
    "editorial verdict, not an advertising claim."
)


def forced_choice_view(report: ForcedChoiceReport, *, title: str = "", figures: bool = True) -> ReportView:
    """What the page, the file and the terminal show of a forced-choice test. It names no sample."""
    standing = "primary" if report.planned else "exploratory"
    said = (report.replicated or report.difference).sentence()
    told = report.similarity is None or report.sentence().startswith(said)
    findings = [] if told else [Finding(typeset(said), "secondary" if report.planned else standing)]
    found = report.replicated or report.difference
    missed = missed_in_sets(
        report.test,
        report.answers,
        report.alpha,
        found.pd_upper,
        two_sided=report.difference.two_sided,
        figures=figures,
    )
    return ReportView(
        title=title or TITLES[report.test],
        question="",
        headline=typeset(report.sentence()),
        status=status(report.planned),
        findings=tuple(findings),
        facts=(
            ("Test", f"{TITLES[report.test]}; guessing is right {percent(guess_probability(report.test))}"),
            ("Took part", f"{count(report.tasters, 'taster')}, {count(report.answers, 'answer')}"),
            ("Correct", f"{report.correct} of {report.answers}"),
            ("Level", f"α = {report.alpha:g}"),
        ),
        sections=(_result(report), missed, *_tasters(report), _method(report)),
        provenance=(("Data (SHA-256)", report.data_hash), *report.versions),
        lead=_lead(report) if figures else None,
        sure=_sure(report),
    )


def status(planned: bool) -> str:
    """Whether the analysis was fixed beforehand."""
    if planned:
        return "The analysis was sealed before the data were seen."
    return "No analysis plan was sealed beforehand: every finding here is exploratory."


def _lead(report: ForcedChoiceReport) -> Figure:
    return chance_figure(
        report.correct,
        report.answers,
        guess_probability(report.test),
        report.difference.critical_value,
        title="How many right answers guessing alone would give, and how many there were",
    )


def _sure(report: ForcedChoiceReport) -> tuple[str, ...]:
    """What chance alone gives, the span of the estimate, and how far the result reaches."""
    test = report.difference
    found = report.replicated or test
    if test.two_sided:
        extreme = f"a count as far from one half as {report.correct} of {report.answers}"
    else:
        extreme = f"{report.correct} or more right of {report.answers}"
    said = [f"If everybody only guessed, {extreme} would come up in {often(test.p_value)} such panels."]
    if found.pd.low is not None and found.pd.high is not None:
        said.append(
            f"The share who tell the samples apart lies between {percent(found.pd.low)} and "
            f"{percent(found.pd.high)} ({percent(found.pd.confidence)} interval)."
        )
    if report.answers_per_taster > 1:
        said.append(
            f"The {count(report.answers, 'answer')} come from {count(report.tasters, 'taster')}: how sure the result "
            "is for other people hangs on the number of tasters, not of answers."
        )
    return (*said, CLAIM)


def _result(report: ForcedChoiceReport) -> Section:
    test = report.difference
    needed = "none would suffice" if test.critical_value is None else str(test.critical_value)
    found = report.replicated or test
    how = "exact" if report.replicated is None else "allows for tasters who differ"
    rows = [
        ("Share of correct answers", share_with_limits(found.pc), f"{how}, two-sided"),
        ("Share who tell the samples apart (pd)", share_with_limits(found.pd), f"{how}, two-sided"),
        ("pd that could have been missed", limit_alone(found.pd_upper, percent), f"{how}, one-sided"),
    ]
    if found.d_prime is not None:
        rows.append(("Size of the difference (d′)", number_with_limits(found.d_prime), f"{how}, two-sided"))
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
    gist = f"{report.correct} of {report.answers} right, {p_equals(test.p_value)}"
    return Section("result", "Result", tables=(table,), gist=gist, opened=True)


def _tasters(report: ForcedChoiceReport) -> tuple[Section, ...]:
    """Whether tasters differ, and each taster's answers; nothing where everybody answered once."""
    found = report.replicated
    if found is None:
        return ()
    tests = Table(
        caption="Do tasters differ in ability?",
        columns=(Column("Test", numeric=False), Column("Statistic"), Column("p")),
        rows=(
            (
                "Overdispersion, likelihood ratio",
                significant(found.likelihood_ratio),
                p_cell(found.likelihood_ratio_p),
            ),
            (
                "Tarone's Z",
                ABSENT if found.tarone_z is None else significant(found.tarone_z),
                p_cell(found.tarone_p),
            ),
            ("Overdispersion (limits)", number_with_limits(found.gamma), ABSENT),
        ),
        note="Overdispersion is 0 where all tasters are alike and 1 where each is always right or always wrong.",
    )
    each = Table(
        caption="Each taster",
        columns=(
            Column("Taster", numeric=False),
            *(Column(text) for text in ("Correct", "Share (limits)", "p")),
        ),
        rows=tuple(
            (one.taster, f"{one.correct} of {one.trials}", share_with_limits(one.pc), p_cell(one.p_value))
            for one in sorted(found.tasters, key=lambda one: natural(one.taster))
        ),
        note="p is of each taster alone against guessing: among many tasters a small one comes up by chance.",
        detail=True,
    )
    gist = f"overdispersion {number_with_limits(found.gamma)}"
    return (Section("people", "Who tasted: do tasters differ?", tables=(tests, each), gist=gist),)


def _method(report: ForcedChoiceReport) -> Section:
    tests = (report.difference, report.similarity, report.replicated)
    methods = dict.fromkeys(test.method for test in tests if test is not None)
    paragraphs = tuple(as_sentence(method) for method in methods)
    notes = tuple(as_sentence(note) for note in report.notes)
    return Section("method", "Method", paragraphs=paragraphs, notes=notes)
