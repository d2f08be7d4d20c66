"""A ballot in a language written from right to left, by a made-up catalogue; and such words in another language's."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

from panel.study.languages import LANGUAGES, Language
from panel.study.plan import Pace, Question
from panel.web import words
from tests.web.sealed_sitting import RATING, one_set
from tests.web.taster_app import opened
from tests.web.taster_messages import every_message

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fastapi import FastAPI
    from playwright.sync_api import Locator, Page

    from tests.browser.conftest import NewPhone
    from tests.web.sealed_sitting import SealedSitting

# A letter for a letter: it means nothing, and stands where Hebrew would.
LETTERS = str.maketrans("abcdefghijklmnopqrstuvwxyz", "אבצדעפגהיזכלמנוקרסשתחטןץףך")
ARABIC = "ما مدى حبك لهذا الأرز؟"
QUESTIONS = (
    Question("q1", "כמה טעים?", "hedonic-9"),
    Question("q2", "כמה קשה?", "line-100", low="רך", high="קשה"),
    Question("q3", "How salty, in English?", "just-about-right"),
    Question("q4", "מה הריח?", "yes-no-list", points=("פופקורן", "חציר")),
    Question("q5", "עוד משהו?", "comment", required=False),
)
PLAN = replace(
    RATING,
    language="he",
    heading="טעימת אורז",
    briefing="טעמו כפית מכל אחד.",
    rinse="שטפו במים.",
    ask_name=False,
    tasters=1,
    questions=QUESTIONS,
    primary="q1",
    pace=Pace(way_back=True),
)
PLACES = [[[(number % 2, code, 0, "")] for number, code in enumerate(("417", "283"))]]


def turned(text: str) -> str:
    """The sentence in made-up Hebrew, what is filled in left as it is."""
    parts = re.split(r"(\{\w+\})", text)
    return "".join(part if part.startswith("{") else part.lower().translate(LETTERS) for part in parts)


@pytest.fixture(autouse=True)
def hebrew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A catalogue of its own, known for this test only."""
    catalogue = Catalog(locale="he")
    for message in sorted(every_message()):
        catalogue.add(message, turned(message))
    folder = tmp_path / "catalogues"
    folder.mkdir()
    with (folder / "he.po").open("wb") as file:
        write_po(file, catalogue)
    monkeypatch.setattr(words, "CATALOGUES", folder)
    monkeypatch.setitem(LANGUAGES, "he", Language("he", "made-up Hebrew", direction="rtl"))
    words.words_in.cache_clear()
    yield
    words.words_in.cache_clear()


def join(page: Page, sitting: SealedSitting) -> None:
    page.goto(sitting.join_path)
    page.locator(".agree button").click()
    page.wait_for_url(re.compile("/t/"))


def box(found: Locator) -> dict[str, float]:
    at = found.bounding_box()
    assert at is not None
    return dict(at)


def middle(found: Locator) -> float:
    at = box(found)
    return at["x"] + at["width"] / 2


def direction(found: Locator) -> str:
    return str(found.evaluate("node => getComputedStyle(node).direction"))


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "without"])
@pytest.mark.parametrize("width", [320, 390, 768])
def test_the_page_is_mirrored_and_fits(
    app: FastAPI, address: str, new_phone: NewPhone, width: int, script: bool
) -> None:
    page = new_phone(address, viewport={"width": width, "height": 844}, java_script_enabled=script)
    join(page, opened(app, PLAN, PLACES))
    assert page.locator("html").get_attribute("dir") == "rtl"
    assert page.locator("html").get_attribute("lang") == "he"
    assert turned("Like extremely") in page.locator("main").inner_text()
    pick = page.locator("main .pick").first
    assert middle(pick.locator("input")) > middle(pick.locator("span")), (
        "the mark stands to the right of its words"
    )
    title = page.locator("main .asks").first
    assert box(title)["x"] + box(title)["width"] > width / 2
    ends = page.locator("main .ends bdi")
    assert middle(ends.first) > middle(ends.last), "low to the right, high to the left"
    row = page.locator("main .row").first
    assert middle(row.locator(".of")) > middle(row.locator(".both")) or width == 320
    assert page.locator("h1 .code").inner_text() == "417", "figures keep their order"
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "without"])
def test_the_line_runs_from_right_to_left_and_is_stored_so(
    app: FastAPI, address: str, new_phone: NewPhone, script: bool
) -> None:
    sitting = opened(app, PLAN, PLACES)
    page = new_phone(address, java_script_enabled=script)
    join(page, sitting)
    page.get_by_text(turned("Like moderately"), exact=True).tap()
    if script:
        track = page.get_by_role("slider")
        wide = box(track)["width"]
        track.tap(position={"x": wide * 0.2, "y": box(track)["height"] / 2})
        assert middle(page.locator(".handle")) == pytest.approx(box(track)["x"] + wide * 0.2, abs=1.5)
        assert track.get_attribute("aria-valuenow") == "80"
        for key, value in (("ArrowLeft", "81"), ("ArrowRight", "80"), ("ArrowUp", "81"), ("ArrowDown", "80")):
            track.press(key)
            assert track.get_attribute("aria-valuenow") == value, key
        track.press("Home")
        assert middle(page.locator(".handle")) == pytest.approx(box(track)["x"] + wide, abs=1.5), (
            "0 is at the right"
        )
        page.locator(".step").last.tap()
        assert track.get_attribute("aria-valuenow") == "1"
        assert middle(page.locator(".step").first) > middle(page.locator(".step").last), (
            "less stands at the low end"
        )
        expected = 1
    else:
        places = page.locator(".place")
        assert middle(places.first) > middle(places.last)
        places.nth(9).tap()
        expected = 90
    page.get_by_text(turned("Just about right"), exact=True).tap()
    for row in page.locator("main .row").all():
        row.locator(".pick").first.tap()
    page.locator("main .answering .go").tap()
    page.locator("h1 .code").get_by_text("283").wait_for()
    if script:
        page.locator("#state").get_by_text(turned("Saved"), exact=True).wait_for()
    assert sitting.values() == {
        (1, 1, "q1"): 7, (1, 1, "q2"): expected, (1, 1, "q3"): 3, (1, 1, "q4.1"): 1,
        (1, 1, "q4.2"): 1, (1, 1, "q5"): None,
    }  # fmt: skip


def test_ranking_is_tapped_from_right_to_left(app: FastAPI, address: str, new_phone: NewPhone) -> None:
    plan, places = one_set("ranking", (0, 1, 2), language="he")
    sitting = opened(app, plan, places)
    page = new_phone(address)
    join(page, sitting)
    button = page.locator("main .row button").first
    assert middle(button.locator(".rank")) > middle(button.locator(".code"))
    for button in page.locator("main .row button").all():
        button.tap()
    page.locator("main .answering .go").tap()
    page.locator(".thanks").wait_for()
    assert sitting.values() == {(1, 1, "choice"): "1 2 3"}


def test_words_of_another_direction_keep_theirs(app: FastAPI, address: str, new_phone: NewPhone) -> None:
    english = replace(
        PLAN,
        language="en",
        heading=ARABIC,
        rinse=ARABIC,
        questions=(
            Question("q1", ARABIC, "category", points=("لا", "نعم")),
            Question("q2", "How firm?", "hedonic-9"),
        ),
    )
    page = new_phone(address)
    join(page, opened(app, english, PLACES))
    asks = page.locator("main .asks")
    assert (direction(asks.first), direction(asks.nth(1))) == ("rtl", "ltr")
    assert direction(page.locator("main .pick bdi").first) == "rtl"
    assert direction(page.locator("main")) == "ltr"
    page = new_phone(address)
    join(page, opened(app, PLAN, PLACES))
    assert [direction(one) for one in page.locator("main .asks").all()[:3]] == ["rtl", "rtl", "ltr"]
