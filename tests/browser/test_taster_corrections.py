"""The way back to an answered screen, where the organiser allows it: on the phone, without network, after a reload."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from sqlmodel import col, select

from panel.store.rows import scores_of
from panel.store.tables import Answer, Study, Submission
from panel.study.plan import Pace
from tests.web.sealed_sitting import RATING, SealedSitting
from tests.web.taster_app import opened

if TYPE_CHECKING:
    from fastapi import FastAPI
    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone

CODES = ("417", "283", "562")
PLAN = replace(RATING, ask_name=False, tasters=1, pace=Pace(way_back=True))
PLACES = [[[(number % 2, code, 0, "")] for number, code in enumerate(CODES)]]


def join(page: Page, sitting: SealedSitting) -> str:
    page.goto(sitting.join_path)
    page.get_by_role("button", name="I agree and take part").click()
    page.wait_for_url(re.compile("/t/"))
    return page.url


def shows(page: Page, code: str) -> None:
    page.locator("h1 .code").get_by_text(code, exact=True).wait_for()


def fill(page: Page, liking: str, line: str, remark: str) -> None:
    page.get_by_text(liking, exact=True).tap()
    page.get_by_role("slider").press(line)
    page.get_by_label("Yes").tap()
    page.get_by_label("Anything else?").fill(remark)


def answer(page: Page, liking: str, remark: str) -> None:
    fill(page, liking, "End", remark)
    page.get_by_role("button", name=re.compile("^Save and")).tap()


def look_back(page: Page, code: str) -> None:
    page.locator(".earlier summary").press("Enter")
    page.locator(".earlier a").filter(has_text=code).tap()
    page.get_by_text("Change your answers").wait_for()
    shows(page, code)


def state(page: Page, words: str) -> None:
    page.locator("#state").get_by_text(words).wait_for()


def all_sent(page: Page) -> None:
    page.locator("#state").get_by_text("Saved", exact=True).wait_for()


def stored(sitting: SealedSitting) -> list[tuple[str, int, object]]:
    """Outcome, revision and liking of everything stored, in order of receipt."""
    with sitting.database.read() as session:
        query = (
            select(Submission.outcome, Answer.revision, Answer.value)
            .join(Answer, col(Answer.submission_id) == Submission.id)
            .where(Answer.question == "q0")
            .order_by(col(Submission.received_at))
        )
        return [(outcome, revision, json.loads(value)) for outcome, revision, value in session.exec(query)]


def counted(sitting: SealedSitting) -> dict[str, object]:
    """What is analysed of the first screen."""
    with sitting.database.read() as session:
        study = session.get_one(Study, sitting.study_id)
        return {score.question: score.value for score in scores_of(session, study) if score.position == 1}


def test_an_answer_is_corrected_without_network_and_sent_once(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    sitting = opened(app, PLAN, PLACES)
    page = new_phone(address)
    join(page, sitting)
    assert not page.get_by_text("Change an earlier answer").is_visible(), "nothing to change yet"
    answer(page, "Like moderately", "one")
    shows(page, "283")
    all_sent(page)
    page.context.set_offline(True)
    page.get_by_label("Anything else?").fill("half-way")
    look_back(page, "417")
    assert page.get_by_label("Like moderately", exact=True).is_checked()
    assert page.get_by_role("slider").get_attribute("aria-valuenow") == "100"
    assert page.get_by_label("Anything else?").input_value() == "one"
    assert not page.get_by_role("button", name="Save and go on").is_visible()
    fill(page, "Dislike slightly", "Home", "other")
    page.get_by_role("button", name="Save the change").tap()
    shows(page, "283")
    assert page.get_by_label("Anything else?").input_value() == "half-way", "what was begun is still there"
    state(page, "1 screen waits for the network.")
    page.context.set_offline(False)
    all_sent(page)
    assert stored(sitting) == [("stored", 1, 7), ("correction", 2, 4)]
    assert counted(sitting) == {"q0": 4, "q1": 0, "q2": 1, "q3": "other"}
    answer(page, "Like slightly", "two")
    answer(page, "Like extremely", "three")
    page.get_by_role("heading", name="Thank you").wait_for()
    assert [row[0] for row in stored(sitting)] == ["stored", "correction", "stored", "stored"]
    assert page.locator(".earlier").is_hidden(), "whoever has finished has finished"


def test_answer_and_two_corrections_queue_up_and_arrive_in_order(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    sitting = opened(app, PLAN, PLACES)
    page = new_phone(address)
    join(page, sitting)
    page.context.set_offline(True)
    answer(page, "Like moderately", "one")
    for liking in ("Like slightly", "Dislike extremely"):
        look_back(page, "417")
        fill(page, liking, "Home", "again")
        page.get_by_role("button", name="Save the change").tap()
        shows(page, "283")
    state(page, "3 screens wait for the network.")
    page.context.set_offline(False)
    all_sent(page)
    assert stored(sitting) == [("stored", 1, 7), ("correction", 2, 6), ("correction", 3, 1)]


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "without"])
def test_after_a_reload_the_server_says_what_stands(
    app: FastAPI, address: str, new_phone: NewPhone, script: bool
) -> None:
    sitting = opened(app, PLAN, PLACES)
    page = new_phone(address, java_script_enabled=script)
    ballot = join(page, sitting)
    page.get_by_text("Like moderately", exact=True).tap()
    if script:
        page.get_by_role("slider").press("Home")
    else:
        page.locator(".place").first.tap()
    page.get_by_label("Yes").tap()
    page.get_by_label("Anything else?").fill("one")
    page.get_by_role("button", name="Save and go on").tap()
    shows(page, "283")
    if script:
        all_sent(page)
    page.goto(ballot)
    look_back(page, "417")
    assert page.get_by_label("Like moderately", exact=True).is_checked()
    assert page.get_by_label("Anything else?").input_value() == "one"
    page.get_by_text("Like extremely", exact=True).tap()
    page.get_by_role("button", name="Save the change").tap()
    shows(page, "283")
    if script:
        all_sent(page)
    assert stored(sitting) == [("stored", 1, 7), ("correction", 2, 9)]
    assert counted(sitting) == {"q0": 9, "q1": 0, "q2": 1, "q3": "one"}


def test_what_is_left_as_it_is_stays_as_it_is(app: FastAPI, address: str, new_phone: NewPhone) -> None:
    sitting = opened(app, PLAN, PLACES)
    page = new_phone(address)
    join(page, sitting)
    answer(page, "Like moderately", "one")
    all_sent(page)
    look_back(page, "417")
    page.get_by_text("Dislike extremely", exact=True).tap()
    page.get_by_role("link", name="Leave it as it is").tap()
    shows(page, "283")
    look_back(page, "417")
    assert page.get_by_label("Like moderately", exact=True).is_checked(), "what was not saved is forgotten"
    page.get_by_role("button", name="Save the change").tap()
    shows(page, "283")
    all_sent(page)
    assert stored(sitting) == [("stored", 1, 7)], "no change, no revision"


def test_a_cup_is_neither_waited_for_nor_confirmed_again(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    pace = Pace(way_back=True, confirm_cup=True, wait_seconds=60)
    sitting = opened(app, replace(PLAN, pace=pace), PLACES)
    page = new_phone(address)
    page.clock.install()
    join(page, sitting)
    page.locator(".confirm .code").get_by_text("417").tap()
    answer(page, "Like moderately", "one")
    page.locator(".count").wait_for()
    look_back(page, "417")
    assert page.locator("main .gate, main .confirm").count() == 0
    page.get_by_text("Like extremely", exact=True).tap()
    page.get_by_role("button", name="Save the change").tap()
    page.locator(".count").wait_for()
    page.clock.run_for(500)
    all_sent(page)
    assert [row[2] for row in stored(sitting)] == [7, 9]


def test_an_incomplete_correction_says_what_is_missing(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    """Also what only the server finds comes back onto the screen, still as a correction."""
    sitting = opened(app, PLAN, PLACES)
    page = new_phone(address)
    join(page, sitting)
    answer(page, "Like moderately", "one")
    all_sent(page)
    look_back(page, "417")
    page.evaluate("document.querySelector('main [name=q1]').value = '999'")
    page.get_by_role("button", name="Save the change").tap()
    page.locator(".summary").get_by_text("is not on the line.").wait_for()
    page.get_by_text("Change your answers").wait_for()
    page.get_by_role("slider").press("Home")
    page.get_by_role("button", name="Save the change").press("Enter")
    shows(page, "283")
    all_sent(page)
    assert counted(sitting)["q1"] == 0
