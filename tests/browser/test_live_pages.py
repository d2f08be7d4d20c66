"""Kitchen and room while things change: what is unfolded stays so, what has the focus keeps it, nothing flickers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect
from sqlmodel import col, select

from panel.store.tables import Place, Serving
from panel.study import seal
from tests.web.desk import NAME, PASSWORD, TYPED, Desk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone, Serve

LAPTOP = {"viewport": {"width": 1280, "height": 800}, "has_touch": False, "is_mobile": False}
PATIENCE_MS = 30_000  # the kitchen asks every ten seconds
FOCUS = "document.activeElement.id"


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path)
    made.draft({**TYPED, "tasters": "24"})
    made.seal()
    made.open()
    yield made
    made.close()


@pytest.fixture
def laptop(desk: Desk, serve: Serve, new_phone: NewPhone) -> Page:
    """A laptop on which the organiser is signed in."""
    page = new_phone(serve(desk.app), **LAPTOP)
    page.goto("/sign-in")
    page.get_by_label("Name").fill(NAME)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button").click()
    page.wait_for_url("**/")
    return page


def test_the_kitchen_keeps_its_folds_and_focus_while_a_cup_is_poured_again(desk: Desk, laptop: Page) -> None:
    laptop.goto(f"{desk.at}/kitchen")
    laptop.get_by_text("Places 11 to 20").click()
    poured = laptop.get_by_role("button", name="poured now").nth(1)
    poured.focus()
    focused = laptop.evaluate(FOCUS)
    assert focused.startswith("pour-")
    with desk.read() as session:
        query = select(Serving).join(Place, col(Place.id) == Serving.place_id)
        cup = session.exec(query.where(Place.study_id == desk.study, Place.number == 3)).first()
    assert cup is not None
    expect(laptop.get_by_text("Place 15", exact=True)).to_be_visible()
    desk.ada.post(f"{desk.at}/room/3/cups", data={"cup": cup.id, "reason": "spilled"})
    expect(laptop.get_by_role("table", name="To be poured again")).to_be_visible(timeout=PATIENCE_MS)
    assert laptop.evaluate(FOCUS) == focused
    expect(laptop.get_by_text("Place 15", exact=True)).to_be_visible()
    expect(laptop.get_by_text("Place 5", exact=True)).to_be_hidden()
    laptop.get_by_role("link", name="Load them again").click()
    expect(laptop.get_by_text("the lists below are older")).to_have_count(0)


def test_the_room_keeps_the_focus_while_tasters_come(desk: Desk, laptop: Page) -> None:
    laptop.goto(f"{desk.at}/room")
    laptop.locator("#place-7").focus()
    desk.join()
    expect(laptop.get_by_text("1 tasting", exact=False)).to_be_visible(timeout=PATIENCE_MS)
    assert laptop.evaluate(FOCUS) == "place-7"
