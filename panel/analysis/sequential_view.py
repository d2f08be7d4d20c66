"""The report of a sequential test in words and tables: the decision, each step towards it, and the plan's behaviour."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.figures_plots import sequential_figure
from panel.analysis.forced_choice_view import CLAIM, TITLES, status
from panel.analysis.numbers import ABSENT, as_sentence, typeset
from panel.analysis.view_parts import Column, ReportView, Section, Table
from stats import guess_probability
from stats.phrasing import count, percent, significant

if TYPE_CHECKING:
    from panel.analysis.sequential_report import SequentialReport
    from stats.sequential import SequentialTest


def sequential_view(report: SequentialReport, *, title: str = "", figures: bool = True) -> ReportView:
    """What the page, the file and the terminal show. It names no sample."""
    name = f"{TITLES[report.test]}, sequential"
    found, guess = report.found, percent(guess_probability(report.test))
    drawn = sequential_figure(found, title="Correct answers between Wald’s lines") if figures else None
    return ReportView(
        title=title or name,
        question="",
        headline=typeset(report.sentence()),
        status=status(report.planned),
        findings=(),
        facts=(
            ("Test", f"{name}; guessing is right {guess}"),
            ("Took part", f"{count(report.tasters, 'taster')}, {count(report.answers, 'answer')}"),
            ("Correct", f"{report.correct} of {report.answers}"),
            ("Decision", _when(found)),
            ("Risks", f"α = {report.alpha:g}, β = {report.beta:g}"),
        ),
        sections=(_decision(report), _method(report)),
        provenance=(("Data (SHA-256)", report.data_hash), *report.versions),
        lead=drawn,
        sure=(_risk(found), CLAIM),
    )


def _when(found: SequentialTest) -> str:
    return f"after {count(found.decided_after, 'taster')}" if found.decided_after else "not reached"


def _decision(report: SequentialReport) -> Section:
    found = report.found
    return Section(
        "decision",
        "Decision",
        paragraphs=(as_sentence(report.notes[0]),),
        tables=(steps_table(found), plan_table(found)),
        gist=f"{found.decision}, {_when(found)}" if found.decided_after else "undecided",
        opened=True,
    )


def _method(report: SequentialReport) -> Section:
    plan = (
        f"look after each taster; stop for a difference at risk α = {report.alpha:g}, or for similarity "
        f"({percent(report.pd_limit)} who tell the samples apart ruled out) at risk β = {report.beta:g}; "
        f"{count(report.most, 'taster')} at most"
    )
    how = (as_sentence(report.method), as_sentence(f"Sealed beforehand: {plan}"))
    notes = tuple(as_sentence(note) for note in report.notes[1:])
    return Section("method", "Method", paragraphs=how, notes=notes)


def _risk(found: SequentialTest) -> str:
    """How often such a plan ends wrongly, which is all that can be said of a test that was looked at."""
    alarm, missed = percent(found.if_alike.difference, 1), percent(found.if_different.similar, 1)
    return (
        f"Followed as sealed, the plan ends with “difference” in {alarm} of panels where everybody guesses, and with "
        f"“similar” in {missed} of panels where {percent(found.pd)} tell the samples apart."
    )


def steps_table(found: SequentialTest) -> Table:
    """The decision after each taster."""
    rows = tuple(
        (
            str(step.taster),
            str(step.correct),
            ABSENT if step.similar_at_most is None else str(step.similar_at_most),
            ABSENT if step.difference_at_least is None else str(step.difference_at_least),
            step.decision,
        )
        for step in found.steps
    )
    headings = ("Correct so far", "Similar: at most", "Difference: at least")
    return Table(
        caption="The decision after each taster",
        columns=(
            Column("Taster", numeric=False),
            *(Column(text) for text in headings),
            Column("Decision", numeric=False),
        ),
        rows=rows,
        note="A dash: no number could stop the test yet. Answers after the decision change nothing.",
    )


def plan_table(found: SequentialTest) -> Table:
    """How often the plan ends in which way, and with how many tasters."""
    ends = tuple(
        (
            name,
            percent(one.difference, 1),
            percent(one.similar, 1),
            percent(one.undecided, 1),
            significant(one.mean_tasters),
        )
        for name, one in (("all guess", found.if_alike), ("the difference is as stated", found.if_different))
    )
    return Table(
        caption="How the plan behaves",
        columns=(
            Column("If", numeric=False),
            *(Column(text) for text in ("Difference", "Similar", "Undecided", "Tasters on average")),
        ),
        rows=ends,
        note="Chances of each end, exact for the counts at which the test stops.",
    )
