"""What comes between two screens: the right cup, a wait, a break, a pause, help, another phone, a card of a place."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select

from panel.store.incidents import open_calls
from panel.store.sittings import end_sitting, open_next_sitting, pause, resume
from panel.store.tables import Place, Task
from panel.study.plan import Layout, Pace, Question
from tests.web.sealed_sitting import RATING, SealedSitting
from tests.web.taster_app import opened

if TYPE_CHECKING:
    from fastapi import FastAPI
    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone

LIKING = replace(RATING, questions=(Question("q1", "How much do you like it?", "hedonic-9"),), primary="q1")
PLAIN = replace(LIKING, ask_name=False, tasters=1)
CODES = ("417", "283", "562", "739")
PLACES = [[[(number % 2, code, 0, "")] for number, code in enumerate(CODES)]]


def join(page: Page, path: str) -> None:
    page.goto(path)
    page.get_by_role("button", name="I agree and take part").click()
    page.wait_for_url(re.compile("/t/"))


def like(page: Page, words: str = "Like moderately") -> None:
    page.get_by_text(words, exact=True).tap()
    page.get_by_role("button", name=re.compile("^Save and")).tap()


def shows(page: Page, code: str) -> None:
    page.locator("h1 .code").get_by_text(code, exact=True).wait_for()


def calls(sitting: SealedSitting) -> list[tuple[str, str]]:
    with sitting.database.read() as session:
        return [(call.kind, call.code) for call in open_calls(session, sitting.study_id)]


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "without"])
def test_a_wrong_cup_is_caught_and_the_server_called(
    app: FastAPI, address: str, new_phone: NewPhone, script: bool
) -> None:
    sitting = opened(app, replace(PLAIN, pace=Pace(confirm_cup=True)), PLACES)
    page = new_phone(address, java_script_enabled=script)
    join(page, sitting.join_path)
    offered = page.locator(".confirm .code").all_inner_texts()
    assert offered == sorted(offered)
    assert (len(offered), "417" in offered) == (3, True)
    if script:
        assert not page.get_by_text("Like moderately", exact=True).is_visible(), (
            "first the cup, then the taste"
        )
    page.locator(".confirm .code").get_by_text("283").tap()
    if not script:
        like(page)
    page.locator(".summary").get_by_text("That is not the cup for now.").wait_for()
    page.locator(".confirm .code").get_by_text("417").tap()
    like(page)
    shows(page, "283")
    if script:
        page.get_by_text("Saved", exact=True).wait_for()
    assert calls(sitting) == [("wrong cup", "283")]
    assert sitting.values() == {(1, 1, "q1"): 7}


def test_a_wait_is_counted_down_and_survives_a_reload(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    sitting = opened(app, replace(PLAIN, pace=Pace(wait_seconds=60)), PLACES)
    page = new_phone(address)
    page.clock.install()
    join(page, sitting.join_path)
    like(page)
    page.locator(".count").wait_for()
    assert "Rinse with water and wait a moment." in page.locator(".gate").inner_text()
    assert not page.get_by_text("Like moderately", exact=True).is_visible()
    page.clock.run_for(20_000)
    left = int(page.locator(".count").inner_text())
    assert 30 <= left <= 41
    page.reload()
    assert int(page.locator(".count").inner_text()) <= left, "a reload does not begin the wait again"
    page.clock.run_for(45_000)
    page.get_by_text("Like moderately", exact=True).wait_for()


def test_a_break_comes_after_so_many_screens(app: FastAPI, address: str, new_phone: NewPhone) -> None:
    sitting = opened(app, replace(PLAIN, layout=Layout(break_every=2)), PLACES)
    page = new_phone(address)
    join(page, sitting.join_path)
    like(page)
    shows(page, "283")
    assert page.locator("main .gate").count() == 0
    like(page)
    page.get_by_role("button", name="I am ready").tap()
    shows(page, "562")
    like(page)
    shows(page, "739")


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "without"])
def test_help_is_called_once(app: FastAPI, address: str, new_phone: NewPhone, script: bool) -> None:
    sitting = opened(app, PLAIN, PLACES)
    page = new_phone(address, java_script_enabled=script)
    join(page, sitting.join_path)
    for _ in range(2):
        page.get_by_role("button", name="Call for help").tap()
        page.get_by_text("Help is on its way.").wait_for()
    assert calls(sitting) == [("help", "")]
    shows(page, "417")


def test_a_paused_sitting_lets_everybody_wait_after_their_screen(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    sitting = opened(app, PLAIN, PLACES)
    page = new_phone(address)
    join(page, sitting.join_path)
    with sitting.database.write() as session:
        pause(session, sitting.study_id, "organiser Ada")
    like(page)
    page.get_by_role("heading", name="A short pause").wait_for()
    assert sitting.values() == {(1, 1, "q1"): 7}
    with sitting.database.write() as session:
        resume(session, sitting.study_id, "organiser Ada")
    page.reload()
    shows(page, "283")


def test_the_screens_of_a_later_sitting_wait_for_it(app: FastAPI, address: str, new_phone: NewPhone) -> None:
    sitting = opened(app, replace(PLAIN, layout=Layout(sittings=2)), PLACES)
    with sitting.database.write() as session:
        for task in session.exec(select(Task)):
            task.sitting = 1 if task.number <= 2 else 2
            session.add(task)
    page = new_phone(address)
    join(page, sitting.join_path)
    ballot = page.url
    like(page)
    like(page)
    page.get_by_role("heading", name="That is all for now").wait_for()
    with sitting.database.write() as session:
        end_sitting(session, sitting.study_id, "organiser Ada")
        open_next_sitting(session, sitting.study_id, "organiser Ada")
    page.goto(ballot)
    shows(page, "562")


@pytest.mark.parametrize("way", ["typed code", "card"])
def test_a_ballot_goes_on_on_another_phone(app: FastAPI, address: str, new_phone: NewPhone, way: str) -> None:
    sitting = opened(app, PLAIN, PLACES)
    first, second = new_phone(address), new_phone(address)
    card = place_card(app)
    join(first, card)
    like(first)
    first.get_by_text("Saved", exact=True).wait_for()
    if way == "card":
        second.goto(card)
        second.get_by_role("button", name="Go on here").tap()
    else:
        first.locator("summary", has_text="Continue on another phone").tap(position={"x": 20, "y": 20})
        first.locator("details[open] .head").wait_for()
        code = first.locator(".foot .head").inner_text()
        second.goto("/go")
        second.get_by_label("The code on your card").fill(f" {code.lower()} ")
        second.get_by_role("button", name="Go on").tap()
    shows(second, "283")
    for code in CODES[1:]:
        shows(second, code)
        like(second, "Like slightly")
    second.get_by_role("heading", name="Thank you").wait_for()
    assert sitting.values() == {(1, 1, "q1"): 7, **{(1, screen, "q1"): 6 for screen in (2, 3, 4)}}


def place_card(app: FastAPI) -> str:
    house = app.state.house
    with house.database.read() as session:
        place = session.exec(select(Place)).one()
        return f"/P/{house.tokens.place(place.id, place.token_revision)}"


def test_a_code_that_opens_nothing_is_said_to(app: FastAPI, address: str, new_phone: NewPhone) -> None:
    opened(app, PLAIN, PLACES)
    page = new_phone(address)
    page.goto("/go")
    page.get_by_label("The code on your card").fill("ABCD-EFGH")
    page.get_by_role("button", name="Go on").tap()
    page.locator(".summary").get_by_text("No ballot and no place has this code.").wait_for()
    assert page.get_by_label("The code on your card").input_value() == "ABCD-EFGH"


def test_a_card_opens_its_own_place_to_one_taster(app: FastAPI, address: str, new_phone: NewPhone) -> None:
    sitting = opened(app, PLAIN, PLACES)
    page = new_phone(address)
    join(page, place_card(app))
    shows(page, "417")
    assert [attempt.number for attempt in sitting.attempts()] == [1]
    page.goto(sitting.join_path + "?another=1")
    page.get_by_role("button", name="I agree and take part").click()
    page.get_by_role("heading", name="All places are taken").wait_for()
