"""Working alone: how to mark and shuffle the cups, and writing down the dots once the answers are fixed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.store import studies
from panel.store.alone import Round, leave_round_out, read_dots, rounds_of
from panel.study.alone import STATEMENT, check_dots
from panel.study.draft_reader import tidy
from panel.study.life import Move, State
from panel.study.problems import Problem
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()
LONGEST = 300


@dataclass(frozen=True, slots=True)
class AlonePage:
    """The rounds with what to do in each.

    current, stands : the first round that is not done, 0 where all are, and where it stands
    at : the round whose form was just sent with a problem, else 0
    """

    head: StudyHead
    statement: str
    rounds: tuple[Round, ...]
    current: int
    stands: str
    may_sign: bool
    typed: Mapping[str, str]
    at: int
    problems: tuple[Problem, ...]


@router.get("/studies/{study_id}/alone")
def show_alone(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    _require_alone(study)
    return alone_page(request, house, study)


@router.post("/studies/{study_id}/alone/{number:int}/dots")
def write_dots(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, number: int, sent: Sent
) -> Response:
    _require_alone(study)
    with house.database.read() as session:
        rounds = {found.number: found for found in rounds_of(session, study)}
    positions = [position for position, _code in rounds[number].codes] if number in rounds else []
    dots, problems = check_dots(sent, number, positions)
    if problems:
        return alone_page(request, house, study, sent, number, problems)
    with house.database.write() as session:
        read_dots(session, study.id, who.actor, number, dots)
    return see_other(f"/studies/{study.id}/alone#round-{number}")


@router.post("/studies/{study_id}/alone/{number:int}/leave-out")
def leave_out(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, number: int, sent: Sent
) -> Response:
    _require_alone(study)
    reason = tidy(sent.get(f"reason-{number}", ""))
    if not 0 < len(reason) <= LONGEST:
        text = f"Write why round {number} is left out, in 1 to {LONGEST} characters: the report shows it."
        return alone_page(
            request, house, study, sent, number, (Problem(f"reason-{number}", "missing", text),)
        )
    with house.database.write() as session:
        leave_round_out(session, study.id, who.actor, number, reason)
    return see_other(f"/studies/{study.id}/alone#round-{number}")


def _require_alone(study: Study) -> None:
    studies.require(study, Move.EXPORT)
    if not studies.plan_of(study).alone:
        raise studies.ForbiddenMoveError(
            "This study was not planned for one person alone; its cups have no dots."
        )


def alone_page(
    request: Request,
    house: House,
    study: Study,
    typed: Mapping[str, str] | None = None,
    at: int = 0,
    problems: tuple[Problem, ...] = (),
) -> Response:
    """The page as it stands, or with what is wrong in the form that was sent."""
    with house.database.read() as session:
        rounds = tuple(rounds_of(session, study))
    waiting = ("to read",) if study.state == State.CLOSED else ("to read", "tasting", "to come")
    current = next((found for found in rounds if found.stands in waiting), None)
    done = all(found.stands != "to read" for found in rounds)
    context = AlonePage(
        head=head_of_page(study),
        statement=STATEMENT,
        rounds=rounds,
        current=current.number if current else 0,
        stands=current.stands if current else "",
        may_sign=done and studies.may(study, Move.SIGN),
        typed=typed or {},
        at=at,
        problems=problems,
    )
    return page(request, "organiser/alone.html", context, status=422 if problems else 200)
