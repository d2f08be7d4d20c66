"""One taster's seat: who holds it, which screens it has, how far it has come; and the pages that refuse."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import Request
from fastapi.responses import HTMLResponse
from sqlmodel import Session, col, select

from panel.store.recording import answered_tasks
from panel.store.revisions import standing_sends
from panel.store.rows import open_sitting_number, servings_of
from panel.store.sittings import is_paused
from panel.store.studies import plan_of
from panel.store.tables import Attempt, Place, Serving, Sitting, Study
from panel.store.tokens import Tokens
from panel.study.plan import Plan
from panel.web.ballot_page import Screen, opened_again, screens_of
from panel.web.house import House
from panel.web.pages import page
from panel.web.taster_phone import may_answer
from panel.web.words import speak


@dataclass(frozen=True, slots=True)
class TasterNotice:
    """A page that says in plain words why there is no ballot here. attempt: whose unsent answers to send on."""

    title: str
    text: tuple[str, ...]
    link: str = ""
    link_label: str = ""
    attempt: str = ""
    look_again: int = 0


@dataclass(frozen=True, slots=True)
class Seat:
    """One attempt with its ballot. Everything on it may be shown to the taster, save `attempt` and `study`.

    sitting : number of the one that is open, 0 while none is; paused : whether everybody waits
    given : number of an answered screen that may be opened again -> what stands of it, field by field
    """

    attempt: Attempt
    study: Study
    plan: Plan
    screens: tuple[Screen, ...]
    answered: frozenset[int]
    sitting: int
    paused: bool
    given: Mapping[int, Mapping[str, str]]

    @property
    def unanswered(self) -> tuple[Screen, ...]:
        """The screens not answered yet, in order, those of later sittings included."""
        return tuple(screen for screen in self.screens if screen.number not in self.answered)

    @property
    def waiting(self) -> tuple[Screen, ...]:
        """The screens to be answered in the sitting that is open, or left from earlier ones."""
        return tuple(screen for screen in self.unanswered if screen.sitting <= self.sitting)

    @property
    def correctable(self) -> tuple[Screen, ...]:
        """The answered screens of the open sitting that may be corrected, with what stands of each."""
        if self.attempt.status != "tasting":
            return ()
        return tuple(
            opened_again(screen, self.given[screen.number])
            for screen in self.screens
            if screen.correctable and screen.number in self.given and screen.sitting == self.sitting
        )

    def screen(self, number: int) -> Screen | None:
        """The screen with that number."""
        return next((screen for screen in self.screens if screen.number == number), None)

    @property
    def next_url(self) -> str:
        """Where the taster goes on."""
        waiting = self.waiting
        return f"/t/{self.attempt.id}/{waiting[0].number}" if waiting else f"/t/{self.attempt.id}"


def seat_with(session: Session, attempt: Attempt) -> Seat:
    """The seat of an attempt."""
    study = session.get_one(Study, attempt.study_id)
    plan = plan_of(study)
    place = session.get_one(Place, attempt.place_id)
    screens = screens_of(plan, servings_of(session, attempt), place.number)
    return Seat(
        attempt,
        study,
        plan,
        screens,
        frozenset(answered_tasks(session, attempt)),
        open_sitting_number(session, study.id),
        is_paused(session, study.id),
        standing_sends(session, attempt) if plan.pace.way_back else {},
    )


def seat_for(request: Request, house: House, session: Session, attempt_id: str) -> Seat | HTMLResponse:
    """The seat this phone asks for, or the page that says why it cannot have it. Fetching is the check."""
    attempt = session.get(Attempt, attempt_id)
    if attempt is None:
        text = "This address leads to no tasting. Scan the code on the screen or on your card again."
        return taster_notice(request, 404, "Nothing here", text)
    if not may_answer(request, house.tokens, attempt.id):
        return taster_notice(
            request,
            403,
            "This is somebody else's ballot",
            "This phone has no right to answer here. Only the phone on which somebody agreed to take part can.",
            "If it is yours, open the page on that phone. Otherwise scan the code on the screen to join, "
            "or ask the panel leader.",
        )
    seat = seat_with(session, attempt)
    address_taster(request, seat.plan)
    if seat.study.brought_back_at is not None:
        return taster_notice(
            request, 410, "This tasting is over", "Its answers are kept; nothing can be added to them."
        )
    return seat


def address_taster(request: Request, plan: Plan) -> None:
    """Answer this request in the study's words and look."""
    speak(request, plan)
    request.scope["theme"] = plan.theme


def sitting_with_token(session: Session, tokens: Tokens, token: str) -> Sitting | None:
    """The sitting that a join code opens, or None."""
    for sitting in session.exec(select(Sitting).order_by(col(Sitting.id))):
        if tokens.opens_sitting(token, sitting.id, sitting.token_revision):
            return sitting
    return None


def attempt_at(session: Session, serving: Serving, candidates: list[str]) -> Attempt | None:
    """The attempt, among the candidates, that this cup belongs to."""
    query = select(Attempt).where(
        Attempt.place_id == serving.place_id,
        Attempt.number == serving.attempt_number,
        col(Attempt.id).in_(candidates),
    )
    return session.exec(query).first()


def taster_notice(
    request: Request,
    status: int,
    title: str,
    *text: str,
    link: str = "",
    link_label: str = "",
    attempt: str = "",
    look_again: int = 0,
) -> HTMLResponse:
    """A page in plain words, with a way on where there is one."""
    context = TasterNotice(title, text, link, link_label, attempt, look_again)
    return page(request, "taster/notice.html", context, status=status)
