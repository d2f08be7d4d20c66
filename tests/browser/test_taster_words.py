"""The organiser's own words as a phone shows and says them, and whether a cup may be tasted again."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from panel.study.plan import Pace, Question
from tests.web.sealed_sitting import RATING
from tests.web.taster_app import opened

if TYPE_CHECKING:
    from fastapi import FastAPI

    from tests.browser.conftest import NewPhone

OWN = {
    "Like extremely": "Super tasty",
    "{step} of {steps}": "Bowl {step}/{steps}",
    "Save and go on": "Next bowl",
    "Save and finish": "Done",
    "Saved": "Safe and sound",
    "Choose how much you like it.": "Pick one of the nine.",
    "There is a problem": "Not yet",
    "Thank you": "Cheers",
}
PLAN = replace(
    RATING,
    ask_name=False,
    tasters=1,
    rinse="",
    questions=(Question("q1", "How much do you like it?", "hedonic-9"),),
    primary="q1",
    words=OWN,
)
PLACES = [[[(number, code, 0, "")] for number, code in enumerate(("417", "283"))]]


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "without"])
def test_own_words_stand_wherever_the_built_in_ones_would(
    app: FastAPI, address: str, new_phone: NewPhone, script: bool
) -> None:
    sitting = opened(app, PLAN, PLACES)
    page = new_phone(address, java_script_enabled=script)
    page.goto(sitting.join_path)
    page.get_by_role("button", name="I agree and take part").click()
    page.wait_for_url(re.compile("/t/"))
    assert page.locator(".steps").get_by_text("Bowl 1/2").is_visible()
    page.get_by_role("button", name="Next bowl").tap()
    page.get_by_role("heading", name="Not yet").wait_for()
    page.get_by_role("link", name="How much do you like it? Pick one of the nine.").wait_for()
    page.get_by_text("Super tasty", exact=True).tap()
    page.get_by_role("button", name="Next bowl").tap()
    page.locator(".steps").get_by_text("Bowl 2/2").wait_for()
    assert "Bowl 2/2" in page.title()
    if script:
        page.locator("#state").get_by_text("Safe and sound", exact=True).wait_for()
    page.get_by_text("Like slightly", exact=True).tap()
    page.get_by_role("button", name="Done").tap()
    page.get_by_role("heading", name="Cheers").wait_for()
    assert sitting.values() == {(1, 1, "q1"): 9, (1, 2, "q1"): 6}


@pytest.mark.parametrize(
    ("retaste", "told", "other"),
    [
        (True, "You may taste again.", "Taste each cup once."),
        (False, "Taste each cup once.", "You may taste again."),
    ],
    ids=["allowed", "not allowed"],
)
def test_every_screen_says_whether_a_cup_may_be_tasted_again(
    app: FastAPI, address: str, new_phone: NewPhone, retaste: bool, told: str, other: str
) -> None:
    sitting = opened(app, replace(PLAN, words={}, pace=Pace(retaste=retaste)), PLACES)
    page = new_phone(address)
    page.goto(sitting.join_path)
    page.get_by_role("button", name="I agree and take part").click()
    for code in ("417", "283"):
        page.locator("h1 .code").get_by_text(code, exact=True).wait_for()
        assert page.locator("main").get_by_text(told).is_visible()
        assert page.locator("main").get_by_text(other).count() == 0
        page.get_by_text("Like slightly", exact=True).tap()
        page.get_by_role("button", name=re.compile("^Save and")).tap()
    page.get_by_role("heading", name="Thank you").wait_for()
