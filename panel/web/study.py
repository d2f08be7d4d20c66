"""The study's own page after sealing: what comes next, what can be printed, who gets in, the seal and the reveal."""

from __future__ import annotations

import json
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.printing import SHEETS, recovery_sheet
from panel.store import studies
from panel.store.access import new_link
from panel.store.ledger import append, events_of
from panel.store.sealing import (
    BrokenSealError,
    PlanChangedError,
    UnfitDraftError,
    open_key,
    require_seen,
    samples_of,
    seal_study,
)
from panel.study.happenings import Happening, SealTerms, looks_at_names, terms_of, what_happened
from panel.study.life import Move, State
from panel.study.plan import Product, product_from_dict
from panel.study.problems import Problem
from panel.study.seal import WrongPassphraseError, is_recovery_code
from panel.study.test_methods import method_of
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.organiser import plan_as_it_stands, plan_page
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.passphrases import WAIT, holder_in, phrase_in, problems_with_new, too_many_phrases
from panel.web.planning import sealing_problems
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.store.tables import Study
    from panel.study.plan import Plan
    from panel.study.test_methods import TestMethod

router = APIRouter()

OTHER_SHEETS = (
    ("roll", "Roll of single labels, by the width and height below"),
    ("custom", "Another sheet, by all its numbers below"),
)
LABEL_FORM = {
    "sheet": "a4-3x7",
    "start": "1",
    "right": "0",
    "down": "0",
    "page_width": "210",
    "page_height": "297",
}


@dataclass(frozen=True, slots=True)
class StudyPage:
    """A sealed study: its head, its plan, and what can be done now.

    terms : on which it was sealed; looks : how often names were seen before the reveal
    """

    head: StudyHead
    plan: Plan
    test: TestMethod
    sheets: tuple[tuple[str, str], ...]
    problems: tuple[Problem, ...]
    typed: dict[str, str]
    may_print: bool
    may_open: bool
    may_read: bool
    may_reveal: bool
    terms: SealTerms | None
    happened: tuple[Happening, ...]
    looks: int
    key: tuple[tuple[str, Product], ...]


@dataclass(frozen=True, slots=True)
class SealedPage:
    """Shown once, right after sealing: the commitment and the recovery code."""

    head: StudyHead
    recovery_code: str


@dataclass(frozen=True, slots=True)
class LinkPage:
    """Shown once: a sign-in link for kitchen, analyst or bench."""

    head: StudyHead
    role: str
    address: str


@dataclass(frozen=True, slots=True)
class RevealPage:
    """The form that opens the seal."""

    head: StudyHead
    problems: tuple[Problem, ...]


@router.get("/studies/{study_id}")
def show_study(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    if study.state == State.DRAFT:
        return see_other(f"/studies/{study.id}/draft")
    return study_page(request, house, study)


@router.post("/studies/{study_id}/seal")
def seal(request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent) -> Response:
    """Seal the plan that was looked at: one that changed since then is shown first. as_of : its `plan_mark`."""
    studies.require(study, Move.SEAL)
    seen, chosen = sent.get("as_of", ""), {"holder": sent.get("holder") or "self"}
    try:
        require_seen(study, seen)
        problems = (*sealing_problems(studies.draft_of(study)), *problems_with_new(sent))
        if problems:
            return plan_page(request, study, problems, chosen, status=422)
        with house.database.write() as session:
            phrase, holder = phrase_in(sent), holder_in(sent)
            sealed = seal_study(session, house.tokens, study.id, who.actor, phrase, holder, seen)
    except PlanChangedError as error:
        return plan_as_it_stands(request, house, study, Problem("", "changed", str(error)), chosen)
    except UnfitDraftError as error:
        return plan_page(request, study, (Problem("", "unfit", str(error)),), chosen, status=422)
    house.database.forget_deleted()
    context = SealedPage(head_of_page(house.anew(study)), sealed.recovery_code)
    return page(request, "organiser/sealed.html", context)


@router.post("/studies/{study_id}/print/recovery-sheet.pdf")
def print_recovery_sheet(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent
) -> Response:
    """The recovery code on paper, for whoever has it: the server keeps none. Refused unless it opens the seal."""
    studies.require(study, Move.EXPORT)
    code = sent.get("recovery_code", "")
    if too_many_phrases(request):
        return study_page(request, house, study, (WAIT,), 429)
    try:
        if not is_recovery_code(code):
            raise WrongPassphraseError
        with house.database.write() as session:
            open_key(session, study, code)
            append(session, study.id, who.actor, "printed", {"what": "recovery sheet"})
    except WrongPassphraseError:
        text = "This recovery code does not open the seal of this study. Check it letter by letter."
        return study_page(request, house, study, (Problem("recovery_code", "does_not_open", text),), 422)
    except BrokenSealError as error:
        return study_page(request, house, study, (Problem("", "broken_seal", str(error)),), 422)
    printed = recovery_sheet(code, heading_text=studies.plan_of(study).title, commitment=study.commitment)
    headers = {
        "Content-Disposition": 'inline; filename="recovery-sheet.pdf"',
        "Cache-Control": "no-store",
    }
    return Response(printed.pdf, media_type="application/pdf", headers=headers)


@router.post("/studies/{study_id}/links")
def make_link(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent
) -> Response:
    role = sent.get("role", "") if sent.get("role") in ("analyst", "bench") else "kitchen"
    studies.require(study, Move.EXPORT)
    with house.database.write() as session:
        token = new_link(session, study.id, role, who.actor)
    return page(
        request, "organiser/link.html", LinkPage(head_of_page(study), role, f"{house.base_url}/in/{token}")
    )


@router.get("/studies/{study_id}/reveal")
def show_reveal(request: Request, study: OrganisersStudy) -> Response:
    if study.state == State.REVEALED:
        return see_other(f"/studies/{study.id}/report")
    studies.require(study, Move.REVEAL)
    return page(request, "organiser/reveal.html", RevealPage(head_of_page(study), ()))


@router.post("/studies/{study_id}/reveal")
def reveal(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent
) -> Response:
    studies.require(study, Move.REVEAL)
    problem, status = None, 422
    if too_many_phrases(request):
        problem, status = WAIT, 429
    else:
        try:
            with house.database.write() as session:
                secret = open_key(session, study, phrase_in(sent))
                detail = {"commitment": study.commitment, "nonce": secret["nonce"]}
                studies.reveal(session, study.id, who.actor, detail, json.dumps(secret, ensure_ascii=False))
        except (WrongPassphraseError, BrokenSealError) as error:
            problem = Problem("passphrase", "does_not_open", str(error))
    if problem is not None:
        context = RevealPage(head_of_page(study), (problem,))
        return page(request, "organiser/reveal.html", context, status=status)
    return see_other(f"/studies/{study.id}/report")


def study_page(
    request: Request,
    house: InHouse,
    study: Study,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
    typed: Mapping[str, str] = MappingProxyType({}),
) -> Response:
    """The study's page, with what was wrong with a form on it and what was typed there."""
    plan = studies.plan_of(study)
    with house.database.read() as session:
        events = events_of(session, study.id)
    context = StudyPage(
        head=head_of_page(study),
        plan=plan,
        test=method_of(plan.method),
        sheets=(*((name, sheet.name) for name, sheet in SHEETS.items()), *OTHER_SHEETS),
        problems=problems,
        typed=LABEL_FORM | dict(typed),
        may_print=studies.may(study, Move.PRINT),
        may_open=studies.may(study, Move.OPEN),
        may_read=studies.may(study, Move.READ_REPORT),
        may_reveal=studies.may(study, Move.REVEAL),
        terms=terms_of(events),
        happened=what_happened(events, house.local.moment),
        looks=looks_at_names(events),
        key=revealed_key(house, study),
    )
    return page(request, "organiser/study.html", context, status=status)


def revealed_key(house: InHouse, study: Study) -> tuple[tuple[str, Product], ...]:
    """Blind label and product, by label, once revealed; empty before."""
    if study.state != State.REVEALED:
        return ()
    key = json.loads(study.key)["key"]
    with house.database.read() as session:
        return tuple((s.blind_label, product_from_dict(key[s.id])) for s in samples_of(session, study.id))
