"""The report of a study: its stored answers handed to the analysis, by blind label or, once revealed, by name."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from panel.analysis.study_parts import Took, parts_before_the_method, seal_section, stated_by_the_study
from panel.store import studies
from panel.store.end_answers import end_answers_of
from panel.store.rows import attempts_of, choices_of, exclusions_of, scores_of
from panel.store.sealing import samples_of
from panel.study.life import State
from panel.study.plan import plan_from_dict
from panel.study.pseudonyms import taster_name
from panel.study.seal import digest
from panel.web.study import revealed_key
from panel.web.study_record import comments_of, record_of
from stats.phrasing import listing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.analysis.choice_report import ChoiceReport
    from panel.analysis.forced_choice import ForcedChoiceReport
    from panel.analysis.score_report import ScoreReport
    from panel.analysis.sequential_report import SequentialReport
    from panel.analysis.study_parts import Comments, StudyRecord
    from panel.analysis.view_parts import ReportView
    from panel.store.rows import SeatProgress
    from panel.store.tables import Study
    from panel.study.answer_rows import Choice, Score
    from panel.web.house import House

    AnyReport = ScoreReport | ForcedChoiceReport | SequentialReport | ChoiceReport
    Pairs = tuple[tuple[str, str], ...]

KEPT_REPORTS = 8  # analyses kept in memory: a page that is looked at again need not be computed again


@dataclass(frozen=True, slots=True, eq=False)
class StudyReport:
    """The analysis of a study as it stands. report, view: None where nothing can be analysed, with `why_not`."""

    report: AnyReport | None
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


def build_report(
    house: House,
    study: Study,
    *,
    shown: bool = True,
    signing: bool = False,
) -> StudyReport:
    """Analyse what is stored: late answers and excluded tasters stay outside, and are counted.

    Which sample is the reference, and which two are one, is used from the signature on, not before.
    shown : whether the view is wanted too, which takes a while
    """
    plan = studies.plan_of(study)
    fixed = signing or study.state in (State.SIGNED, State.REVEALED)
    with house.database.read() as session:
        scores = [*scores_of(session, study), *end_answers_of(session, study)]
        choices = choices_of(session, study)
        excluded = exclusions_of(session, study.id)
        samples = samples_of(session, study.id) if fixed else []
        seats = attempts_of(session, study.id)
    late = sum(score.late for score in scores) + sum(choice.late for choice in choices)
    kept = [score for score in scores if not score.late and score.attempt_id not in excluded]
    chosen = [choice for choice in choices if not choice.late and choice.attempt_id not in excluded]
    roles = tuple((sample.blind_label, sample.role) for sample in samples if sample.role)
    report, why_not = _analysed(study.plan, tuple(kept), tuple(chosen), roles)
    tasters = tuple(_took(seat, excluded) for seat in seats)
    names = tuple((label, product.name) for label, product in revealed_key(house, study))
    comments = comments_of(plan, kept, dict(names) or None)
    if report is None:
        return StudyReport(None, None, why_not, comments, tasters, late)
    view = None
    if shown:
        whole = ""
        if len(kept) < len(scores) or len(chosen) < len(choices):
            everything = _shown(study.plan, tuple(scores), tuple(choices), roles, names)
            whole = everything.headline if everything is not None else ""
        record = record_of(
            house, study, plan, tasters=tasters, comments=comments, late=late, all_counted=whole
        )
        results = _shown(study.plan, tuple(kept), tuple(chosen), roles, names)
        assert results is not None
        view = house.local.view(_with_verdict(house, study, _with_record(results, report, record)))
    return StudyReport(report, view, "", comments, tasters, late)


def _with_verdict(house: House, study: Study, view: ReportView) -> ReportView:
    """The same report, with what taste and bench come to together in front; nothing before the reveal."""
    from panel.web.verdict_inputs import has_verdict
    from panel.web.verdict_parts import closing_sections, leading_sections, settled

    if not has_verdict(study):
        return view
    found = settled(house, study)
    sections = (*leading_sections(found), *view.sections, *closing_sections(found))
    return dataclasses.replace(view, sections=sections)


def _took(seat: SeatProgress, excluded: Mapping[str, str]) -> Took:
    name = taster_name(seat.place, seat.attempt_number)
    return Took(seat.attempt_id, name, seat.answered, seat.screens, excluded.get(seat.attempt_id, ""))


@lru_cache(maxsize=KEPT_REPORTS)
def _analysed(
    plan: str, scores: tuple[Score, ...], choices: tuple[Choice, ...], roles: Pairs
) -> tuple[AnyReport | None, str]:
    """The sealed analysis of these rows, and why there is none. plan : as stored, so that it can be compared."""
    from panel.analysis.study_analysis import analyse_study, too_little

    try:
        return analyse_study(plan_from_dict(json.loads(plan)), scores, choices, roles=dict(roles)), ""
    except ValueError as error:
        return None, f"There is too little to analyse yet: {too_little(error)}."


@lru_cache(maxsize=KEPT_REPORTS)
def _shown(
    plan: str, scores: tuple[Score, ...], choices: tuple[Choice, ...], roles: Pairs, names: Pairs
) -> ReportView | None:
    """The results of these rows in words and figures, which are drawn once."""
    from panel.analysis.view import report_view

    report, _ = _analysed(plan, scores, choices, roles)
    sealed = plan_from_dict(json.loads(plan))
    return (
        report_view(report, dict(names) or None, title=sealed.title, question=sealed.question)
        if report is not None
        else None
    )


def _with_record(view: ReportView, report: AnyReport, record: StudyRecord) -> ReportView:
    """The results with what the study's log and plan say beside them."""
    from panel.analysis.checklist import checklist

    parts = view.with_sections(*parts_before_the_method(record)).sections
    asked = checklist(report, {"result": view.headline, **stated_by_the_study(record)})
    facts = view.facts
    if record.products and not any(term == "Samples" for term, _ in facts):
        named = [f"{product.name} ({label})" for label, product in record.products]
        facts = (("Samples", f"{len(named)}: {listing(named)}"), *facts)
    return dataclasses.replace(view, facts=facts, sections=(*parts, asked, seal_section(record)))


def signed_json(report: StudyReport) -> str:
    """What is stored at signing: every result, in one form."""
    results = report.report.to_dict() if report.report else {}
    return json.dumps({"report": results, **report.fingerprint()}, ensure_ascii=False, sort_keys=True)
