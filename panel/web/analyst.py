"""The analyst's page: the report by blind label, exclusions with reasons, the signature."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response

from panel.printing.browser_pdf import browser
from panel.store import studies
from panel.store.alone import require_all_read
from panel.store.exclusions import exclude, take_back
from panel.store.ledger import events_of, locked_study
from panel.store.revisions import corrections_in
from panel.study.alone import STATEMENT
from panel.study.draft_reader import tidy
from panel.study.happenings import Happening, SealTerms, looks_at_names, terms_of, what_happened
from panel.study.life import Move
from panel.study.problems import Problem
from panel.web.access import AnalystsStudy, AsAnalyst
from panel.web.own_words import Reworded, reworded_in
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.study_page import StudyHead, head_of_page
from panel.web.study_report import build_report, signed_json

if TYPE_CHECKING:
    from panel.analysis.study_parts import Comments, Took
    from panel.analysis.view_parts import ReportView
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()
LONGEST_REASON = 300


@dataclass(frozen=True, slots=True)
class ReportPage:
    """The report with what the analyst may still decide. alone: what is said of a study of one person, else "".

    reworded : what tasters read in the organiser's own words, by part; corrections : by tasters, before closing
    """

    head: StudyHead
    view: ReportView | None
    why_not: str
    comments: tuple[Comments, ...]
    tasters: tuple[Took, ...]
    late: int
    reworded: tuple[Reworded, ...]
    corrections: int
    may_sign: bool
    pdf: bool
    signed: dict[str, Any]
    unchanged: bool
    alone: str
    terms: SealTerms | None
    happened: tuple[Happening, ...]
    looks: int
    problems: tuple[Problem, ...]


@router.get("/studies/{study_id}/report")
def show_report(request: Request, house: InHouse, study: AnalystsStudy) -> Response:
    studies.require_results(study)
    return _report_page(request, house, study)


@router.post("/studies/{study_id}/exclusions")
def change_exclusion(
    request: Request, house: InHouse, who: AsAnalyst, study: AnalystsStudy, sent: Sent
) -> Response:
    studies.require(study, Move.EXCLUDE)
    studies.require_results(study)
    attempt, reason = sent.get("attempt", ""), tidy(sent.get("reason", ""))
    if sent.get("back"):
        with house.database.write() as session:
            take_back(session, study.id, who.actor, attempt)
        return see_other(f"/studies/{study.id}/report#people-kept")
    if not reason or len(reason) > LONGEST_REASON:
        text = f"Write why this taster is left out, in 1 to {LONGEST_REASON} characters: the report shows it."
        return _report_page(request, house, study, (Problem(f"reason-{attempt}", "missing", text),), 422)
    with house.database.write() as session:
        exclude(session, study.id, who.actor, attempt, reason)
    return see_other(f"/studies/{study.id}/report#people-kept")


@router.post("/studies/{study_id}/sign")
def sign(request: Request, house: InHouse, who: AsAnalyst, study: AnalystsStudy, sent: Sent) -> Response:
    studies.require(study, Move.SIGN)
    with house.database.read() as session:
        require_all_read(session, study)
    name = tidy(sent.get("signed_by", ""))
    if not name and studies.plan_of(study).alone:
        raise studies.ForbiddenMoveError(
            "Write your name below the rounds to sign, then run the analysis again."
        )
    if not name:
        return _report_page(
            request, house, study, (Problem("signed_by", "missing", "Write your name to sign."),), 422
        )
    with house.database.write() as session:
        study = locked_study(
            session, study.id
        )  # nothing may come between what is computed and what is signed
        built = build_report(house, study, shown=False, signing=True)
        summary = {"signed by": name, **built.fingerprint()}
        studies.sign_report(session, study.id, who.actor, signed_json(built), summary)
    return see_other(f"/studies/{study.id}/report")


def _report_page(
    request: Request, house: House, study: Study, problems: tuple[Problem, ...] = (), status: int = 200
) -> Response:
    built = build_report(house, study)
    signed = json.loads(study.report) if study.report else {}
    with house.database.read() as session:
        events, corrections = events_of(session, study.id), corrections_in(session, study.id)
    context = ReportPage(
        head=head_of_page(study),
        view=built.view,
        why_not=built.why_not,
        comments=built.comments,
        tasters=built.tasters,
        late=built.late,
        reworded=reworded_in(studies.plan_of(study)),
        corrections=corrections,
        may_sign=studies.may(study, Move.SIGN),
        pdf=browser() is not None,
        signed=signed,
        unchanged=not signed or signed["data"] == built.fingerprint()["data"],
        alone=STATEMENT if studies.plan_of(study).alone else "",
        terms=terms_of(events),
        happened=what_happened(events, house.local.moment),
        looks=looks_at_names(events),
        problems=problems,
    )
    return page(request, "analyst/report.html", context, status=status)
