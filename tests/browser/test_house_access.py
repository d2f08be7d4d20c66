"""Every page of organiser, kitchen and analyst, in every state of a study, held against WCAG 2.2 AA by axe-core.

The same walk looks for what a narrow phone cannot show, for whatever the browser complains about, and, by the Nu Html
Checker, for what is not valid HTML.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

import pytest

from tests.browser.accessibility import hold
from tests.journeys.every_page import shape_of, walked
from tests.journeys.site import Site
from tests.journeys.test_valid_html import complaints_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from demo.phone import Phone
    from tests.journeys.every_page import Walked

FEW = {"/studies/*": 6}  # of a shape that differs by the study's state
ROWS = 6  # of each table and list; the rest are made by the same lines, and take as long to look at
UNFOLD = "for (const fold of document.querySelectorAll('details')) fold.open = true"
SHORTEN = """rows => ["tbody > tr", "ul > li", "ol > li", "option"]
    .flatMap((each) => [...document.querySelectorAll(`main ${each}:nth-child(n+${rows + 1})`)])
    .forEach((more) => more.remove())"""
WIDTHS = {"light": 1280, "dark": 390}


@pytest.fixture(scope="module")
def walked_house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Walked]:
    site = Site(tmp_path_factory.mktemp("data"))
    yield walked(site)
    site.stop()


def some_of_each_shape(paths: Iterable[str]) -> list[str]:
    """Two paths of most shapes, since a page is looked at slowly; of the report as a file, none."""
    seen: Counter[str] = Counter()
    kept = []
    for path in paths:
        shape = shape_of(path)
        if not path.endswith(".html") and seen[shape] < FEW.get(shape, 2):
            seen[shape] += 1
            kept.append(path)
    return kept


def as_visitor(page: Page, visitor: Phone, address: str) -> None:
    """Give the page the cookies of a visitor who is signed in."""
    cookies = [{"name": held.name, "value": held.value or "", "url": address} for held in visitor.cookies]
    if cookies:
        page.context.add_cookies(cookies)  # type: ignore[arg-type]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("role", ["organiser", "kitchen", "analyst", "nobody"])
def test_no_page_of_the_house_keeps_anybody_out(
    browser: Browser, walked_house: Walked, role: str, theme: str
) -> None:
    site, width = walked_house.site, WIDTHS[theme]
    visitor, _starts = walked_house.house.visitors(site)[role]
    context = browser.new_context(
        base_url=site.address, color_scheme=theme, viewport={"width": width, "height": 844}
    )
    page = context.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    as_visitor(page, visitor, site.address)
    for path in some_of_each_shape(path for path, _text in walked_house.pages[role]):
        page.goto(path)
        page.evaluate(UNFOLD)
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{path} is {wide} px wide on a screen of {width}"
        page.evaluate(SHORTEN, ROWS)
        hold(page, f"{role}, {path}")
    context.close()
    refused = "Failed to load resource"  # what the page itself says in words: not found, not open yet
    assert [said for said in complaints if refused not in said] == []


def test_every_page_of_the_house_is_valid_html(walked_house: Walked, tmp_path: Path) -> None:
    pages = 0
    for role, found in walked_house.pages.items():
        for number, (path, text) in enumerate(found):
            name = re.sub(r"[^\w-]+", "_", path)[:80]
            (tmp_path / f"{role}-{number}-{name}.html").write_text(text, encoding="utf-8")
            pages += 1
    assert pages > 40
    assert complaints_of(tmp_path) == []
