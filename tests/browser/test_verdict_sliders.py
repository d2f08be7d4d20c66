"""The verdict's weights moved by key and by touch: weighed anew beside the slider, focus kept, marked, not stored."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from demo.bench_stage import carry_to_a_verdict
from demo.stage import PASSPHRASE, Organiser, answers
from tests.browser.accessibility import hold
from tests.browser.test_house_access import as_visitor
from tests.journeys.site import Site

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

SEALED, MOVED = "The verdict", "With these weights"


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Site, Organiser, str]]:
    site = Site(tmp_path_factory.mktemp("data"))
    organiser = Organiser(site.address, site.house, "a long password")
    yield site, organiser, carry_to_a_verdict(organiser, PASSPHRASE, answers)
    site.stop()


def opened(browser: Browser, judged: tuple[Site, Organiser, str], **options: object) -> Page:
    site, organiser, study = judged
    page = browser.new_context(base_url=site.address, **options).new_page()  # type: ignore[arg-type]
    as_visitor(page, organiser.browser, site.address)
    page.goto(f"/studies/{study}/verdict")
    page.get_by_text("What if the weights were others?").click()
    return page


def test_a_key_moves_a_weight_and_the_focus_stays(
    browser: Browser, judged: tuple[Site, Organiser, str]
) -> None:
    page = opened(browser, judged, viewport={"width": 1280, "height": 800})
    slider = page.get_by_role("slider", name="Taste")
    expect(page.locator("#said")).to_have_text(SEALED)
    slider.focus()
    page.keyboard.press("End")
    expect(page.locator("#said")).to_have_text(MOVED)
    expect(page.get_by_text("These are not the sealed weights.")).to_be_visible()
    expect(slider).to_be_focused()
    expect(slider).to_have_value("100")
    hold(page, "the verdict with moved weights, light")
    page.get_by_role("link", name="Back to the sealed weights").click()
    expect(page.locator("#said")).to_have_text(SEALED)


def test_a_finger_moves_a_weight_on_a_dark_phone(
    browser: Browser, judged: tuple[Site, Organiser, str]
) -> None:
    page = opened(
        browser, judged, viewport={"width": 390, "height": 844}, has_touch=True, color_scheme="dark"
    )
    slider = page.get_by_role("slider", name="Taste")
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    assert box is not None
    assert box["height"] >= 44
    finger, y = page.context.new_cdp_session(page), box["y"] + box["height"] / 2
    for kind, share in (("touchStart", 0.5), ("touchMove", 0.7), ("touchMove", 0.95)):
        points = [{"x": box["x"] + share * box["width"], "y": y}]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(slider).not_to_have_value("50")
    expect(page.locator("#said")).to_have_text(MOVED)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    hold(page, "the verdict with moved weights, dark")


def test_without_script_a_button_weighs_anew(browser: Browser, judged: tuple[Site, Organiser, str]) -> None:
    page = opened(browser, judged, java_script_enabled=False)
    page.get_by_role("slider", name="Taste").focus()
    page.keyboard.press("Home")
    page.get_by_role("button", name="Weigh anew").click()
    expect(page.locator("#said")).to_have_text(MOVED)
    expect(page.get_by_role("slider", name="Taste")).to_have_value("0")
