"""Who may organise: a second account from the browser, and a new password for one's own."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.store.access import add_organiser, all_organisers, organiser_called, organiser_with, set_password
from panel.store.sign_ins import devices_of, end_sign_ins_of
from panel.study.draft_reader import LONGEST_NAME
from panel.study.problems import Problem
from panel.web.access import AsOrganiser, Visitor, remember
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
    since: datetime


@dataclass(frozen=True, slots=True)
class OrganisersPage:
    """Everybody who may organise, and the forms for another account and for a new password.

    name : as typed for another account; devices : on how many whoever asks is signed in
    """

    organisers: tuple[OrganiserLine, ...]
    name: str
    devices: int
    problems: tuple[Problem, ...]


@router.get("/organisers")
def show_organisers(request: Request, house: InHouse, who: AsOrganiser) -> Response:
    return _page(request, house, who)


@router.post("/organisers")
def add(request: Request, house: InHouse, who: AsOrganiser, sent: Sent) -> Response:
    """A further account: its owner types the password; who added them is kept."""
    name = sent.get("name", "")
    if len(name) > LONGEST_NAME:
        text = f"Shorten the name to {LONGEST_NAME} characters."
        return _page(request, house, who, "", (Problem("name", "too_long", text),), 422)
    try:
        with house.database.write() as session:
            add_organiser(session, name, sent.get("password", ""), who.name)
    except ValueError as error:
        field = "password" if "password" in str(error) else "name"
        return _page(request, house, who, name, (Problem(field, "will_not_do", str(error)),), 422)
    return see_other("/organisers")


@router.post("/organisers/password")
def change_password(request: Request, house: InHouse, who: AsOrganiser, sent: Sent) -> Response:
    """A new password for one's own account; every other sign-in with the old one ends."""
    if too_many_tries(request, "sign-in"):
        text = "Too many tries from this device. Wait five minutes, then try again."
        return _page(request, house, who, "", (Problem("old", "wait", text),), 429)
    with house.database.read() as session:
        organiser = organiser_with(session, who.name, sent.get("old", ""))
    if organiser is None:
        problem = Problem("old", "no_match", "This is not your present password.")
        return _page(request, house, who, "", (problem,), 422)
    try:
        with house.database.write() as session:
            set_password(session, who.name, sent.get("new", ""))
    except ValueError as error:
        return _page(request, house, who, "", (Problem("new", "will_not_do", str(error)),), 422)
    response = see_other("/organisers")
    remember(response, house, organiser)
    return response


@router.post("/organisers/devices")
def sign_out_elsewhere(house: InHouse, who: AsOrganiser) -> Response:
    """End this organiser's sign-ins on every device but the one that asks."""
    with house.database.write() as session:
        organiser = organiser_called(session, who.name)
        assert organiser is not None
        end_sign_ins_of(session, organiser)
    response = see_other("/organisers")
    remember(response, house, organiser)
    return response


def _page(
    request: Request,
    house: House,
    who: Visitor,
    name: str = "",
    problems: tuple[Problem, ...] = (),
    status: int = 200,
) -> Response:
    with house.database.read() as session:
        found = all_organisers(session)
        devices = sum(devices_of(session, organiser) for organiser in found if organiser.name == who.name)
    lines = tuple(
        OrganiserLine(organiser.name, organiser.created_by, organiser.created_at) for organiser in found
    )
    return page(
        request, "sign_in/organisers.html", OrganisersPage(lines, name, devices, problems), status=status
    )
