"""Every page a taster can meet, held against WCAG 2.2 A and AA by axe-core, in both themes."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select

from panel.store.tables import Place
from panel.study.plan import Pace
from tests.browser.accessibility import hold
from tests.web.sealed_sitting import (
    DASHI_PLACES,
    EVERY_PLACES,
    EVERY_QUESTION,
    RATING,
    RATING_PLACES,
    TRIANGLE,
    TRIANGLE_PLACES,
    WITH_DASHI,
    one_set,
    seal_sitting,
)

if TYPE_CHECKING:
    from fastapi import FastAPI

    from tests.browser.conftest import NewPhone, Serve


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "without"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_no_page_keeps_anybody_out(
    app: FastAPI, serve: Serve, new_phone: NewPhone, theme: str, script: bool
) -> None:
    house = app.state.house
    rating, triangle, dashi = (
        seal_sitting(house.database, house.tokens, plan, places)
        for plan, places in ((RATING, RATING_PLACES), (TRIANGLE, TRIANGLE_PLACES), (WITH_DASHI, DASHI_PLACES))
    )
    page = new_phone(serve(app), color_scheme=theme)
    if not script:
        page.route("**/ballot.js", lambda route: route.abort())  # axe-core itself needs scripts to run
    page.goto(rating.join_path)
    hold(page, "not open yet")
    for sitting in (rating, triangle, dashi):
        sitting.open()
        page.goto(sitting.join_path)
        hold(page, "notice and consent")
        page.get_by_role("button", name="I agree and take part").click()
        page.wait_for_url(re.compile("/t/"))
        hold(page, "first screen")
        page.get_by_role("button", name="Save and go on").click()
        page.locator(".summary:focus").wait_for()
        hold(page, "errors")
        page.goto(sitting.join_path)
        hold(page, "somebody is tasting already")
    page.goto(f"/C/{rating.cup_token('846')}")
    hold(page, "not your cup")
    page.goto(triangle.join_path)
    page.get_by_role("link", name="Continue where you were").click()
    for code in ("283", "846"):
        page.get_by_text(code, exact=True).click()
        page.get_by_role("button", name=re.compile("^Save and")).click()
    page.get_by_role("heading", name="Thank you").wait_for()
    hold(page, "thanks")


@pytest.mark.parametrize("look", ["light", "dark", "red"])
def test_every_question_every_set_and_every_way_in_keeps_nobody_out(
    app: FastAPI, serve: Serve, new_phone: NewPhone, look: str
) -> None:
    house = app.state.house
    wishes = {"theme": "red"} if look == "red" else {}
    studies = [(replace(EVERY_QUESTION, pace=Pace(confirm_cup=True, wait_seconds=1), **wishes), EVERY_PLACES)]
    sets = {
        "tetrad": (0, 1, 1, 0),
        "duo-trio": (0, 1, 0),
        "two-out-of-five": (0, 1, 0, 1, 0),
        "ranking": (0, 1, 2),
    }
    studies += [one_set(method, samples, **wishes) for method, samples in sets.items()]
    studies += [one_set("same-different", (0, 1), language="de", **wishes)]
    page = new_phone(serve(app), color_scheme="light" if look == "light" else "dark")
    for plan, places in studies:
        sitting = seal_sitting(house.database, house.tokens, plan, places)
        sitting.open()
        page.goto(sitting.join_path)
        hold(page, f"{plan.method}, notice")
        page.goto(f"{sitting.join_path}/TRY")
        hold(page, f"{plan.method}, to try")
        page.goto(sitting.join_path)
        page.locator(".agree .go").click()
        page.wait_for_url("**/t/*")
        hold(page, f"{plan.method}, ballot")
        page.evaluate(
            "for (const form of document.querySelectorAll('.unsure')) form.classList.remove('unsure')"
        )
        hold(page, f"{plan.method}, questions")
        page.locator("main form .go").click()
        page.locator(".summary").wait_for()
        hold(page, f"{plan.method}, problems")
    page.goto("/go")
    page.locator(".go").click()
    page.locator(".summary").wait_for()
    hold(page, "code")
    with house.database.read() as session:
        place = session.exec(select(Place).order_by(Place.id)).first()
    assert place is not None
    page.context.clear_cookies()
    page.goto(f"/P/{house.tokens.place(place.id, place.token_revision)}")
    hold(page, "going on")
