"""The bench's pages for everybody: WCAG 2.2 AA by axe-core, nothing wider than a phone, targets of 44 px."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.browser.accessibility import hold
from tests.web.bench_house import BenchHouse
from tests.web.test_bench import enter, entry_of, revise

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone, Serve

# Larger than the page: a table that scrolls in a frame of its own is not.
TOO_WIDE = """() => {
    const width = document.documentElement.clientWidth;
    return document.scrollingElement.scrollWidth > width ? document.scrollingElement.scrollWidth : 0;
}"""
# WCAG 2.2, 2.5.8 makes exceptions for links in a sentence; what is pressed has 44 px here.
SMALL = """() => [...document.querySelectorAll("main :is(button, select, textarea, input, summary, .alerts a)")]
    .filter((one) => one.offsetParent && !one.matches("[type=checkbox], [type=radio], [type=hidden]"))
    .filter((one) => one.getBoundingClientRect().height < 43.5 && !one.closest("p"))
    .map((one) => one.outerHTML.slice(0, 120))"""


def filled(house: BenchHouse) -> dict[str, str]:
    """Entries of each kind; name -> path of every page of the bench."""
    described = {"name": "Watch", "quantity": "duration", "resolution": "0.1"}
    house.ada.post(f"{house.bench}/instruments", data=described)
    for value in ("24:50", "25:10", "25:40"):
        enter(house, "m1", value_of_Grainsong=value, value_of_Ricelet=value)
    revise(house, "/judge", counts="no", why="the lid stood open")
    ids = house.products()
    enter(house, "m2", product=ids["Ricelet"], series_of_Ricelet="0 90\n10 85\n20 80\n60 70", ambient="21")
    enter(house, "m3", value_of_Ricelet="failed", note_of_Ricelet="foam")
    entry = entry_of(house)
    house.open()
    house.taste(2)
    house.shut()
    enter(house, "m5", value_of_Grainsong="4")
    paths = {f"measure m{n}": f"{house.bench}/measure/m{n}" for n in range(1, 8)}
    paths |= {f"beside m{n}": f"{house.bench}/measure/m{n}/beside" for n in range(1, 8)}
    paths |= {"series": f"{house.bench}/measure/m2?product={ids['Ricelet']}"}
    paths |= {"questionnaire": f"{house.bench}/measure/m6?product={ids['Ricelet']}"}
    paths |= {"bench": house.bench, "entry": f"{house.bench}/entries/{entry}"}
    paths |= {name: f"{house.bench}/{name}" for name in ("stopwatch", "instruments", "further")}
    return paths | {"products": "/products", "product": f"/products/{ids['Grainsong']}"}


def signed_in(house: BenchHouse, page: Page, address: str) -> Page:
    cookies = [{"name": name, "value": value, "url": address} for name, value in house.ada.cookies.items()]
    page.context.add_cookies(cookies)  # type: ignore[arg-type]
    return page


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 390)])
def test_every_page_of_the_bench_is_for_everybody(
    house: BenchHouse, serve: Serve, new_phone: NewPhone, scheme: str, width: int
) -> None:
    paths = filled(house)
    address = serve(house.app)
    viewport = {"width": width, "height": 844}
    page = new_phone(address, viewport=viewport, is_mobile=False, color_scheme=scheme)
    signed_in(house, page, address)
    broken: list[str] = []
    page.on("console", lambda said: broken.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: broken.append(str(error)))
    for name, path in paths.items():
        page.goto(path)
        hold(page, name)
        assert page.evaluate(TOO_WIDE) == 0, name
        assert page.evaluate(SMALL) == [], name
    assert broken == []


def test_a_draft_with_a_ready_set_open_is_for_everybody(
    house: BenchHouse, serve: Serve, new_phone: NewPhone
) -> None:
    """Added by the button of the form, with scripts and without leaving the page."""
    house.ada.post("/studies", data={"method": "rating"})
    address = serve(house.app)
    page = signed_in(house, new_phone(address, is_mobile=False), address)
    begun = house.ada.post("/studies", data={"method": "rating"})
    page.goto(str(begun.url).replace("http://testserver", ""))
    page.get_by_label("Begin with what is common for a kind of product").select_option("rice-cooker")
    page.get_by_role("button", name="Add these").click()
    page.get_by_role("heading", name="Measurement 9").wait_for()
    page.get_by_role("button", name="Add a criterion").click()
    page.get_by_role("heading", name="Criterion 10").wait_for()
    hold(page, "draft")
    assert page.evaluate(TOO_WIDE) == 0
