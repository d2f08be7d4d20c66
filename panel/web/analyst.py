"""The analyst's page: the report by blind label, exclusions with reasons, the signature."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, HTTPException, Request, Response

from panel.printing.browser_pdf import browser
from panel.store import studies
from panel.store.alone import require_all_read
from panel.store.exclusions import exclude, take_back
from panel.store.ledger import events_of, locked_study
from panel.study.alone import STATEMENT
from panel.study.draft_reader import tidy
from panel.study.happenings import Happening, SealTerms, looks_at_names, terms_of, what_happened
from panel.study.life import Move, State
from panel.study.problems import Problem
from panel.study.statements import AFTER_THE_REVEAL, TO_STATE, stated_in
from panel.web.access import AnalystsStudy, AsAnalyst
from panel.web.alone import alone_page
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.study_page import StudyHead, head_of_page
from panel.web.study_report import build_report, signed_json

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.analysis.study_parts import Comments, Took
    from panel.analysis.view_parts import ReportView
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()
LONGEST_REASON = 300


@dataclass(frozen=True, slots=True)
class ReportPage:
    """The report with what the analyst may still decide. alone: what is said of a study of one person, else "".

    to_state : field and words of what the standard's list asks of people; typed : what stands in those fields
    """

    head: StudyHead
    view: ReportView | None
    why_not: str
    comments: tuple[Comments, ...]
    tasters: tuple[Took, ...]
    late: int
    may_sign: bool
    pdf: bool
    signed: dict[str, Any]
    unchanged: bool
    alone: str
    terms: SealTerms | None
    happened: tuple[Happening, ...]
    looks: int
    to_state: tuple[tuple[str, str], ...]
    typed: Mapping[str, str]
    problems: tuple[Problem, ...]


@router.get("/studies/{study_id}/report")
def show_report(request: Request, house: InHouse, study: AnalystsStudy) -> Response:
    studies.require_results(study)
    return report_page(request, house, study)


@router.post("/studies/{study_id}/exclusions")
def change_exclusion(
    request: Request, house: InHouse, who: AsAnalyst, study: AnalystsStudy, sent: Sent
) -> Response:
    studies.require(study, Move.EXCLUDE)
    studies.require_results(study)
    attempt, reason = sent.get("attempt", ""), tidy(sent.get("reason", ""))
    if not sent.get("back") and not 0 < len(reason) <= LONGEST_REASON:
        text = f"Write why this taster is left out, in 1 to {LONGEST_REASON} characters: the report shows it."
        return report_page(request, house, study, (Problem(f"reason-{attempt}", "missing", text),), 422)
    try:
        with house.database.write() as session:
            if sent.get("back"):
                take_back(session, study.id, who.actor, attempt)
            else:
                exclude(session, study.id, who.actor, attempt, reason)
    except LookupError:
        raise HTTPException(404) from None
    return see_other(f"/studies/{study.id}/report#people-kept")


@router.post("/studies/{study_id}/sign")
def sign(request: Request, house: InHouse, who: AsAnalyst, study: AnalystsStudy, sent: Sent) -> Response:
    studies.require(study, Move.SIGN)
    with house.database.read() as session:
        require_all_read(session, study)
    name = tidy(sent.get("signed_by", ""))
    if not name:
        problems = (Problem("signed_by", "missing", "Write your name to sign."),)
        if studies.plan_of(study).alone:
            return alone_page(request, house, study, sent, problems=problems)
        return report_page(request, house, study, problems, 422)
    with house.database.write() as session:
        study = locked_study(
            session, study.id
        )  # nothing may come between what is computed and what is signed
        built = build_report(house, study, shown=False, signing=True)
        summary = {"signed by": name, **built.fingerprint()}
        studies.sign_report(session, study.id, who.actor, signed_json(built), summary)
    return see_other(f"/studies/{study.id}/report")


def report_page(
    request: Request,
    house: House,
    study: Study,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
    typed: Mapping[str, str] | None = None,
) -> Response:
    """The whole page. typed : what was sent with the form of statements and came back with problems."""
    built = build_report(house, study)
    signed = json.loads(study.report) if study.report else {}
    with house.database.read() as session:
        events = events_of(session, study.id)
    context = ReportPage(
        head=head_of_page(study),
        view=built.view,
        why_not=built.why_not,
        comments=built.comments,
        tasters=built.tasters,
        late=built.late,
        may_sign=studies.may(study, Move.SIGN),
        pdf=browser() is not None,
        signed=signed,
        unchanged=not signed or signed["data"] == built.fingerprint()["data"],
        alone=STATEMENT if studies.plan_of(study).alone else "",
        terms=terms_of(events),
        happened=what_happened(events, house.local.moment),
        looks=looks_at_names(events),
        to_state=tuple(
            (f"state-{item}", words)
            for item, words in TO_STATE.items()
            if item not in AFTER_THE_REVEAL or study.state == State.REVEALED
        ),
        typed=typed or {f"state-{item}": text for item, text in stated_in(events).items()},
        problems=problems,
    )
    return page(request, "analyst/report.html", context, status=status)
