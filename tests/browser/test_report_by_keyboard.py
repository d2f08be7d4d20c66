"""The report and the organiser's pages around it, with the keyboard alone and without scripts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from panel.study import seal
from tests.web.desk import PASSWORD, Desk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone, Serve

DESKTOP = {"viewport": {"width": 1280, "height": 800}, "has_touch": False, "is_mobile": False}
MOST_STEPS = 150


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path)
    made.draft()
    made.seal()
    made.open()
    made.taste(4, "A remark")
    made.shut()
    yield made
    made.close()


def step_to(page: Page, selector: str) -> None:
    """Tab until the element has the focus, and see that the focus shows."""
    for _ in range(MOST_STEPS):
        page.keyboard.press("Tab")
        if page.locator(f"{selector}:focus-visible").count():
            outline = page.locator(":focus").evaluate("element => getComputedStyle(element).outlineStyle")
            assert outline != "none", selector
            return
    raise AssertionError(f"the keyboard does not reach {selector}")


def send(page: Page) -> None:
    """Enter, and the page that follows."""
    with page.expect_navigation():
        page.keyboard.press("Enter")


def test_reading_leaving_out_and_signing_need_neither_mouse_nor_script(
    desk: Desk, serve: Serve, new_phone: NewPhone
) -> None:
    page = new_phone(serve(desk.app), java_script_enabled=False, **DESKTOP)
    page.goto("/sign-in")
    step_to(page, "#name")
    page.keyboard.type("Ada")
    step_to(page, "#password")
    page.keyboard.type(PASSWORD)
    send(page)
    page.goto(f"{desk.at}/report")
    page.keyboard.press("Tab")
    assert page.locator(":focus").inner_text() == "To the content"
    page.keyboard.press("Enter")
    step_to(page, "a[href$='report.html']")
    step_to(page, "details.part > summary")
    folded = page.locator("details.part:not([open])").count()
    page.keyboard.press("Enter")
    assert abs(page.locator("details.part:not([open])").count() - folded) == 1
    step_to(page, "section[aria-labelledby=people-kept] summary")
    page.keyboard.press("Enter")
    step_to(page, "input[name=reason]")
    page.keyboard.type("Had a cold")
    send(page)
    assert "left out: Had a cold" in page.locator("main").inner_text()
    step_to(page, "#signed_by")
    page.keyboard.type("Bo")
    send(page)
    assert "The results are fixed" in page.locator("main").inner_text()


@pytest.mark.parametrize("path", ["/panel", "/bring-back"])
def test_the_forms_beside_it_are_reached_and_refused_with_the_keyboard(
    desk: Desk, serve: Serve, new_phone: NewPhone, path: str
) -> None:
    page = new_phone(serve(desk.app), java_script_enabled=False, **DESKTOP)
    page.goto("/sign-in")
    page.get_by_label("Name").fill("Ada")
    page.get_by_label("Password").fill(PASSWORD)
    send(page)
    page.goto(path)
    step_to(page, "main button.main")
    send(page)
    assert page.locator("h2").first.inner_text() == "There is something to put right"
    step_to(page, ".summary-of-errors a")
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") in ("#agreed", "#file")
    assert page.locator(page.evaluate("location.hash")).count() == 1
