"""Any report -> what is shown of it."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from panel.analysis.checklist import checklist
from panel.analysis.choice_report import ChoiceReport
from panel.analysis.choice_view import choice_view
from panel.analysis.forced_choice import ForcedChoiceReport
from panel.analysis.forced_choice_view import forced_choice_view
from panel.analysis.score_view import score_view
from panel.analysis.sequential_report import SequentialReport
from panel.analysis.sequential_view import sequential_view

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.analysis.score_report import ScoreReport
    from panel.analysis.view_parts import ReportView


def report_view(
    report: ScoreReport | ForcedChoiceReport | SequentialReport | ChoiceReport,
    names: Mapping[str, str] | None = None,
    *,
    title: str = "",
    question: str = "",
    stated: Mapping[str, str] | None = None,
    figures: bool = True,
) -> ReportView:
    """What the page, the file and the terminal show of a report.

    names : blind label -> product name after the reveal; None renders the same report by label
    title, question : shown on top; question only where the report carries none
    stated : what the study states of the standard's list (keys of `checklist`); None leaves the list out
    figures : draw them (SVG text in each `Figure`)
    """
    if isinstance(report, ChoiceReport):
        view = choice_view(report, names=names, title=title, figures=figures)
    elif isinstance(report, ForcedChoiceReport):
        view = forced_choice_view(report, title=title, figures=figures)
    elif isinstance(report, SequentialReport):
        view = sequential_view(report, title=title, figures=figures)
    else:
        view = score_view(report, names=names, title=title, figures=figures)
    view = dataclasses.replace(view, question=view.question or question)
    if stated is None:
        return view
    shown = {"objective": view.question, "result": view.headline}
    return dataclasses.replace(view, sections=(*view.sections, checklist(report, {**shown, **stated})))
