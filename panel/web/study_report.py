"""The report of a study: its stored answers handed to the analysis, by blind label or, once revealed, by name."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from panel.store import studies
from panel.store.end_answers import end_answers_of
from panel.store.rows import attempts_of, choices_of, exclusions_of, scores_of
from panel.store.sealing import samples_of
from panel.study.answer_rows import Choice, Score
from panel.study.life import State
from panel.study.pseudonyms import taster_name
from panel.study.questions import points_of, wording_of
from panel.study.scales import scale_of
from panel.study.seal import digest
from panel.web.study import revealed_key

if TYPE_CHECKING:
    from panel.analysis.choice_report import ChoiceReport
    from panel.analysis.forced_choice import ForcedChoiceReport
    from panel.analysis.score_report import ScoreReport
    from panel.analysis.view_parts import ReportView
    from panel.analysis.sequential_report import SequentialReport
    from panel.store.tables import Study
    from panel.study.plan import Plan
    from panel.web.house import House


@dataclass(frozen=True, slots=True)
class Took:
    """One taster who took a place. excluded: the reason where they are left out, else ""."""

    attempt_id: str
    taster: str
    answered: int
    screens: int
    excluded: str


@dataclass(frozen=True, slots=True)
class Comments:
    """What tasters wrote about one sample, by question."""

    sample: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class StudyReport:
    """The analysis of a study as it stands. report, view: None where nothing can be analysed, with `why_not`."""

    report: ScoreReport | ForcedChoiceReport | SequentialReport | ChoiceReport | None
    view: ReportView | None
    why_not: str
    comments: tuple[Comments, ...]
    tasters: tuple[Took, ...]
    late: int

    def fingerprint(self) -> dict[str, Any]:
        """What the signature says: hashes of results and data, and who is left out."""
        results = self.report.to_dict() if self.report else {}
        excluded = sorted((took.attempt_id, took.excluded) for took in self.tasters if took.excluded)
        return {
            "results": digest(results),
            "data": self.report.data_hash if self.report else "",
            "left out": [attempt for attempt, _reason in excluded],
            "late answers left out": self.late,
        }


def build_report(house: House, study: Study, *, figures: bool = True, signing: bool = False) -> StudyReport:
    """Analyse what is stored: late answers and excluded tasters stay outside, and are counted.

    Which sample is the reference, and which two are one, is used from the signature on, not before.
    """
    plan = studies.plan_of(study)
    fixed = signing or study.state in (State.SIGNED, State.REVEALED)
    with house.database.read() as session:
        scores = [*scores_of(session, study), *end_answers_of(session, study)]
        choices = choices_of(session, study)
        excluded = exclusions_of(session, study.id)
        samples = samples_of(session, study.id) if fixed else []
        seats = attempts_of(session, study.id)
    names = {label: product.name for label, product in revealed_key(house, study)} or None
    late = sum(score.late for score in scores) + sum(choice.late for choice in choices)
    kept_scores = [score for score in scores if not score.late and score.attempt_id not in excluded]
    kept_choices = [choice for choice in choices if not choice.late and choice.attempt_id not in excluded]
    roles = {sample.blind_label: sample.role for sample in samples if sample.role}
    report, why_not = _analysed(plan, kept_scores, kept_choices, roles)
    tasters = tuple(
        Took(
            seat.attempt_id,
            taster_name(seat.place, seat.attempt_number),
            seat.answered,
            seat.screens,
            excluded.get(seat.attempt_id, ""),
        )
        for seat in seats
    )
    view = house.local.view(_view(plan, report, names, figures)) if report else None
    return StudyReport(report, view, why_not, _comments(plan, kept_scores, names), tasters, late)


def _analysed(
    plan: Plan, scores: list[Score], choices: list[Choice], roles: dict[str, str]
) -> tuple[ScoreReport | ForcedChoiceReport | SequentialReport | ChoiceReport | None, str]:
    from panel.analysis.study_analysis import analyse_study

    try:
        return analyse_study(plan, scores, choices, roles=roles), ""
    except ValueError as error:
        return None, f"There is too little to analyse yet: {error}."


def _view(
    plan: Plan,
    report: ScoreReport | ForcedChoiceReport | SequentialReport | ChoiceReport,
    names: dict[str, str] | None,
    figures: bool,
) -> ReportView:
    from panel.analysis.view import report_view

    return report_view(report, names, title=plan.title, question=plan.question, figures=figures)


def _comments(plan: Plan, scores: list[Score], names: dict[str, str] | None) -> tuple[Comments, ...]:
    """What was written about each sample; then what was answered once at the end, question by question."""
    written = {question.key for question in plan.questions if not scale_of(question.scale).numeric}
    texts: dict[str, list[str]] = {}
    for score in scores:
        if score.sample and score.question in written and isinstance(score.value, str) and score.value:
            called = score.sample if names is None else f"{names[score.sample]} ({score.sample})"
            texts.setdefault(called, []).append(score.value)
    about = tuple(Comments(sample, tuple(found)) for sample, found in sorted(texts.items()))
    return (*about, *_at_the_end(plan, [score for score in scores if not score.sample]))


def _at_the_end(plan: Plan, answers: list[Score]) -> tuple[Comments, ...]:
    """Words as written; answers in points counted, the most frequent first."""
    labels = {q.key: {float(p.value): p.label for p in points_of(q)} for q in plan.questions}
    found: list[Comments] = []
    for name, wording in wording_of(plan).items():
        values = [a.value for a in answers if a.question == name and a.value not in (None, "")]
        known = labels.get(name.partition(".")[0], {})
        said = [v if isinstance(v, str) else known.get(v, f"{v:g}") for v in values if v is not None]
        if said and all(isinstance(value, str) for value in values):
            found.append(Comments(wording, tuple(said)))
        elif said:
            counted = Counter(said).most_common()
            found.append(Comments(wording, tuple(f"{words}: {number}" for words, number in counted)))
    return tuple(found)


def signed_json(report: StudyReport) -> str:
    """What is stored at signing: every result, in one form."""
    results = report.report.to_dict() if report.report else {}
    return json.dumps({"report": results, **report.fingerprint()}, ensure_ascii=False, sort_keys=True)
