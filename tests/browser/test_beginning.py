"""From a plain question to a sealed plan in a browser, with and without JavaScript; every new page against axe-core."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.browser.accessibility import hold

if TYPE_CHECKING:
    from fastapi import FastAPI
    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone

DESK = {"viewport": {"width": 1280, "height": 800}, "has_touch": False, "is_mobile": False}
ADVICE_MS = 60_000  # the figures are computed and drawn anew
NAMES = ("Tsubaki", "Kaede", "Momiji")


def signed_in(page: Page, app: FastAPI) -> None:
    page.goto(f"/first-start?code={app.state.house.tokens.first_start_code()}")
    page.get_by_label("Your name").fill("Wren")
    page.get_by_label("A password").fill("a long password")
    page.get_by_role("button", name="Set the password").click()
    expect(page.get_by_role("heading", name="Studies", exact=True)).to_be_visible()


def name_and_plan(page: Page) -> None:
    page.wait_for_url("**/draft")
    for number, name in enumerate(NAMES):
        page.locator(f"#product-{number}-name").fill(name)
    page.get_by_role("button", name="Save and look at the serving plan").click()
    page.wait_for_url("**/plan")


def test_the_advice_follows_what_is_typed_and_becomes_a_plan(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    desk = new_phone(address, **DESK)
    signed_in(desk, app)
    desk.get_by_role("link", name="Which is liked best?").click()
    expect(desk.get_by_role("heading", name=re.compile("^The plan: paired preference"))).to_be_visible(
        timeout=ADVICE_MS
    )
    expect(desk.get_by_label("For a profile: what to score, one to a line")).to_be_hidden()
    desk.get_by_label("What is it?").fill("rice")
    desk.get_by_label("How many products?").fill("3")
    desk.get_by_label("How many people do you have?").fill("24")
    desk.get_by_label("Does the taste stay?").select_option("some")
    expect(desk.get_by_role("heading", name="The plan: rating, 24 people")).to_be_visible(timeout=ADVICE_MS)
    expect(desk.get_by_role("heading", name="What could 24 people miss?")).to_be_visible()
    missed = desk.get_by_role("img", name=re.compile("^Chance to be found"))
    assert missed.evaluate("image => image.complete && image.naturalWidth > 100")
    expect(desk.get_by_role("cell", name="26 cups", exact=True)).to_be_visible()
    desk.get_by_label("Did the change matter?").check()
    expect(desk.get_by_label("If something was changed")).to_be_visible()
    expect(desk.get_by_role("heading", name="The plan: triangle test, 24 people")).to_be_visible(
        timeout=ADVICE_MS
    )
    desk.get_by_label("Which is liked best?").check()
    expect(desk.get_by_role("heading", name="The plan: rating, 24 people")).to_be_visible(timeout=ADVICE_MS)
    desk.get_by_role("button", name="Use this plan").click()
    name_and_plan(desk)
    expect(desk.get_by_text("a difference of 1.7 points is found four times out of five")).to_be_visible()
    desk.get_by_role("link", name="Rehearse the whole study").click()
    expect(desk.get_by_text("REHEARSAL – made-up answers. Nobody tasted anything")).to_be_visible()
    told = desk.locator(".headline").inner_text()
    desk.get_by_label("No difference: all samples are the same").check()
    desk.get_by_role("button", name="Rehearse", exact=True).click()
    expect(desk.get_by_text("Whatever seems to differ does so by chance")).to_be_visible()
    assert desk.locator(".headline").inner_text() != told
    desk.emulate_media(media="print")
    assert desk.locator(".watermark").evaluate("mark => getComputedStyle(mark).position") == "fixed"
    expect(desk.locator(".watermark")).to_be_visible()


def test_without_javascript_the_same_plan_comes_out(app: FastAPI, address: str, new_phone: NewPhone) -> None:
    phone = new_phone(address, java_script_enabled=False)
    signed_in(phone, app)
    phone.get_by_role("link", name="Which is liked best?").click()
    phone.get_by_label("How many products?").fill("3")
    phone.get_by_label("How many people do you have?").fill("24")
    phone.get_by_label("Does the taste stay?").select_option("some")
    phone.get_by_role("button", name="Work it out").click()
    expect(phone.get_by_role("heading", name="The plan: rating, 24 people")).to_be_visible(timeout=ADVICE_MS)
    expect(phone.get_by_label("How many products?")).to_have_value("3")
    phone.get_by_role("button", name="Use this plan").click()
    name_and_plan(phone)
    expect(phone.get_by_text("a difference of 1.7 points is found four times out of five")).to_be_visible()


@pytest.mark.parametrize(("theme", "size"), [("light", DESK), ("dark", {})], ids=["light desk", "dark phone"])
def test_the_planning_pages_keep_nobody_out(
    app: FastAPI, address: str, new_phone: NewPhone, theme: str, size: dict[str, object]
) -> None:
    page = new_phone(address, color_scheme=theme, **size)
    signed_in(page, app)
    asked = "asks=liked&about=rice&products=3&people=24&caution_hot=yes&looks_differ=yes"
    pages = {
        "/studies/new": "the question",
        f"/studies/new?{asked}": "the advice",
        "/studies/new?asks=as+good&people=12": "refused",
        "/studies/new?asks=liked&products=none": "a problem",
    }
    for path, what in pages.items():
        page.goto(path)
        hold(page, what)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), what
    page.goto(f"/studies/new?{asked}")
    page.get_by_role("button", name="Use this plan").click()
    page.wait_for_url("**/draft")
    hold(page, "the draft")
    name_and_plan(page)
    for path, what in ((page.url, "the plan"), (page.url.replace("/plan", "/rehearsal"), "the rehearsal")):
        page.goto(path)
        hold(page, what)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), what
