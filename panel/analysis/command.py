"""What `analyse FILE` does with a file's bytes: read, check, analyse, and say it as text, JSON or page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.analysis import analyse_scores
from panel.analysis.plain_text import text_report
from panel.analysis.reading import read_scores
from panel.analysis.view import report_view
from stats.results import JSON, plain

if TYPE_CHECKING:
    from panel.analysis.mapping import Mapping
    from panel.analysis.score_report import ScoreReport
    from panel.analysis.scores import ScoreTable
    from panel.analysis.view_parts import ReportView


@dataclass(frozen=True, slots=True)
class Options:
    """What the user says about a file. What is left open is guessed and shown; with guess=False it stays open."""

    mapping: Mapping | None = None
    reference: str | None = None
    alpha: float = 0.05
    guess: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """The read table and its report; the report is None where `problems` (sentences) stopped it."""

    table: ScoreTable
    report: ScoreReport | None
    problems: tuple[str, ...]

    @property
    def ok(self) -> bool:
        return self.report is not None

    def view(self, *, figures: bool = True) -> ReportView:
        """What the page or the file shows; ValueError where there is no report."""
        if self.report is None:
            raise ValueError(f"there is no report: {self.problems[0]}")
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
    """Read and analyse a file. Whatever is wrong with it comes back as sentences, never as an exception."""
    table = read_scores(data, name, options.mapping, guess=options.guess)
    if not table.ok:
        return Outcome(table, None, tuple(problem.text for problem in table.problems))
    try:
        report = analyse_scores(table, reference=options.reference, alpha=options.alpha)
    except ValueError as error:
        return Outcome(table, None, (f"{error}.",))
    return Outcome(table, report, ())
