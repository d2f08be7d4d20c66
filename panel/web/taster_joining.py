"""Joining a sitting: the notice, the consent, and the place that is dealt at that moment."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session, col, select

from panel.store.dealing import NoPlaceLeftError, deal
from panel.store.ledger import locked_study
from panel.store.studies import plan_of
from panel.store.tables import Attempt, Consent, Sitting, Study
from panel.study.cautions import ALWAYS, CAUTIONS, CONSENT, notice
from panel.study.draft_reader import LONGEST_NAME, tidy
from panel.study.life import Move, State, refusal
from panel.study.plan import Plan
from panel.study.seal import digest
from panel.web.ballot_page import new_submission
from panel.web.house import House
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.taster_phone import attempts_on, remember_attempt
from panel.web.taster_seat import sitting_with_token, taster_notice

router = APIRouter()
_CONSENT_ID = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class JoiningPage:
    """What a taster reads before agreeing.

    consent : a name for this form, so that a second send deals nothing
    ballots : the ways back to ballots begun on this phone
    """

    url: str
    heading: str
    briefing: str
    allergens: tuple[str, ...]
    cautions: tuple[str, ...]
    always: str
    kept: str
    ask_name: bool
    consent: str
    ballots: tuple[tuple[str, str], ...] = ()
    name: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class ReturningPage:
    """Somebody on this phone is tasting already: go on, or hand the phone over. ballots: the ways on, in words."""

    url: str
    heading: str
    ballots: tuple[tuple[str, str], ...]


@router.get("/j/{token}")
@router.get("/J/{token}")
def show_notice(request: Request, token: str, house: InHouse, another: str = "") -> Response:
    with house.database.read() as session:
        found = _open_sitting(request, house, session, token)
        if isinstance(found, HTMLResponse):
            return found
        _, plan = found
        ballots = _ballots_on(request, house, session, found[0])
    if ballots and not another:
        return page(request, "taster/returning.html", ReturningPage(_url(token), plan.heading, ballots))
    return page(request, "taster/joining.html", replace(_joining(plan, token), ballots=ballots))


@router.post("/j/{token}")
@router.post("/J/{token}")
def take_place(request: Request, token: str, house: InHouse, sent: Sent) -> Response:
    name, consent = tidy(sent.get("name", "")), sent.get("consent", "")
    if not _CONSENT_ID.fullmatch(consent):
        consent = new_submission()
    with house.database.write() as session:
        found = _open_sitting(request, house, session, token)
        if isinstance(found, HTMLResponse):
            return found
        sitting, plan = found
        if len(name) > LONGEST_NAME:
            text = f"Shorten the name to {LONGEST_NAME} characters; it has {len(name)}."
            again = replace(_joining(plan, token), name=name[:2000], problem=text, consent=consent)
            return page(request, "taster/joining.html", again, status=422)
        locked_study(session, sitting.study_id)
        attempt = _given_before(session, consent, sitting)
        if attempt is not None and attempt.id in attempts_on(request, house.tokens):
            return see_other(_url(token))  # the form was sent again from the page before: ask who is tasting
        if attempt is None:
            try:
                attempt = deal(session, sitting.id, _wording(plan), name if plan.ask_name else "")
            except NoPlaceLeftError as full:
                return taster_notice(request, 409, "All places are taken", str(full))
            _name_consent(session, attempt, consent)
    response = see_other(f"/t/{attempt.id}")
    remember_attempt(request, response, house.tokens, attempt.id)
    return response


@router.get("/j/{token}/no")
@router.get("/J/{token}/NO")
def show_declined(request: Request, token: str) -> Response:
    return taster_notice(
        request,
        200,
        "That is quite all right",
        "You are not taking part. No reason is needed, and nothing has been stored.",
        link=_url(token),
        link_label="Read the notice again",
    )


def _open_sitting(
    request: Request, house: House, session: Session, token: str
) -> tuple[Sitting, Plan] | HTMLResponse:
    sitting = sitting_with_token(session, house.tokens, token)
    if sitting is None:
        text = "This code opens no tasting. Scan the code on the screen again, or ask the panel leader."
        return taster_notice(request, 404, "This code is not known", text)
    study = session.get_one(Study, sitting.study_id)
    reason = refusal(State(study.state), Move.JOIN)
    if reason is None:
        return sitting, plan_of(study)
    if sitting.closed_at is None:
        return taster_notice(request, 409, "Not open yet", reason, link=_url(token), link_label="Try again")
    return _closed_notice(request, house, session, sitting, reason)


def _closed_notice(
    request: Request, house: House, session: Session, sitting: Sitting, reason: str
) -> HTMLResponse:
    """Whoever has a ballot on this phone is led there: it may still hold answers to send."""
    ballots = _ballots_on(request, house, session, sitting)
    link = {"link": ballots[-1][0], "link_label": "To your ballot"} if ballots else {}
    return taster_notice(request, 410, "The sitting is closed", reason, **link)


def _ballots_on(
    request: Request, house: House, session: Session, sitting: Sitting
) -> tuple[tuple[str, str], ...]:
    """The unfinished ballots of this sitting on this phone, oldest first: address and words."""
    known = attempts_on(request, house.tokens)
    query = select(Attempt).where(
        Attempt.study_id == sitting.study_id, col(Attempt.id).in_(known), col(Attempt.status) == "tasting"
    )
    attempts = sorted(session.exec(query), key=lambda attempt: known.index(attempt.id))
    label = "Continue where you were"
    if len(attempts) == 1:
        return ((f"/t/{attempts[0].id}", label),)
    started = "{} (taster {} on this phone)"
    return tuple(
        (f"/t/{attempt.id}", started.format(label, number))
        for number, attempt in enumerate(attempts, start=1)
    )


def _given_before(session: Session, consent: str, sitting: Sitting) -> Attempt | None:
    """The attempt that was dealt when this very form came before."""
    given = session.get(Consent, consent)
    if given is None or given.study_id != sitting.study_id:
        return None
    query = select(Attempt).where(Attempt.person_id == given.person_id, Attempt.study_id == sitting.study_id)
    return session.exec(query).first()


def _name_consent(session: Session, attempt: Attempt, consent: str) -> None:
    """Let the consent bear the name of the form it came with."""
    given = session.exec(
        select(Consent).where(Consent.person_id == attempt.person_id, Consent.study_id == attempt.study_id)
    ).one()
    given.id = consent
    session.add(given)


def _joining(plan: Plan, token: str) -> JoiningPage:
    return JoiningPage(
        url=_url(token),
        heading=plan.heading,
        briefing=plan.briefing,
        allergens=notice(plan.allergens, plan.other_allergens),
        cautions=tuple(text for key, text in CAUTIONS.items() if key in plan.cautions),
        always=ALWAYS,
        kept=CONSENT,
        ask_name=plan.ask_name,
        consent=new_submission(),
    )


def _wording(plan: Plan) -> str:
    """The fingerprint of what was read before agreeing."""
    shown = _joining(plan, "")
    read = [shown.heading, shown.briefing, *shown.allergens, *shown.cautions, shown.always, shown.kept]
    return digest(read)


def _url(token: str) -> str:
    return f"/J/{token.upper()}"
