"""What `analyse FILE` does with a file's bytes: read, check, analyse, and say it as text, JSON or page."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from panel.analysis.analysis import analyse_scores
from panel.analysis.kind_report import KindReport, kind_view
from panel.analysis.kinds import kind_called
from panel.analysis.plain_text import text_report
from panel.analysis.reading import read_scores, read_table
from panel.analysis.scores import ScoreTable
from panel.analysis.table import UnreadableTable
from panel.analysis.view import report_view
from stats.results import JSON, plain

if TYPE_CHECKING:
    from collections.abc import Mapping as Dict

    from panel.analysis.columns import Columns
    from panel.analysis.forced_choice import ForcedChoiceReport
    from panel.analysis.kind_report import Asked
    from panel.analysis.mapping import Mapping
    from panel.analysis.score_report import ScoreReport
    from panel.analysis.table import Problem
    from panel.analysis.view_parts import ReportView


@dataclass(frozen=True, slots=True)
class Options:
    """What the user says about a table of scores. What is left open is guessed and shown; with guess=False it
    stays open.

    kinds : attribute -> "liking", "intensity", "jar", "check-all"; correction, roles : as for `analyse_scores`
    """

    mapping: Mapping | None = None
    reference: str | None = None
    alpha: float = 0.05
    guess: bool = True
    correction: str = "holm"
    kinds: Dict[str, str] = field(default_factory=dict)
    roles: Dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """The read table and its report; the report is None where `problems` (sentences) stopped it."""

    table: ScoreTable
    report: ScoreReport | ForcedChoiceReport | KindReport | None
    problems: tuple[str, ...]

    @property
    def ok(self) -> bool:
        return self.report is not None

    def view(self, *, figures: bool = True) -> ReportView:
        """What the page or the file shows; ValueError where there is no report."""
        if self.report is None:
            raise ValueError(f"there is no report: {self.problems[0]}")
        if isinstance(self.report, KindReport):
            return kind_view(self.report, kind_called(self.report.kind).sections(self.report, figures))
        return report_view(self.report, figures=figures)

    def text(self) -> str:
        """The report for a terminal, or what was assumed and what is wrong with the file."""
        if self.report is not None:
            return text_report(self.view(figures=False))
        lines = [f"{self.table.name} cannot be analysed:", *(f"- {problem}" for problem in self.problems)]
        if self.table.assumptions:
            lines += ["", "How it was read:", *(f"- {said}" for said in self.table.assumptions)]
        return "\n".join(lines) + "\n"

    def to_dict(self) -> dict[str, JSON]:
        """Everything in plain JSON types: how the file was read, its problems, every result."""
        table = self.table
        return {
            "file": table.name,
            "mapping": plain(table.mapping.to_dict()),
            "counts": plain(table.counts),
            "assumptions": list(table.assumptions),
            "problems": [plain(problem.to_dict()) for problem in table.problems] or list(self.problems),
            "report": self.report.to_dict() if self.report else None,
        }


def run(data: bytes, name: str, options: Options = Options()) -> Outcome:
    """Read and analyse a table of scores. What is wrong with it comes back as sentences, never as an exception."""
    table = read_scores(data, name, options.mapping, guess=options.guess)
    if not table.ok:
        return _faulty(table)
    try:
        report = analyse_scores(
            table,
            reference=options.reference,
            alpha=options.alpha,
            correction=options.correction,
            kinds=options.kinds,
            roles=options.roles,
        )
    except ValueError as error:
        return Outcome(table, None, (f"{error}.",))
    return Outcome(table, report, ())


def run_as(kind: str, data: bytes, name: str, asked: Asked, options: Options = Options()) -> Outcome:
    """Read and analyse a table of another kind (`kinds.KINDS`). ValueError for an unknown kind."""
    found = kind_called(kind)
    if found.name == "scores":
        return run(data, name, options)
    if found.read is None:
        return _ranked(read_scores(data, name, options.mapping, guess=options.guess), asked)
    try:
        columns = _columns(data, name, asked)
    except UnreadableTable as error:
        return _faulty(ScoreTable.unreadable(name, error.problem))
    problems: tuple[Problem, ...] = columns.raw.problems
    said, report = "", None
    if not problems:
        try:
            report = found.read(columns, asked)
        except ValueError as error:
            problems, said = getattr(error, "problems", ()), f"{error}."
    table = ScoreTable.unreadable(name, *problems, assumptions=(*columns.raw.assumptions, *columns.said))
    if report is not None:
        return Outcome(table, report, ())
    return Outcome(table, None, tuple(problem.text for problem in problems) or (said,))


def _columns(data: bytes, name: str, asked: Asked) -> Columns:
    from panel.analysis.columns import Columns

    return Columns(read_table(data, name), asked.columns)


def _ranked(table: ScoreTable, asked: Asked) -> Outcome:
    from panel.analysis.kind_ranking import ranking_table

    if not table.ok:
        return _faulty(table)
    try:
        return Outcome(table, ranking_table(table, asked), ())
    except ValueError as error:
        return Outcome(table, None, (f"{error}.",))


def _faulty(table: ScoreTable) -> Outcome:
    return Outcome(table, None, tuple(problem.text for problem in table.problems))
