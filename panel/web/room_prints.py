"""Printed things for single places: join cards in dealing order, and ballots for tasters without a phone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from sqlmodel import col, select

from panel import printing
from panel.store import studies
from panel.store.rows import Cup, current_cups_of, most_cups_at_a_sitting
from panel.store.tables import Place
from panel.study.life import Move
from panel.study.problems import Problem
from panel.study.questions import asked_at_end, asked_on
from panel.study.test_methods import method_of
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.asked import as_met
from panel.web.label_prints import frozen_address
from panel.web.pages import InHouse
from panel.web.study import study_page
from panel.web.words import words_for

if TYPE_CHECKING:
    from panel.store.tables import Study
    from panel.study.plan import Plan
    from panel.web.house import House

router = APIRouter()


@router.get("/studies/{study_id}/print/join-cards.pdf")
def print_join_cards(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, place: str = ""
) -> Response:
    """One card a place, in dealing order: cut and stacked, the top one is the next to hand out."""
    studies.require(study, Move.PRINT)
    places = _places(house, study, place)
    if not places:
        return _no_place(request, house, study)
    address = frozen_address(house, study, who.actor, "join cards", {"place": place})
    cards = []
    for one in places:
        token = house.tokens.place(one.id, one.token_revision)
        cards.append(
            printing.JoinCard(one.number, f"{address}/P/{token}".upper(), f"{address}/P", _in_groups(token))
        )
    return _pdf(printing.join_cards(cards).pdf, "join-cards")


@router.get("/studies/{study_id}/print/paper-ballots.pdf")
def print_paper_ballots(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, place: str = ""
) -> Response:
    """The ballot of every place, or of one, with the cups that stand there now."""
    studies.require(study, Move.PRINT)
    if not _places(house, study, place):
        return _no_place(request, house, study)
    frozen_address(house, study, who.actor, "paper ballots", {"place": place})
    plan = studies.plan_of(study)
    with house.database.read() as session:
        cups = [cup for cup in current_cups_of(session, study.id) if place in ("", str(cup.place))]
        most = most_cups_at_a_sitting(session, study.id)
    ballots = ballots_for(plan, cups)
    say = words_for(plan)
    printed = printing.paper_ballots(plan, ballots, commitment=study.commitment, cups=most, say=say)
    return _pdf(printed.pdf, "paper-ballots")


def ballots_for(plan: Plan, cups: list[Cup]) -> list[printing.PaperBallot]:
    """The ballot of each place that these cups stand at."""
    tasks: dict[int, dict[int, list[Cup]]] = {}
    for cup in cups:
        tasks.setdefault(cup.place, {}).setdefault(cup.task, []).append(cup)
    return [_paper_ballot(plan, number, mine) for number, mine in sorted(tasks.items())]


def _paper_ballot(plan: Plan, place: int, tasks: dict[int, list[Cup]]) -> printing.PaperBallot:
    """The ballot of one place, its questions and terms in the order that a phone there shows."""
    method = method_of(plan.method)
    first = {cups[0].sitting: number for number, cups in sorted(tasks.items(), reverse=True)}
    made = [
        printing.BallotTask(
            tuple(cup.code for cup in cups),
            plan.conditions[cups[0].condition] if len(plan.conditions) > 1 else "",
            known=method.known_first and number == first[cups[0].sitting],
            questions=() if method.wording else as_met(plan, asked_on(plan, cups[0].condition), place),
        )
        for number, cups in sorted(tasks.items())
    ]
    return printing.PaperBallot(place, tuple(made), at_end=as_met(plan, asked_at_end(plan), place))


def _places(house: House, study: Study, number: str) -> list[Place]:
    """All places in dealing order, or the one of that number."""
    query = select(Place).where(Place.study_id == study.id).order_by(col(Place.number))
    with house.database.read() as session:
        return [place for place in session.exec(query) if number in ("", str(place.number))]


def _no_place(request: Request, house: House, study: Study) -> Response:
    text = "This study has no place of that number. Print from the place’s own page in the room."
    return study_page(request, house, study, (Problem("", "no_place", text),), 422)


def _in_groups(token: str) -> str:
    return " ".join(token[start : start + 5] for start in range(0, len(token), 5))


def _pdf(content: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"', "Cache-Control": "no-store"}
    return Response(content, media_type="application/pdf", headers=headers)
