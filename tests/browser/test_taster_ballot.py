"""Every question type in Chromium: by touch, by keyboard and without the script; what is stored is what was tapped."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest

from tests.web.sealed_sitting import (
    RATING,
    RATING_PLACES,
    TRIANGLE,
    TRIANGLE_PLACES,
    SealedSitting,
)
from tests.web.taster_app import opened

if TYPE_CHECKING:
    from fastapi import FastAPI
    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone


@pytest.fixture
def rating(app: FastAPI) -> SealedSitting:
    return opened(app, RATING, RATING_PLACES)


@pytest.fixture
def triangle(app: FastAPI) -> SealedSitting:
    return opened(app, TRIANGLE, TRIANGLE_PLACES)


def join(page: Page, sitting: SealedSitting) -> None:
    page.goto(sitting.join_path)
    page.get_by_role("button", name="I agree and take part").click()
    page.wait_for_url(re.compile("/t/"))


def code_on(page: Page) -> str:
    return page.locator("h1 .code").inner_text()


def tap_line(page: Page, share: float) -> None:
    track = page.get_by_role("slider")
    track.scroll_into_view_if_needed()
    box = track.bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + share * box["width"], box["y"] + box["height"] / 2)


def test_rating_by_touch(rating: SealedSitting, address: str, new_phone: NewPhone) -> None:
    page = new_phone(address)
    join(page, rating)
    assert code_on(page) == "417"
    page.get_by_text("Like moderately", exact=True).tap()
    tap_line(page, 0.25)
    page.get_by_label("Yes").tap()
    page.get_by_label("Anything else?").fill("dry, but\nnice ⚖")
    page.get_by_role("button", name="Save and go on").tap()
    page.get_by_text("283").wait_for()
    page.get_by_text("Dislike extremely").tap()
    tap_line(page, 1.0)
    page.get_by_role("button", name="A little towards very soft").tap()
    page.get_by_label("No", exact=True).tap()
    page.get_by_role("button", name="Save and finish").tap()
    page.get_by_role("heading", name="Thank you").wait_for()
    assert re.fullmatch("[0-9a-f]{16}", page.locator("[data-head]").inner_text())
    values = rating.values()
    line, edge = values.pop((1, 1, "q1")), values.pop((1, 2, "q1"))
    assert line == pytest.approx(25, abs=0.3), "within a pixel of where the finger was"
    assert edge == pytest.approx(99, abs=0.3), "the right end, less one fine step"
    assert values == {
        (1, 1, "q0"): 7, (1, 1, "q2"): 1, (1, 1, "q3"): "dry, but\nnice ⚖",
        (1, 2, "q0"): 1, (1, 2, "q2"): 0, (1, 2, "q3"): None,
    }  # fmt: skip
    assert page.evaluate("Object.keys(localStorage)") == [], (
        "answers do not stay on a phone that is handed on"
    )


def test_rating_by_keyboard(rating: SealedSitting, address: str, new_phone: NewPhone) -> None:
    page = new_phone(address, has_touch=False, is_mobile=False)
    join(page, rating)
    for screen in (1, 2):
        page.keyboard.press("Tab")  # from the heading to the first question
        page.keyboard.press("Space")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Tab")
        assert page.get_by_role("slider").get_attribute("aria-valuetext") == "not answered yet"
        for key in ("PageUp", "PageUp", "PageUp", "ArrowRight", "ArrowLeft", "ArrowUp"):
            page.keyboard.press(key)
        page.keyboard.press("Tab")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")  # the plus button
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
        page.keyboard.press("Tab")
        page.keyboard.type(f"screen {screen}")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        if screen == 1:
            page.get_by_text("283").wait_for()
    page.get_by_role("heading", name="Thank you").wait_for()
    assert rating.values() == {
        (1, screen, key): value
        for screen in (1, 2)
        for key, value in {"q0": 8, "q1": 22.0, "q2": 1, "q3": f"screen {screen}"}.items()
    }


def test_rating_without_the_script(rating: SealedSitting, address: str, new_phone: NewPhone) -> None:
    page = new_phone(address, java_script_enabled=False)
    join(page, rating)
    page.get_by_label("Like very much", exact=True).tap()
    page.locator(".place").nth(3).tap()
    page.get_by_label("No", exact=True).tap()
    page.get_by_role("button", name="Save and go on").tap()
    page.get_by_text("283").wait_for()
    page.get_by_role("button", name="Save and finish").tap()
    page.locator(".summary:focus").wait_for()
    assert page.title() == "Error: Rice tasting, 2 of 2"
    page.get_by_role("link", name="How firm is it? Tap the line where it fits.").tap()
    page.get_by_label("Dislike slightly").tap()
    page.locator(".place").nth(10).tap()
    page.get_by_label("Yes").tap()
    page.get_by_role("button", name="Save and finish").tap()
    page.get_by_role("heading", name="Thank you").wait_for()
    assert rating.values() == {
        (1, 1, "q0"): 8, (1, 1, "q1"): 30, (1, 1, "q2"): 0, (1, 1, "q3"): None,
        (1, 2, "q0"): 4, (1, 2, "q1"): 100, (1, 2, "q2"): 1, (1, 2, "q3"): None,
    }  # fmt: skip


@pytest.mark.parametrize("way", ["touch", "keyboard", "no script"])
def test_triangle(triangle: SealedSitting, address: str, new_phone: NewPhone, way: str) -> None:
    page = new_phone(address, java_script_enabled=way != "no script")
    join(page, triangle)
    for codes, chosen in ((("417", "283", "562"), 1), (("739", "846", "125"), 2)):
        page.locator(".pick .code").get_by_text(codes[0]).wait_for()
        assert tuple(page.locator(".pick .code").all_inner_texts()) == codes
        if way == "keyboard":
            page.locator("#choice").focus()
            page.keyboard.press("Space")
            for _ in range(chosen):
                page.keyboard.press("ArrowDown")
        else:
            page.get_by_text(codes[chosen], exact=True).tap()
        page.get_by_role("button", name=re.compile("^Save and")).click()
    page.get_by_role("heading", name="Thank you").wait_for()
    assert triangle.values() == {(1, 1, "choice"): "2", (1, 2, "choice"): "3"}


def test_what_is_missing_is_named_and_linked(
    rating: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    join(page, rating)
    page.get_by_label("Like moderately", exact=True).tap()
    page.get_by_role("button", name="Save and go on").tap()
    assert page.title() == "Error: Rice tasting, 1 of 2"
    assert page.locator(".summary").evaluate("node => node === document.activeElement")
    links = page.locator(".summary a").all_inner_texts()
    assert links == [
        "How firm is it? Tap the line where it fits.",
        "Would you eat it again? Choose yes or no.",
    ]
    page.locator(".summary a").first.tap()
    assert page.get_by_role("slider").evaluate("node => node === document.activeElement")
    assert page.get_by_role("slider").get_attribute("aria-describedby") == "q1-error"
    assert page.get_by_label("Like moderately", exact=True).is_checked()
    assert rating.submissions() == []


def test_the_line_shows_no_handle_and_no_value(
    rating: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    join(page, rating)
    assert page.locator(".handle").count() == 0
    tap_line(page, 0.4)
    assert page.locator(".handle").count() == 1
    assert not re.search(r"\b(39|40|41)\b", page.locator("main").inner_text())
    sizes = [box.bounding_box() for box in page.locator(".step, .pick, .go").all()]
    assert all(box and box["height"] >= 44 and box["width"] >= 44 for box in sizes)


def test_the_displayed_length_goes_with_the_answer(
    rating: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    join(page, rating)
    page.get_by_label("Like moderately", exact=True).tap()
    tap_line(page, 0.5)
    length = page.get_by_role("slider").evaluate("node => node.getBoundingClientRect().width")
    page.get_by_label("Yes").tap()
    page.get_by_role("button", name="Save and go on").tap()
    page.get_by_text("Saved", exact=True).wait_for()
    sent = json.loads(rating.submissions()[0].sent)
    assert float(sent["q1-length"]) == pytest.approx(length, abs=0.05)
    assert sent["shown_at"] < sent["answered_at"]
