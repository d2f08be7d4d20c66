"""Who may organise: a second account from the browser, and a new password for one's own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.store.access import add_organiser, all_organisers, organiser_with, set_password
from panel.study.draft_reader import LONGEST_NAME
from panel.study.problems import Problem
from panel.web.access import AsOrganiser, remember
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.slow_down import too_many_tries

if TYPE_CHECKING:
    from panel.web.house import House

router = APIRouter()


@dataclass(frozen=True, slots=True)
class OrganiserLine:
    """One organiser. added_by: "" for the first one and from the command line."""

    name: str
    added_by: str
    since: str


@dataclass(frozen=True, slots=True)
class OrganisersPage:
    """Everybody who may organise, and the forms for another account and for a new password."""

    organisers: tuple[OrganiserLine, ...]
    name: str
    problems: tuple[Problem, ...]


@router.get("/organisers")
def show_organisers(request: Request, house: InHouse, _who: AsOrganiser) -> Response:
    return _page(request, house)


@router.post("/organisers")
def add(request: Request, house: InHouse, who: AsOrganiser, sent: Sent) -> Response:
    """A further account: its owner types the password; who added them is kept."""
    name = sent.get("name", "")
    if len(name) > LONGEST_NAME:
        text = f"Shorten the name to {LONGEST_NAME} characters."
        return _page(request, house, "", (Problem("name", "too_long", text),), 422)
    try:
        with house.database.write() as session:
            add_organiser(session, name, sent.get("password", ""), who.name)
    except ValueError as error:
        field = "password" if "password" in str(error) else "name"
        return _page(request, house, name, (Problem(field, "will_not_do", str(error)),), 422)
    return see_other("/organisers")


@router.post("/organisers/password")
def change_password(request: Request, house: InHouse, who: AsOrganiser, sent: Sent) -> Response:
    """A new password for one's own account; every other sign-in with the old one ends."""
    if too_many_tries(request, "sign-in"):
        text = "Too many tries from this device. Wait five minutes, then try again."
        return _page(request, house, "", (Problem("old", "wait", text),), 429)
    with house.database.read() as session:
        organiser = organiser_with(session, who.name, sent.get("old", ""))
    if organiser is None:
        problem = Problem("old", "no_match", "This is not your present password.")
        return _page(request, house, "", (problem,), 422)
    try:
        with house.database.write() as session:
            set_password(session, who.name, sent.get("new", ""))
    except ValueError as error:
        return _page(request, house, "", (Problem("new", "will_not_do", str(error)),), 422)
    response = see_other("/organisers")
    remember(response, house, "organiser", organiser.id)
    return response


def _page(
    request: Request, house: House, name: str = "", problems: tuple[Problem, ...] = (), status: int = 200
) -> Response:
    with house.database.read() as session:
        lines = tuple(
            OrganiserLine(found.name, found.created_by, f"{found.created_at:%Y-%m-%d}")
            for found in all_organisers(session)
        )
    return page(request, "sign_in/organisers.html", OrganisersPage(lines, name, problems), status=status)
