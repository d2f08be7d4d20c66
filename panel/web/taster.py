"""The taster's ballot: one screen after the other, each answer stored once, and only codes to be seen."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from panel.store.dealing import step_out
from panel.store.incidents import call_for_help, note_wrong_cup
from panel.store.ledger import head_of
from panel.store.recording import Recorded, record_screen, tasks_of
from panel.store.rows import serving_with_token
from panel.store.tables import Attempt, Serving
from panel.study.life import State
from panel.study.problems import Problem
from panel.study.said import said
from panel.web import taster_codes, taster_joining
from panel.web.ballot_page import Screen, checked, kept_fields, new_submission, opened_again, with_typed
from panel.web.house import House
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.rhythm import CUP
from panel.web.taster_codes import in_groups
from panel.web.taster_phone import attempts_on
from panel.web.taster_seat import Seat, address_taster, attempt_at, seat_for, seat_with, taster_notice
from panel.web.words import words_of

router = APIRouter()
router.include_router(taster_joining.router)
router.include_router(taster_codes.router)
LOOK_AGAIN = 10
HEAD_SHOWN = 16
_SUBMISSION = re.compile(r"[A-Za-z0-9-]{8,64}")


@dataclass(frozen=True, slots=True)
class BallotPage:
    """The current screen, and those that follow, which the phone keeps at hand for when the network is gone.

    earlier : the answered ones that may be corrected
    elsewhere : where to go on another phone, and what to type there; called : whether help is on its way
    """

    attempt: str
    heading: str
    screen: Screen
    later: tuple[Screen, ...]
    earlier: tuple[Screen, ...]
    elsewhere: tuple[str, str]
    called: bool


@dataclass(frozen=True, slots=True)
class ThanksPage:
    """The last page. head: the beginning of the last event's hash."""

    attempt: str
    heading: str
    head: str


@router.get("/t/{attempt_id}")
def show_current(request: Request, attempt_id: str, house: InHouse, called: str = "") -> Response:
    with house.database.read() as session:
        seat = seat_for(request, house, session, attempt_id)
        if isinstance(seat, Response):
            return seat
        head = head_of(session, seat.study.id)[:HEAD_SHOWN]
    if not seat.unanswered:
        return page(request, "taster/thanks.html", ThanksPage(attempt_id, seat.plan.heading, head))
    return _no_ballot(request, seat) or _ballot(request, house, seat, seat.waiting[0], called=bool(called))


@router.get("/t/{attempt_id}/{number:int}")
def show_screen(request: Request, attempt_id: str, number: int, house: InHouse) -> Response:
    with house.database.read() as session:
        seat = seat_for(request, house, session, attempt_id)
    if isinstance(seat, Response):
        return seat
    earlier = next((screen for screen in seat.correctable if screen.number == number), None)
    if earlier is None and (not seat.unanswered or number != seat.unanswered[0].number):
        return see_other(seat.next_url)  # no way ahead, and none back unless the organiser allows it
    if earlier is not None:
        return _no_ballot(request, seat) or _ballot(request, house, seat, earlier)
    return _no_ballot(request, seat) or _ballot(request, house, seat, seat.waiting[0])


@router.post("/t/{attempt_id}/help")
def ask_for_help(request: Request, attempt_id: str, house: InHouse, sent: Sent) -> Response:
    """Somebody is to come: for any reason, or because of the cup with this code."""
    with house.database.write() as session:
        seat = seat_for(request, house, session, attempt_id)
        if isinstance(seat, Response):
            return seat
        if seat.attempt.status == "tasting":
            code = sent.get("code", "")
            if re.fullmatch(r"\d{3}", code, re.ASCII):
                note_wrong_cup(session, seat.attempt, code)
            else:
                call_for_help(session, seat.attempt)
    if _by_script(request):
        return JSONResponse({"called": True})
    return see_other(f"/t/{attempt_id}?called=yes")


@router.post("/t/{attempt_id}/leave")
def leave(request: Request, attempt_id: str, house: InHouse) -> Response:
    with house.database.write() as session:
        seat = seat_for(request, house, session, attempt_id)
        if isinstance(seat, Response):
            return seat
        if seat.attempt.status == "tasting":
            step_out(session, seat.attempt)
    return see_other(f"/t/{attempt_id}")


@router.post("/t/{attempt_id}/{number:int}")
def send_screen(request: Request, attempt_id: str, number: int, house: InHouse, sent: Sent) -> Response:
    """Take one screen's answers, whenever they come: late ones are marked, never dropped."""
    with house.database.read() as session:
        seat = seat_for(request, house, session, attempt_id)
    if isinstance(seat, Response):
        return seat
    screen = seat.screen(number)
    if screen is None:
        return taster_notice(request, 404, "Nothing here", "This ballot has no such screen.")
    again = bool(sent.get("again")) and screen.correctable
    if again:
        screen = opened_again(screen, {})
    answers, problems = checked(seat.plan, screen, sent)
    if problems:
        _note_wrong_cup(house, seat, problems, sent)
        return _again(request, house, seat, with_typed(screen, sent, problems), problems)
    with house.database.write() as session:
        attempt = session.get_one(Attempt, attempt_id)
        task = next(task for task in tasks_of(session, attempt) if task.number == number)
        submission = _submission_id(attempt, number, sent)
        kept = kept_fields(screen, sent)
        recorded = record_screen(session, attempt, task, submission, kept, answers, correction=again)
    with house.database.read() as session:
        seat = seat_with(session, attempt)
        head = head_of(session, seat.study.id)[:HEAD_SHOWN]
    return _acknowledged(request, seat, recorded, head)


@router.get("/c/{token}")
@router.get("/C/{token}")
def show_cup(request: Request, token: str, house: InHouse) -> Response:
    """Where a cup's code leads: to its screen on the phone of whoever it was poured for."""
    with house.database.read() as session:
        found = serving_with_token(session, token)
        if found is None:
            text = "No cup has this code. Scan the code on the cup again, or ask the panel leader."
            return taster_notice(request, 404, "This cup is not known", text)
        cup, _, task = found
        known = attempts_on(request, house.tokens)
        attempt = attempt_at(session, cup, known)
        if attempt is None:
            return _not_your_cup(request, house, cup, known)
        seat = seat_with(session, attempt)
    address_taster(request, seat.plan)
    return _to_cup(request, seat, cup, task.number)


def _note_wrong_cup(house: House, seat: Seat, problems: list[Problem], sent: dict[str, str]) -> None:
    if any(problem.code == "wrong_cup" for problem in problems):
        with house.database.write() as session:
            note_wrong_cup(session, session.get_one(Attempt, seat.attempt.id), sent[CUP])


def _not_your_cup(request: Request, house: House, cup: Serving, known: list[str]) -> HTMLResponse:
    with house.database.write() as session:
        mine = session.get(Attempt, known[-1]) if known else None
        if mine is not None and mine.status == "tasting":
            note_wrong_cup(session, mine, cup.code)
    text = (
        "This cup was poured for somebody else, or you have not joined on this phone yet. "
        "Do not taste it. Look for the code on your ballot, or tell the panel leader."
    )
    link, label = (f"/t/{known[-1]}", "Back to your ballot") if known else ("", "")
    return taster_notice(request, 403, "This is not your cup", text, link=link, link_label=label)


def _to_cup(request: Request, seat: Seat, cup: Serving, number: int) -> Response:
    waiting = seat.waiting
    if not waiting or seat.attempt.status != "tasting":
        return see_other(f"/t/{seat.attempt.id}")
    due = waiting[0]
    if cup.code in due.codes and (number == due.number or due.same_cup):
        return see_other(seat.next_url)
    codes = ", ".join(due.codes)
    done = number in seat.answered
    why = said("You have answered for this cup already.") if done else said("Leave it for later.")
    return taster_notice(
        request,
        409,
        "Not this cup now",
        said("This is cup {code}. {why}", code=cup.code, why=why),
        said("Next on your ballot: {codes}.", codes=codes),
        link=seat.next_url,
        link_label="Back to your ballot",
    )


def _ballot(
    request: Request, house: House, seat: Seat, screen: Screen, *, status: int = 200, called: bool = False
) -> HTMLResponse:
    later = tuple(other for other in seat.waiting if screen.again or other.number > screen.number)
    elsewhere = (f"{house.base_url}/go", in_groups(house.tokens.attempt_code(seat.attempt.id)))
    context = BallotPage(
        seat.attempt.id, seat.plan.heading, screen, later, seat.correctable, elsewhere, called
    )
    return page(request, "taster/ballot.html", context, status=status)


def _no_ballot(request: Request, seat: Seat) -> HTMLResponse | None:
    """The page for a ballot that is not to be opened: stepped out, or closed. None where it may be."""
    if seat.attempt.status == "stepped out":
        return taster_notice(
            request,
            200,
            "You have stepped out",
            "Thank you for coming. No reason is needed and none is kept.",
            "What you had sent before stays under a number alone.",
            attempt=seat.attempt.id,
        )
    if seat.study.state != State.SERVING:
        return taster_notice(
            request,
            410,
            "The sitting is closed",
            "No further screen can be opened. Thank you for tasting.",
            said(
                "{done} of {all} screens have arrived and are safe. "
                "Answers still on this phone are sent from here and marked as late.",
                done=len(seat.answered),
                all=len(seat.screens),
            ),
            attempt=seat.attempt.id,
        )
    return _not_now(request, seat)


def _not_now(request: Request, seat: Seat) -> HTMLResponse | None:
    """The page for a ballot that goes on later: everybody waits, or the next sitting is still to come."""
    if seat.paused:
        text = "Everybody waits for a moment. Please do not taste on. This page goes on by itself."
        return taster_notice(
            request, 200, "A short pause", text, attempt=seat.attempt.id, look_again=LOOK_AGAIN
        )
    if not seat.waiting:
        return taster_notice(
            request,
            200,
            "That is all for now",
            "Your answers have arrived and are safe.",
            "The rest follows at the next sitting: open this page again then, on this phone.",
            attempt=seat.attempt.id,
        )
    return None


def _again(request: Request, house: House, seat: Seat, screen: Screen, problems: list[Problem]) -> Response:
    if _by_script(request):
        say = words_of(request)
        listed = [{"field": problem.field, "text": say(problem.text)} for problem in problems]
        return JSONResponse({"saved": False, "problems": listed}, status_code=422)
    if screen.number in seat.answered and not screen.again:
        return see_other(seat.next_url)
    return _ballot(request, house, seat, screen, status=422)


def _acknowledged(request: Request, seat: Seat, recorded: Recorded, head: str) -> Response:
    if not _by_script(request):
        return see_other(seat.next_url)
    return JSONResponse(
        {
            "saved": True,
            "late": recorded.late,
            "repeated": recorded.repeated,
            "finished": recorded.finished,
            "closed": seat.study.state != State.SERVING or seat.sitting == 0,
            "paused": seat.paused,
            "next": seat.next_url,
            "head": head if recorded.finished else "",
        }
    )


def _by_script(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


def _submission_id(attempt: Attempt, number: int, sent: dict[str, str]) -> str:
    """The phone's name for this send, within its own screen: no phone can use up another's name."""
    named = sent.get("submission", "")
    if not _SUBMISSION.fullmatch(named):
        named = new_submission()
    return f"{attempt.id}.{number}.{named}"
