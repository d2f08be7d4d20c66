"""Joining a sitting: the notice, the consent, and the place that is dealt at that moment."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session, col, select

from panel.store.dealing import (
    NoPlaceLeftError,
    deal,
    deal_place,
    latest_attempt,
    place_with_token,
    waiting_places,
)
from panel.store.ledger import locked_study
from panel.store.rows import most_cups_at_a_sitting
from panel.store.sittings import open_one
from panel.store.studies import plan_of, sitting_of
from panel.store.tables import Attempt, Consent, Place, Sitting, Study
from panel.study.draft_reader import LONGEST_NAME, tidy
from panel.study.life import Move, State, refusal
from panel.study.notices import TasterNotice, notice_of
from panel.study.plan import Plan
from panel.study.said import said
from panel.web.ballot_page import new_submission
from panel.web.house import House
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.slow_down import address_of, joining_of, too_many_tries
from panel.web.taster_phone import attempts_on, remember_attempt
from panel.web.taster_seat import address_taster, sitting_with_token, taster_notice
from panel.web.trying import Trial, screens_to_try

router = APIRouter()
_CONSENT_ID = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class JoiningPage:
    """What a taster reads before agreeing.

    consent : a name for this form, so that a second send deals nothing
    ballots : the ways back to ballots begun on this phone; another : whether somebody else joins on it, "" if not
    """

    url: str
    heading: str
    notice: TasterNotice
    ask_name: bool
    consent: str
    ballots: tuple[tuple[str, str], ...] = ()
    another: str = ""
    name: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class ReturningPage:
    """Somebody has a place on this phone already: go on, or hand the phone over.

    ballots : the ways on, in words; none where all have finished
    """

    url: str
    heading: str
    ballots: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class GoingOnPage:
    """Somebody began at this place on another phone: go on here."""

    url: str
    heading: str


@dataclass(frozen=True, slots=True)
class Door:
    """A way in: by the code of a sitting, or by the card of one place. url: of its page; notice: what is read first."""

    url: str
    study_id: str
    plan: Plan
    notice: TasterNotice
    place: Place | None = None


@router.get("/j/{token}")
@router.get("/J/{token}")
def show_notice(request: Request, token: str, house: InHouse, another: str = "") -> Response:
    with house.database.read() as session:
        door = _sitting_door(request, house, session, token)
        if isinstance(door, HTMLResponse):
            return door
        ballots = _ballots_on(request, house, session, door.study_id)
        asked = not another and _first_on_phone(request, house, session, door) is not None
    if asked:
        return _returning(request, door, ballots)
    return page(request, "taster/joining.html", replace(_joining(door), ballots=ballots, another=another))


@router.get("/p/{token}")
@router.get("/P/{token}")
def show_place(request: Request, token: str, house: InHouse, another: str = "") -> Response:
    """What the card of a place leads to: the notice, or the ballot begun there, to go on with on this phone."""
    with house.database.read() as session:
        door = _place_door(request, house, session, token)
        if isinstance(door, HTMLResponse):
            return door
        assert door.place is not None
        latest = latest_attempt(session, door.place.id)
        waits = any(place.id == door.place.id for place, _ in waiting_places(session, door.study_id))
        ballots = _ballots_on(request, house, session, door.study_id)
        asked = not another and _first_on_phone(request, house, session, door) is not None
    if latest is not None and not waits:
        if latest.id in attempts_on(request, house.tokens):
            return see_other(f"/t/{latest.id}")
        return page(request, "taster/going_on.html", GoingOnPage(door.url, door.plan.heading))
    if asked:
        return _returning(request, door, ballots)
    return page(request, "taster/joining.html", replace(_joining(door), ballots=ballots, another=another))


@router.post("/p/{token}/on")
@router.post("/P/{token}/ON")
def go_on_here(request: Request, token: str, house: InHouse) -> Response:
    """Whoever holds the card of a place may go on there on another phone."""
    with house.database.read() as session:
        door = _place_door(request, house, session, token)
        if isinstance(door, HTMLResponse):
            return door
        assert door.place is not None
        latest = latest_attempt(session, door.place.id)
    if latest is None:
        return see_other(door.url)
    return _to_ballot(request, house, latest)


@router.post("/j/{token}")
@router.post("/J/{token}")
def join_sitting(request: Request, token: str, house: InHouse, sent: Sent) -> Response:
    with house.database.write() as session:
        door = _sitting_door(request, house, session, token)
        return door if isinstance(door, HTMLResponse) else _take_place(request, house, session, door, sent)


@router.post("/p/{token}")
@router.post("/P/{token}")
def join_place(request: Request, token: str, house: InHouse, sent: Sent) -> Response:
    with house.database.write() as session:
        door = _place_door(request, house, session, token)
        return door if isinstance(door, HTMLResponse) else _take_place(request, house, session, door, sent)


@router.get("/{way}/{token}/no")
@router.get("/{way}/{token}/NO")
def show_declined(request: Request, way: str, token: str) -> Response:
    if way.upper() not in ("J", "P"):
        return taster_notice(request, 404, "Nothing here", "This address leads to no tasting.")
    return taster_notice(
        request,
        200,
        "That is quite all right",
        "You are not taking part. No reason is needed, and nothing has been stored.",
        link=f"/{way.upper()}/{token.upper()}",
        link_label="Read the notice again",
    )


@router.get("/{way}/{token}/TRY")
def show_practice(request: Request, way: str, token: str, house: InHouse) -> Response:
    trial = _practice(request, house, way, token)
    return trial if isinstance(trial, HTMLResponse) else trial.show(request, trial.screens[0].number)


@router.post("/{way}/{token}/TRY/{number:int}")
def try_practice(request: Request, way: str, token: str, number: int, house: InHouse, sent: Sent) -> Response:
    trial = _practice(request, house, way, token)
    return trial if isinstance(trial, HTMLResponse) else trial.take(request, number, sent)


def _practice(request: Request, house: House, way: str, token: str) -> Trial | HTMLResponse:
    """One screen to get to know the ballot with, before anybody has agreed to anything."""
    open_door = {"J": _sitting_door, "P": _place_door}.get(way.upper())
    if open_door is None:
        return taster_notice(request, 404, "Nothing here", "This address leads to no tasting.")
    with house.database.read() as session:
        door = open_door(request, house, session, token)
    if isinstance(door, HTMLResponse):
        return door
    first = next(screen for screen in screens_to_try(door.plan) if screen.asked)
    alone = replace(first, step=1, steps=1, rest=False, wait=0, confirm=None)
    return Trial(door.plan, (alone,), f"{door.url}/TRY", door.url, "Back to the notice")


def _take_place(
    request: Request, house: House, session: Session, door: Door, sent: dict[str, str]
) -> Response:
    name, consent = tidy(sent.get("name", "")), sent.get("consent", "")
    if not _CONSENT_ID.fullmatch(consent):
        consent = new_submission()
    if len(name) > LONGEST_NAME:
        text = said("Shorten the name to {most} characters; it has {has}.", most=LONGEST_NAME, has=len(name))
        again = replace(
            _joining(door),
            name=name[:2000],
            problem=text,
            consent=consent,
            another=sent.get("another", ""),
        )
        return page(request, "taster/joining.html", again, status=422)
    locked_study(session, door.study_id)
    attempt = _given_before(session, consent, door.study_id)
    if attempt is not None and attempt.id in attempts_on(request, house.tokens):
        return see_other(door.url)  # the form was sent again from the page before: ask who is tasting
    if attempt is None:
        first = _first_on_phone(request, house, session, door)
        if first is not None and not sent.get("another"):
            return _returning(request, door, _ballots_on(request, house, session, door.study_id))
        agreed = (door.notice.fingerprint, name if door.plan.ask_name else "", first.id if first else "")
        dealt = _dealt(request, session, door, agreed)
        if isinstance(dealt, HTMLResponse):
            return dealt
        attempt = dealt
        _name_consent(session, attempt, consent)
    return _to_ballot(request, house, attempt)


def _dealt(
    request: Request, session: Session, door: Door, agreed: tuple[str, str, str]
) -> Attempt | HTMLResponse:
    """The place, unless too many were taken from this address of late, or there is none."""
    joining, address = joining_of(request), address_of(request)
    if not joining.may_join(door.study_id, address):
        text = (
            "Very many places were taken from your network in the last minutes. Tell the panel leader, who can let you "
            "in at once, or try again in five minutes."
        )
        return taster_notice(request, 429, "Please wait", text, link=door.url, link_label="Try again")
    try:
        if door.place is not None:
            attempt, place = deal_place(session, door.place, *agreed), door.place
        else:
            attempt = deal(session, sitting_of(session, door.study_id).id, *agreed)
            place = session.get_one(Place, attempt.place_id)
    except NoPlaceLeftError:
        if door.place is not None:
            why = "Please tell the panel leader, who has another card for you."
            return taster_notice(request, 409, "This place is taken", why)
        why = "Please tell the panel leader: the plan holds no further place."
        return taster_notice(request, 409, "All places are taken", why)
    joining.joined(door.study_id, address, place.number)
    return attempt


def _first_on_phone(request: Request, house: House, session: Session, door: Door) -> Attempt | None:
    """The first place of this study taken on this phone; None for whoever works alone, who takes them all."""
    known = attempts_on(request, house.tokens)
    if door.plan.alone or not known:
        return None
    query = select(Attempt).where(Attempt.study_id == door.study_id, col(Attempt.id).in_(known))
    mine = sorted(session.exec(query), key=lambda attempt: known.index(attempt.id))
    return session.get(Attempt, mine[0].phone) or mine[0] if mine else None


def _returning(request: Request, door: Door, ballots: tuple[tuple[str, str], ...]) -> HTMLResponse:
    return page(request, "taster/returning.html", ReturningPage(door.url, door.plan.heading, ballots))


def _to_ballot(request: Request, house: House, attempt: Attempt) -> Response:
    response = see_other(f"/t/{attempt.id}")
    remember_attempt(request, response, house.tokens, attempt.id)
    return response


def _place_door(request: Request, house: House, session: Session, token: str) -> Door | HTMLResponse:
    place = place_with_token(session, house.tokens, token)
    if place is None:
        if too_many_tries(request, "code"):
            text = "Too many tries from this device. Wait five minutes, then try again."
            return taster_notice(request, 429, "Please wait", text)
        text = "This card opens no place. Scan it again, or ask the panel leader for another one."
        return taster_notice(request, 404, "This card is not known", text)
    study = session.get_one(Study, place.study_id)
    url = f"/P/{token.upper()}"
    reason = refusal(State(study.state), Move.JOIN)
    address_taster(request, plan_of(study))
    if reason is None and open_one(session, study.id) is None:
        reason = "This sitting has ended, and the next one is not open yet."
    if reason is None:
        return _door(session, url, study, place)
    title = "Not open" if study.state in (State.SEALED, State.SERVING) else "The sitting is closed"
    return taster_notice(request, 409, title, reason, link=url, link_label="Try again")


def _sitting_door(request: Request, house: House, session: Session, token: str) -> Door | HTMLResponse:
    sitting = sitting_with_token(session, house.tokens, token)
    if sitting is None:
        if too_many_tries(request, "code"):
            text = "Too many tries from this device. Wait five minutes, then try again."
            return taster_notice(request, 429, "Please wait", text)
        text = "This code opens no tasting. Scan the code on the screen again, or ask the panel leader."
        return taster_notice(request, 404, "This code is not known", text)
    study, url = session.get_one(Study, sitting.study_id), f"/J/{token.upper()}"
    reason = refusal(State(study.state), Move.JOIN)
    address_taster(request, plan_of(study))
    if reason is None and sitting.closed_at is None:
        return _door(session, url, study)
    if sitting.closed_at is None:
        said = reason or ""
        return taster_notice(request, 409, "Not open yet", said, link=url, link_label="Try again")
    ended = "This sitting has ended. If there is another one, its code is on the screen."
    return _closed_notice(request, house, session, sitting, reason or ended)


def _door(session: Session, url: str, study: Study, place: Place | None = None) -> Door:
    plan = plan_of(study)
    return Door(url, study.id, plan, notice_of(plan, most_cups_at_a_sitting(session, study.id)), place)


def _closed_notice(
    request: Request, house: House, session: Session, sitting: Sitting, reason: str
) -> HTMLResponse:
    """Whoever has a ballot on this phone is led there: it may still hold answers to send."""
    ballots = _ballots_on(request, house, session, sitting.study_id)
    link, label = (ballots[-1][0], "To your ballot") if ballots else ("", "")
    return taster_notice(request, 410, "The sitting is closed", reason, link=link, link_label=label)


def _ballots_on(
    request: Request, house: House, session: Session, study_id: str
) -> tuple[tuple[str, str], ...]:
    """The unfinished ballots of this study on this phone, oldest first: address and words."""
    known = attempts_on(request, house.tokens)
    query = select(Attempt).where(
        Attempt.study_id == study_id, col(Attempt.id).in_(known), col(Attempt.status) == "tasting"
    )
    attempts = sorted(session.exec(query), key=lambda attempt: known.index(attempt.id))
    label = "Continue where you were"
    if len(attempts) == 1:
        return ((f"/t/{attempts[0].id}", label),)
    return tuple(
        (
            f"/t/{attempt.id}",
            said("{continue} (taster {number} on this phone)", **{"continue": label, "number": number}),
        )
        for number, attempt in enumerate(attempts, start=1)
    )


def _given_before(session: Session, consent: str, study_id: str) -> Attempt | None:
    """The attempt that was dealt when this very form came before."""
    given = session.get(Consent, consent)
    if given is None or given.study_id != study_id:
        return None
    query = select(Attempt).where(Attempt.person_id == given.person_id, Attempt.study_id == study_id)
    return session.exec(query).first()


def _name_consent(session: Session, attempt: Attempt, consent: str) -> None:
    """Let the consent bear the name of the form it came with."""
    given = session.exec(
        select(Consent).where(Consent.person_id == attempt.person_id, Consent.study_id == attempt.study_id)
    ).one()
    given.id = consent
    session.add(given)


def _joining(door: Door) -> JoiningPage:
    return JoiningPage(
        url=door.url,
        heading=door.plan.heading,
        notice=door.notice,
        ask_name=door.plan.ask_name,
        consent=new_submission(),
    )
