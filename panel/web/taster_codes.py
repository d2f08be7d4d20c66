"""Codes typed by hand: of a sitting, of a place's card, or the short one that continues a ballot on another phone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session, col, select

from panel.store.dealing import place_with_token
from panel.store.tables import Attempt, Study
from panel.store.tokens import ATTEMPT_CODE_LENGTH, JOIN_LENGTH
from panel.study.life import State
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.slow_down import too_many_tries
from panel.web.taster_phone import remember_attempt
from panel.web.taster_seat import sitting_with_token, taster_notice

if TYPE_CHECKING:
    from panel.store.tokens import Tokens

router = APIRouter()
MISREAD = str.maketrans("018", "OIB")  # digits that a code never holds, typed for the letters they look like


@dataclass(frozen=True, slots=True)
class CodePage:
    """The form for a code, with what was typed and what is wrong with it."""

    typed: str = ""
    problem: str = ""


def in_groups(code: str) -> str:
    """A code in groups of four, as it is read and typed."""
    return "-".join(code[at : at + 4] for at in range(0, len(code), 4))


@router.get("/go")
@router.get("/p")
@router.get("/P")
def ask_for_a_code(request: Request) -> Response:
    return page(request, "taster/code.html", CodePage())


@router.post("/go")
@router.post("/p")
@router.post("/P")
def follow_code(request: Request, house: InHouse, sent: Sent) -> Response:
    """To whatever the code opens; the short code of a ballot gives this phone the right to answer for it.

    Only wrong codes are counted, since a whole room may type behind one router. The long codes cannot be guessed.
    """
    typed = sent.get("code", "")
    code = "".join(letter for letter in typed.upper() if letter.isalnum()).translate(MISREAD)
    with house.database.read() as session:
        if len(code) == JOIN_LENGTH and place_with_token(session, house.tokens, code):
            return see_other(f"/P/{code}")
        if len(code) == JOIN_LENGTH and sitting_with_token(session, house.tokens, code):
            return see_other(f"/J/{code}")
        if too_many_tries(request, "code", count=False):
            text = "Too many tries from this device. Wait five minutes, then try again."
            return taster_notice(
                request, 429, "Please wait", text, link="/go", link_label="Type the code again"
            )
        attempt = _attempt_with_code(session, house.tokens, code)
    if attempt is not None:
        response = see_other(f"/t/{attempt.id}")
        remember_attempt(request, response, house.tokens, attempt.id)
        return response
    too_many_tries(request, "code")
    problem = "No ballot and no place has this code. Look at it once more, letter by letter."
    return page(request, "taster/code.html", CodePage(typed[:100], problem), status=422)


def _attempt_with_code(session: Session, tokens: Tokens, code: str) -> Attempt | None:
    """The attempt, in a study that is being served or was closed, that this code continues."""
    if len(code) != ATTEMPT_CODE_LENGTH:
        return None
    states = (State.SERVING, State.CLOSED)
    query = select(Attempt).join(Study, col(Study.id) == Attempt.study_id).where(col(Study.state).in_(states))
    found = [attempt for attempt in session.exec(query) if tokens.attempt_code(attempt.id) == code]
    return found[0] if len(found) == 1 else None
