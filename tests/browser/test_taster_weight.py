"""What the ballot weighs on the wire, and whether it fits: narrow screens, large text, both themes, right to left."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from panel.study.plan import Question
from tests.web.sealed_sitting import RATING, TRIANGLE, TRIANGLE_PLACES, SealedSitting
from tests.web.taster_app import opened

if TYPE_CHECKING:
    from fastapi import FastAPI
    from playwright.sync_api import Page, Request

    from tests.browser.conftest import NewPhone

SCALES = ("hedonic-9", "line-100", "line-100", "yes-no", "line-100", "comment")
QUESTIONS = tuple(
    Question(
        f"q{number}", f"Question number {number} about this rice?", SCALES[number % 6], "not at all", "very"
    )
    for number in range(12)
)
CODES = ("417", "283", "562", "739", "846", "125", "374", "628")
LARGE = replace(RATING, questions=QUESTIONS)
LARGE_PLACES = [[[(number % 2, code, 0, "")] for number, code in enumerate(CODES)]]


@pytest.fixture
def large(app: FastAPI) -> SealedSitting:
    return opened(app, LARGE, LARGE_PLACES)


@pytest.fixture
def triangle(app: FastAPI) -> SealedSitting:
    return opened(app, TRIANGLE, TRIANGLE_PLACES)


def join(page: Page, sitting: SealedSitting) -> str:
    page.goto(sitting.join_path)
    page.get_by_role("button", name="I agree and take part").click()
    page.wait_for_url(re.compile("/t/"))
    return page.url


def test_eight_samples_by_twelve_questions_weigh_little(
    large: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    """Budget: 60 KB compressed for everything, the script below 15 KB of it, three requests."""
    ballot = join(new_phone(address), large)
    page = new_phone(address)
    page.context.add_cookies(_cookies_of(large, address))
    requests: list[Request] = []
    page.on("requestfinished", lambda request: requests.append(request))
    page.goto(ballot, wait_until="networkidle")
    assert page.locator("h1 .code").inner_text() == "417"
    assert page.locator("template[data-screen]").count() == 7 + 2
    sizes = {request.url.removeprefix(address): request.sizes()["responseBodySize"] for request in requests}
    assert len(sizes) == 3, sizes
    assert all(url.startswith("/") for url in sizes), "no request leaves this server"
    assert sum(sizes.values()) < 60_000, sizes
    assert sizes["/static/ballot.js"] < 15_000


def _cookies_of(sitting: SealedSitting, address: str) -> list[dict[str, str]]:
    attempt = sitting.attempts()[0].id
    return [
        {
            "name": f"taster-{attempt}",
            "value": sitting.tokens.attempt(attempt),
            "url": f"{address}/t/{attempt}",
        }
    ]


@pytest.mark.parametrize("percent", [100, 200], ids=["normal text", "text at 200 %"])
@pytest.mark.parametrize("width", [320, 390, 768])
def test_nothing_scrolls_sideways(
    triangle: SealedSitting, large: SealedSitting, address: str, new_phone: NewPhone, width: int, percent: int
) -> None:
    page = new_phone(address, viewport={"width": width, "height": 640})
    for sitting in (triangle, large):
        for open_page in (lambda s=sitting: page.goto(s.join_path), lambda s=sitting: join(page, s)):
            open_page()
            page.evaluate(f"document.documentElement.style.fontSize = '{percent}%'")
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width, page.url


@pytest.mark.parametrize("direction", ["ltr", "rtl"])
def test_the_line_runs_with_the_direction_of_reading(
    large: SealedSitting, address: str, new_phone: NewPhone, direction: str
) -> None:
    page = new_phone(address)
    ballot = join(page, large)
    page.route("**/t/*", lambda route: _turned(route, direction))
    page.goto(ballot)
    track = page.get_by_role("slider").first
    box = track.bounding_box()
    assert box is not None
    track.tap(position={"x": box["width"] * 0.25, "y": box["height"] / 2})
    handle = page.locator(".handle").bounding_box()
    assert handle is not None
    assert handle["x"] + handle["width"] / 2 == pytest.approx(box["x"] + box["width"] * 0.25, abs=1.5)
    expected = 25 if direction == "ltr" else 75
    assert float(page.locator("input[name=q1]").input_value()) == pytest.approx(expected, abs=0.5)
    before = track.get_attribute("aria-valuenow")
    track.press("ArrowRight")
    grows = direction == "ltr"
    assert (int(track.get_attribute("aria-valuenow") or 0) > int(before or 0)) == grows


def _turned(route, direction: str) -> None:
    reply = route.fetch()
    route.fulfill(response=reply, body=reply.text().replace('dir="ltr"', f'dir="{direction}"'))


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_ink_stands_out_from_paper(
    triangle: SealedSitting, address: str, new_phone: NewPhone, theme: str
) -> None:
    """WCAG 2.2, success criteria 1.4.3 (4.5:1 for text) and 1.4.11 (3:1 for controls)."""
    page = new_phone(address, color_scheme=theme)
    join(page, triangle)
    paper = _luminance(page, "body", "backgroundColor")
    for selector, property_, least in (
        ("h1", "color", 4.5),
        (".quiet", "color", 4.5),
        (".steps", "color", 4.5),
        ("summary", "color", 4.5),
        (".go", "backgroundColor", 3),
    ):
        assert _contrast(paper, _luminance(page, selector, property_)) >= least, selector
    button = _luminance(page, ".go", "backgroundColor")
    assert _contrast(button, _luminance(page, ".go", "color")) >= 4.5
    assert (paper > 0.5) == (theme == "light")


def _luminance(page: Page, selector: str, property_: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    colour = page.locator(selector).first.evaluate(f"node => getComputedStyle(node).{property_}")
    channels = [int(number) / 255 for number in re.findall(r"\d+", colour)[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def _contrast(one: float, other: float) -> float:
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)
