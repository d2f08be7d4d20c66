"""Signing in: the first start, organisers with passwords, links for kitchen, analyst and bench."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, HTTPException, Request, Response

from panel.store.access import add_organiser, has_organiser, link_with, organiser_with
from panel.study.problems import Problem
from panel.web.access import forget, remember
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.slow_down import too_many_tries

router = APIRouter()

FIRST_PAGES = {"kitchen": "kitchen", "analyst": "report", "bench": "bench"}


@dataclass(frozen=True, slots=True)
class SignInPage:
    """The sign-in form with what was typed; to: where to go afterwards."""

    to: str = "/"
    name: str = ""
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class FirstStartPage:
    """The form by which the first organiser sets a name and password."""

    code: str = ""
    name: str = ""
    problems: tuple[Problem, ...] = ()


@router.get("/sign-in")
def show_sign_in(request: Request, house: InHouse, to: str = "/") -> Response:
    with house.database.read() as session:
        if not has_organiser(session):
            return see_other("/first-start")
    return page(request, "sign_in/sign_in.html", SignInPage(to=_local(to)))


@router.post("/sign-in")
def sign_in(request: Request, house: InHouse, sent: Sent) -> Response:
    name, to = sent.get("name", ""), _local(sent.get("to", "/"))
    if too_many_tries(request, "sign-in"):
        text = "Too many tries from this device. Wait five minutes, then try again."
        return page(
            request,
            "sign_in/sign_in.html",
            SignInPage(to, name, (Problem("name", "wait", text),)),
            status=429,
        )
    with house.database.read() as session:
        organiser = organiser_with(session, name, sent.get("password", ""))
    if organiser is None:
        text = "Name and password do not belong together. Check both and try again."
        problems = (Problem("name", "no_match", text),)
        return page(request, "sign_in/sign_in.html", SignInPage(to, name, problems), status=422)
    response = see_other(to)
    remember(response, house, organiser)
    return response


@router.post("/sign-out")
def sign_out(request: Request, house: InHouse) -> Response:
    response = see_other("/sign-in")
    forget(request, response, house)
    return response


@router.get("/first-start")
def show_first_start(request: Request, house: InHouse, code: str = "") -> Response:
    with house.database.read() as session:
        if has_organiser(session):
            return see_other("/sign-in")
    return page(request, "sign_in/first_start.html", FirstStartPage(code=code))


@router.post("/first-start")
def first_start(request: Request, house: InHouse, sent: Sent) -> Response:
    code, name = sent.get("code", ""), sent.get("name", "")
    problem = None
    with house.database.write() as session:
        if has_organiser(session):
            return see_other("/sign-in")
        if too_many_tries(request, "first start"):
            problem = Problem(
                "code", "wait", "Too many tries from this device. Wait five minutes, then try again."
            )
        elif not house.tokens.is_first_start_code(code):
            problem = Problem(
                "code", "wrong_code", "Type the code that the terminal shows; this is another one."
            )
        else:
            try:
                organiser = add_organiser(session, name, sent.get("password", ""))
            except ValueError as error:
                problem = Problem(
                    "password" if "password" in str(error) else "name", "will_not_do", str(error)
                )
    if problem is not None:
        return page(request, "sign_in/first_start.html", FirstStartPage(code, name, (problem,)), status=422)
    response = see_other("/")
    remember(response, house, organiser)
    return response


@router.get("/in/{token}")
def come_in_by_link(request: Request, house: InHouse, token: str) -> Response:
    """A kitchen's, analyst's or bench's link becomes a cookie and leaves the address bar."""
    with house.database.read() as session:
        link = link_with(session, token)
    if link is None:
        raise HTTPException(404)
    response = see_other(f"/studies/{link.study_id}/{FIRST_PAGES[link.role]}")
    remember(response, house, link)
    return response


def _local(to: str) -> str:
    return to if to.startswith("/") and not to.startswith("//") and "\\" not in to else "/"
