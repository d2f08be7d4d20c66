"""One place of the room: who sits there, its cups, and what can be done when something goes wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response

from panel.printing import SHEETS
from panel.store import studies
from panel.store.dealing import latest_attempt, mark_gone, place_numbered, waiting_places
from panel.store.incidents import OpenCall, open_calls
from panel.store.recording import answered_tasks
from panel.store.reissue import REASONS, give_again, replace_cup
from panel.store.rows import attempts_of, served_at, servings_at
from panel.store.served import note_order
from panel.store.studies import ForbiddenMoveError
from panel.store.tables import Attempt, Place, Serving
from panel.study.draft_reader import tidy
from panel.study.life import Move, State
from panel.study.problems import Problem
from panel.study.pseudonyms import taster_name
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlmodel import Session

    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()
LONGEST_NOTE = 300


@dataclass(frozen=True, slots=True)
class PlaceCup:
    """One cup at the place. served : its position where it differs from the planned one, else 0."""

    id: str
    code: str
    position: int
    served: int
    condition: str
    answered: bool
    replaced: bool
    same_cup: bool


@dataclass(frozen=True, slots=True)
class Took:
    """Somebody who took the place, now or before."""

    taster: str
    name: str
    status: str
    answered: int
    due: int


@dataclass(frozen=True, slots=True)
class PlacePage:
    """One place with its cups and what may be done.

    waits : whether cups stand there for a next comer
    own_cups, replaceable, labels : choices of a form, value and words; fresh_code : a cup just poured again
    """

    head: StudyHead
    place: int
    waits: bool
    status: str
    took: tuple[Took, ...]
    calls: tuple[OpenCall, ...]
    cups: tuple[PlaceCup, ...]
    own_cups: tuple[tuple[str, str], ...]
    replaceable: tuple[tuple[str, str], ...]
    labels: tuple[tuple[str, str], ...]
    fresh_code: str
    conditions: bool
    reasons: tuple[tuple[str, str], ...]
    sheets: tuple[tuple[str, str], ...]
    may_act: bool
    may_print: bool
    may_replace: bool
    may_note_order: bool
    problems: tuple[Problem, ...]
    typed: dict[str, str]
    said: str


@router.get("/studies/{study_id}/room/{number:int}")
def show_place(
    request: Request, house: InHouse, study: OrganisersStudy, number: int, said: str = "", code: str = ""
) -> Response:
    studies.require(study, Move.EXPORT)
    return _page(request, house, study, number, said=_said(said, code), fresh_code=code)


@router.post("/studies/{study_id}/room/{number:int}/gone")
def note_gone(house: InHouse, who: AsOrganiser, study: OrganisersStudy, number: int) -> Response:
    with house.database.write() as session:
        attempt = latest_attempt(session, _place(session, study, number).id)
        if attempt is None:
            raise ForbiddenMoveError("Nobody has taken this place yet; the next comer will.")
        mark_gone(session, attempt, who.actor)
    return see_other(f"/studies/{study.id}/room/{number}?said=gone")


@router.post("/studies/{study_id}/room/{number:int}/again")
def again(house: InHouse, who: AsOrganiser, study: OrganisersStudy, number: int) -> Response:
    with house.database.write() as session:
        give_again(session, house.tokens, _place(session, study, number), who.actor)
    return see_other(f"/studies/{study.id}/room/{number}?said=again")


@router.post("/studies/{study_id}/room/{number:int}/cups")
def replace(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, number: int, sent: Sent
) -> Response:
    reason, note = sent.get("reason", ""), tidy(sent.get("note", ""))[:LONGEST_NOTE]
    with house.database.write() as session:
        cup = _cup(session, study, number, sent.get("cup", ""))
        if cup is not None and reason in REASONS:
            code = replace_cup(session, house.tokens, cup, who.actor, reason, note)
            return see_other(f"/studies/{study.id}/room/{number}?said=replaced&code={code}")
    problems = () if cup else (Problem("cup", "missing", "Choose the cup that is to be poured again."),)
    if reason not in REASONS:
        problems = (*problems, Problem("reason", "missing", "Choose why it is poured again."))
    return _page(request, house, study, number, problems, sent, status=422)


@router.post("/studies/{study_id}/room/{number:int}/order")
def exchange(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, number: int, sent: Sent
) -> Response:
    note = tidy(sent.get("order_note", ""))[:LONGEST_NOTE]
    with house.database.write() as session:
        first = _cup(session, study, number, sent.get("one", ""))
        second = _cup(session, study, number, sent.get("other", ""))
        if first is not None and second is not None and first.id != second.id:
            note_order(session, first, second, who.actor, note)
            return see_other(f"/studies/{study.id}/room/{number}?said=order")
    field = "one" if first is None else "other"
    problem = Problem(field, "missing", "Choose two different cups that were taken in each other’s place.")
    return _page(request, house, study, number, (problem,), sent, status=422)


def _said(said: str, code: str) -> str:
    return {
        "gone": "Noted: the taster has gone. What was answered stays.",
        "again": "Fresh cups are planned, with new codes. Print the labels below and have the kitchen pour; the next "
        "comer may take this place.",
        "replaced": f"The cup now has code {code[:3]}. Print its label below, and have it poured. The taster’s page "
        "shows the new code when it is loaded again.",
        "order": "Noted: the two cups were taken in each other’s place. The analysis uses the order as served.",
    }.get(said, "")


def _place(session: Session, study: Study, number: int) -> Place:
    found = place_numbered(session, study.id, number)
    if found is None:
        raise HTTPException(404)
    return found


def _cup(session: Session, study: Study, number: int, cup_id: str) -> Serving | None:
    """The cup chosen on this place's page, or None."""
    place, cup = _place(session, study, number), session.get(Serving, cup_id)
    return cup if cup is not None and cup.place_id == place.id else None


def _page(
    request: Request,
    house: House,
    study: Study,
    number: int,
    problems: tuple[Problem, ...] = (),
    typed: dict[str, str] | None = None,
    said: str = "",
    fresh_code: str = "",
    status: int = 200,
) -> Response:
    state, plan, now_there = State(study.state), studies.plan_of(study), _there(house, study, number)
    cups = now_there.cups
    own = [cup for cup in cups if not cup.same_cup]
    context = PlacePage(
        head=head_of_page(study),
        place=number,
        waits=now_there.waits,
        status=now_there.status,
        took=now_there.took,
        calls=now_there.calls,
        cups=cups,
        own_cups=_choices(own),
        replaceable=_choices([cup for cup in own if _still_to_come(cup, cups)]),
        labels=_labels(cups),
        fresh_code=fresh_code if any(cup.code == fresh_code for cup in cups) else "",
        conditions=len(plan.conditions) > 1,
        reasons=(("", "Choose a reason"), *REASONS.items()),
        sheets=tuple((name, sheet.name) for name, sheet in SHEETS.items()),
        may_act=state == State.SERVING,
        may_print=studies.may(study, Move.PRINT),
        may_replace=state in (State.SEALED, State.SERVING) and now_there.status in ("free", "tasting"),
        may_note_order=studies.may(study, Move.ANSWER) and now_there.status != "free",
        problems=problems,
        typed=typed or {},
        said=said,
    )
    return page(request, "room/place.html", context, status=status)


@dataclass(frozen=True, slots=True)
class _There:
    """What is at the place now. status : of the latest attempt, "free" where a next comer may sit down."""

    waits: bool
    status: str
    took: tuple[Took, ...]
    calls: tuple[OpenCall, ...]
    cups: tuple[PlaceCup, ...]


def _there(house: House, study: Study, number: int) -> _There:
    with house.database.read() as session:
        place = _place(session, study, number)
        attempt = latest_attempt(session, place.id)
        waiting = {found.id: attempt_number for found, attempt_number in waiting_places(session, study.id)}
        shown = waiting.get(place.id) or (attempt.number if attempt else 1)
        return _There(
            waits=place.id in waiting,
            status="free" if place.id in waiting or attempt is None else attempt.status,
            took=_took(session, study.id, number),
            calls=tuple(call for call in open_calls(session, study.id) if call.place == number),
            cups=_cups(session, place, shown, studies.plan_of(study).conditions, attempt),
        )


def _choices(cups: Sequence[PlaceCup]) -> tuple[tuple[str, str], ...]:
    return (("", "Choose a cup"), *((cup.id, f"Cup {cup.position}: {cup.code}") for cup in cups))


def _labels(cups: Sequence[PlaceCup]) -> tuple[tuple[str, str], ...]:
    codes = dict.fromkeys(cup.code for cup in cups)
    return (("", "All labels of this place"), *((code, f"Cup {code} only") for code in codes))


def _still_to_come(cup: PlaceCup, cups: Sequence[PlaceCup]) -> bool:
    """Whether any screen about this cup is still to be answered: its own, or one after an addition into it."""
    return any(other.code == cup.code and not other.answered for other in cups)


def _took(session: Session, study_id: str, number: int) -> tuple[Took, ...]:
    return tuple(
        Took(taster_name(row.place, row.attempt_number), row.name, row.status, row.answered, row.due)
        for row in attempts_of(session, study_id)
        if row.place == number
    )


def _cups(
    session: Session, place: Place, shown: int, conditions: tuple[str, ...], attempt: Attempt | None
) -> tuple[PlaceCup, ...]:
    begun = attempt is not None and attempt.number == shown
    done = answered_tasks(session, attempt) if attempt is not None and begun else set()
    return tuple(
        PlaceCup(
            id=cup.id,
            code=cup.code,
            position=cup.position,
            served=0 if served_at(cup) == cup.position else served_at(cup),
            condition=conditions[cup.condition],
            answered=task.number in done,
            replaced=cup.sealed_code != "",
            same_cup=cup.same_cup_as is not None,
        )
        for task, cups in servings_at(session, place.id, shown)
        for cup in cups
    )
