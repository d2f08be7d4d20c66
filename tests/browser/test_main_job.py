"""The main job in Chromium: an organiser at a laptop, three phones, from the first start to the export."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect
from sqlmodel import col, select

from panel.app import create_app
from panel.settings import Settings
from panel.store.tables import Answer, Attempt, Place, Serving

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fastapi import FastAPI
    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone, Serve

COOKERS = ("Tomoshibi Hearth", "Kumorigama", "Grainsong 3")
PASSPHRASE = "steam rises at seven"
LAPTOP = {"viewport": {"width": 1280, "height": 800}, "has_touch": False, "is_mobile": False}
LIKING = {9: "Like extremely", 7: "Like moderately", 4: "Dislike slightly", 2: "Dislike very much"}
SHARES = ((0.2, 0.55, 0.9), (0.35, 0.1, 0.6), (0.7, 0.5, 0.15))  # where each phone taps the line
Tapped = dict[tuple[str, str], float]  # (code of the cup, question) -> what was tapped


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    made = create_app(Settings(data=tmp_path, database="", base_url="http://127.0.0.1"))
    yield made
    made.state.house.database.close()


def test_a_study_from_the_first_start_to_the_export(app: FastAPI, serve: Serve, new_phone: NewPhone) -> None:
    address = serve(app)
    desk = new_phone(address, **LAPTOP)
    _set_the_password(desk, app)
    _draft_and_seal(desk)
    join = _open_the_sitting(desk)
    phones = [new_phone(address) for _ in range(3)]
    for phone in phones:
        phone.goto(join)
        phone.get_by_role("button", name="I agree and take part").tap()
        phone.wait_for_url(re.compile("/t/"))
    tapped: list[Tapped] = [{}, {}, {}]
    for screen in range(3):
        for number, phone in enumerate(phones):
            if number == 1 and screen == 1:
                phone.reload()
            liking = (9, 7, 4, 2)[(screen + number) % 4]
            tapped[number] |= _answer(phone, liking, SHARES[number][screen])
            if number == 2 and screen == 1:
                _go_back_in_vain(phone)
    for phone in phones:
        expect(phone.get_by_role("heading", name="Thank you")).to_be_visible()
    _is_stored(app, tapped)
    _close_read_sign_and_reveal(desk)
    _take_the_data_away(desk)


def _set_the_password(desk: Page, app: FastAPI) -> None:
    desk.goto(f"/first-start?code={app.state.house.tokens.first_start_code()}")
    desk.get_by_label("Your name").fill("Wren")
    desk.get_by_label("A password").fill("a long password")
    desk.get_by_role("button", name="Set the password").click()
    expect(desk.get_by_role("heading", name="Studies", exact=True)).to_be_visible()


def _draft_and_seal(desk: Page) -> None:
    desk.get_by_text("Or choose the test yourself").click()
    desk.get_by_role("button", name="Begin a rating study").click()
    desk.get_by_label("Title", exact=True).fill("Three cookers")
    desk.get_by_label("What should this study answer?").fill("Which rice is liked best?")
    desk.get_by_role("button", name="Add a sample").click()
    expect(desk.locator("#product-2-name")).to_be_visible()
    for row, name in enumerate(COOKERS):
        desk.locator(f"#product-{row}-name").fill(name)
    desk.get_by_role("button", name="Add a question").click()
    desk.locator("#question-1-text").fill("How firm are the grains?")
    desk.locator("#question-1-scale").select_option("line-100")
    desk.locator("#tasters").fill("6")
    desk.get_by_role("button", name="Save and look at the serving plan").click()
    expect(desk.get_by_role("heading", name="Balance")).to_be_visible()
    desk.get_by_label("Passphrase", exact=True).fill(PASSPHRASE)
    desk.get_by_label("The passphrase again").fill(PASSPHRASE)
    desk.get_by_role("button", name="Seal the study").click()
    expect(desk.get_by_text("The names have left the database.")).to_be_visible()
    desk.get_by_role("link", name="I have kept the code").click()
    assert not any(name in desk.content() for name in COOKERS)


def _open_the_sitting(desk: Page) -> str:
    """The path that the code on screen leads to."""
    desk.get_by_role("link", name="To the room: open the sitting").click()
    desk.get_by_role("button", name="Open the sitting").click()
    expect(desk.get_by_alt_text("QR code: join the tasting").first).to_be_visible()
    found = re.search(r"/J/[A-Z2-7]{26}", desk.locator(".address").inner_text())
    assert found is not None
    return found[0]


def _answer(phone: Page, liking: int, share: float) -> Tapped:
    code = phone.locator("h1 .code").inner_text()
    phone.get_by_text(LIKING[liking], exact=True).tap()
    track = phone.get_by_role("slider")
    track.scroll_into_view_if_needed()
    box = track.bounding_box()
    assert box is not None
    phone.touchscreen.tap(box["x"] + share * box["width"], box["y"] + box["height"] / 2)
    shown = float(track.get_attribute("aria-valuenow") or "nan")
    assert shown == pytest.approx(100 * share, abs=1)
    phone.get_by_role("button", name=re.compile("Save and")).tap()
    expect(phone.locator("h1 .code").filter(has_text=code)).to_have_count(0)
    return {(code, "q1"): float(liking), (code, "q2"): shown}


def _go_back_in_vain(phone: Page) -> None:
    """Going back shows the screen that is due, never an answered one."""
    due = phone.locator("h1 .code").inner_text()
    phone.go_back()
    phone.wait_for_load_state()
    if "/t/" not in phone.url:
        phone.go_forward()
    expect(phone.locator("h1 .code")).to_have_text(due)


def _is_stored(app: FastAPI, tapped: list[Tapped]) -> None:
    """Every stored answer is what was tapped, and nothing more is stored."""
    query = (
        select(Place.number, Serving.code, Answer.question, Answer.value)
        .join(Attempt, col(Attempt.place_id) == Place.id)
        .join(Answer, col(Answer.attempt_id) == Attempt.id)
        .join(Serving, col(Serving.task_id) == Answer.task_id)
    )
    with app.state.house.database.read() as session:
        rows = list(session.exec(query))
    stored: list[Tapped] = [{}, {}, {}]
    for place, code, question, value in rows:
        stored[place - 1][code, question] = json.loads(value)
    assert len(rows) == 3 * 3 * 2
    for found, expected in zip(stored, tapped, strict=True):
        assert found == pytest.approx(expected, abs=0.5)


def _close_read_sign_and_reveal(desk: Page) -> None:
    expect(desk.get_by_text("3 finished, 0 tasting, 3 free")).to_be_visible()
    desk.get_by_role("button", name="Close: tasting is over").click()
    desk.get_by_role("link", name="To the report").click()
    expect(desk.get_by_role("button", name="Sign the report")).to_be_visible()
    assert not any(name in desk.content() for name in COOKERS)
    desk.get_by_label("Your name").fill("Wren")
    desk.get_by_role("button", name="Sign the report").click()
    desk.get_by_role("link", name="Reveal the names").click()
    desk.get_by_label("Passphrase or recovery code").fill(PASSPHRASE)
    desk.get_by_role("button", name="Reveal the names").click()
    for name in COOKERS:
        expect(desk.get_by_text(name).first).to_be_attached()  # a part that is folded may hold it


def _take_the_data_away(desk: Page) -> None:
    desk.get_by_role("link", name="Back to the study").click()
    with desk.expect_download() as download:
        desk.get_by_role("link", name="Take the data away (ZIP)", exact=True).click()
    with zipfile.ZipFile(io.BytesIO(Path(download.value.path()).read_bytes())) as bundle:
        key = csv.DictReader(io.StringIO(bundle.read("key.csv").decode()))
        assert sorted(row["name"] for row in key) == sorted(COOKERS)
        answers = csv.DictReader(io.StringIO(bundle.read("answers.csv").decode()))
        assert len(list(answers)) == 18
