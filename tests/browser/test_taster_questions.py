"""Every kind of question and every set, by touch, by keyboard and without the script: stored is what was tapped."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest

from tests.web.sealed_sitting import EVERY_PLACES, EVERY_QUESTION, SealedSitting, one_set
from tests.web.taster_app import opened

if TYPE_CHECKING:
    from fastapi import FastAPI
    from playwright.sync_api import Locator, Page

    from tests.browser.conftest import NewPhone

WAYS = ["touch", "keyboard", "no script"]


def join(page: Page, sitting: SealedSitting) -> None:
    page.goto(sitting.join_path)
    page.get_by_role("button", name="I agree and take part").click()
    page.wait_for_url(re.compile("/t/"))


def choose(page: Page, way: str, target: Locator) -> None:
    """Tap what is shown, or walk there with the keyboard and press the space bar."""
    if way == "keyboard":
        target.focus()
        page.keyboard.press("Space")
    else:
        target.scroll_into_view_if_needed()
        target.tap()


def by_name(page: Page, name: str, value: str = "") -> Locator:
    return page.locator(f'[name="{name}"]' + (f'[value="{value}"]' if value else ""))


def save(page: Page, way: str) -> None:
    choose(page, way, page.get_by_role("button", name=re.compile("^Save and")))


@pytest.mark.parametrize("way", WAYS)
def test_every_kind_of_question(app: FastAPI, address: str, new_phone: NewPhone, way: str) -> None:
    sitting = opened(app, EVERY_QUESTION, EVERY_PLACES)
    page = new_phone(address, java_script_enabled=way != "no script")
    join(page, sitting)
    for code, choices, typed in (
        ("417", ["q1=3", "q3=4", "q4=2", "q5.1=1", "q5.3=1", "q6.1=1", "q6.2=0", "q6.3=1", "q7=0"], "12,5"),
        (
            "283",
            ["q1=9", "q2-cannot=1", "q3=cannot tell", "q4=3", "q6.1=0", "q6.2=0", "q6.3=0", "q7=1"],
            "50",
        ),
    ):
        page.locator("h1 .code").get_by_text(code).wait_for()
        for choice in choices:
            choose(page, way, by_name(page, *choice.split("=")))
        if code == "417" and way == "no script":
            page.locator(".place").nth(7).tap()
        elif code == "417":
            page.get_by_role("slider").focus()
            for key in ("PageUp", "PageUp", "ArrowUp"):
                page.keyboard.press(key)
        by_name(page, "q8").fill(typed)
        by_name(page, "q9").fill("toasted")
        save(page, way)
    page.get_by_role("heading", name="Before you go").wait_for()
    by_name(page, "q11").fill("basmati")
    save(page, way)
    page.get_by_role("heading", name="Thank you").wait_for()
    line = 70 if way == "no script" else 11
    first = {"q1": 3, "q2": line, "q3": 4, "q4": 2, "q7": 0, "q8": 12.5, "q9": "toasted", "q10": None}
    first |= {"q5.1": 1, "q5.2": 0, "q5.3": 1, "q5.4": 0, "q6.1": 1, "q6.2": 0, "q6.3": 1}
    second = {"q1": 9, "q2": "cannot tell", "q3": "cannot tell", "q4": 3, "q7": 1, "q8": 50, "q9": "toasted"}
    second |= {"q10": None, **dict.fromkeys(("q5.1", "q5.2", "q5.3", "q5.4", "q6.1", "q6.2", "q6.3"), 0)}
    expected = {(1, 1, key): value for key, value in first.items()}
    expected |= {(1, 2, key): value for key, value in second.items()} | {(1, 3, "q11"): "basmati"}
    assert sitting.values() == expected


def test_the_orders_a_taster_met_are_kept_with_the_send(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    sitting = opened(app, EVERY_QUESTION, EVERY_PLACES)
    page = new_phone(address)
    join(page, sitting)
    terms = [name.rpartition(".")[2] for name in names_of(page, '[name^="q5."]')]
    shown = page.locator(".question").evaluate_all("all => all.map((one) => one.dataset.key)")
    assert shown[0] == "q1", "the question that the verdict rests on keeps its place"
    for choice in ("q1=3", "q2-cannot=1", "q3=4", "q4=2", "q6.1=1", "q6.2=0", "q6.3=1", "q7=0"):
        by_name(page, *choice.split("=")).tap()
    by_name(page, "q8").fill("1")
    by_name(page, "q9").fill("fine")
    save(page, "touch")
    page.get_by_text("Saved", exact=True).wait_for()
    sent = json.loads(sitting.submissions()[0].sent)
    assert sent["q5-order"].split() == terms
    assert sent["order"].split() == shown


def names_of(page: Page, selector: str) -> list[str]:
    return page.locator(selector).evaluate_all("all => all.map((one) => one.name)")


SETS = {
    # method -> what to serve (samples), study wishes, what is tapped (fields, or codes for a ranking), what is stored
    "triangle": ((0, 1, 0), {}, ["choice=2"], "2"),
    "tetrad": ((0, 1, 1, 0), {}, ["choice.1=2", "choice.2=1", "choice.3=1", "choice.4=2"], "1 2 2 1"),
    "duo-trio": ((0, 1, 0), {}, ["choice=3"], "3"),
    "2-AFC": ((0, 1), {"attribute": "saltiness"}, ["choice=2"], "2"),
    "3-AFC": ((0, 0, 1), {"attribute": "saltiness"}, ["choice=3"], "3"),
    "two-out-of-five": ((0, 1, 0, 1, 0), {}, ["choice.2=1", "choice.4=1"], "2 4"),
    "same-different": ((0, 1), {}, ["choice=different"], "different"),
    "A-not-A": ((1,), {}, ["choice=no"], "no"),
    "paired preference": ((0, 1), {"no_preference": True}, ["choice=none"], "none"),
    "ranking": ((2, 0, 1, 3), {}, ["562", "417", "739", "283"], "2 4 1 3"),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("method", SETS)
def test_every_set(app: FastAPI, address: str, new_phone: NewPhone, method: str, way: str) -> None:
    samples, wishes, taps, stored = SETS[method]
    sitting = opened(app, *one_set(method, samples, **wishes))
    page = new_phone(address, java_script_enabled=way != "no script")
    join(page, sitting)
    save(page, way)
    page.locator(".summary").wait_for()
    assert sitting.submissions() == [], "an empty answer is not taken"
    for rank, tapped in enumerate(taps, start=1):
        if "=" in tapped:
            choose(page, way, by_name(page, *tapped.split("=")))
        elif way == "no script":
            page.locator(f'[data-code="{tapped}"] select').select_option(str(rank))
        else:
            choose(page, way, page.locator(f'[data-code="{tapped}"] button'))
    save(page, way)
    page.get_by_role("heading", name="Thank you").wait_for()
    assert sitting.values() == {(1, 1, "choice"): stored}


def test_a_ranked_cup_is_taken_out_by_a_second_tap_and_the_others_close_up(
    app: FastAPI, address: str, new_phone: NewPhone
) -> None:
    sitting = opened(app, *one_set("ranking", (0, 1, 2)))
    page = new_phone(address)
    join(page, sitting)
    for code in ("283", "417", "562", "283"):
        page.locator(f'[data-code="{code}"] button').tap()
    assert page.locator(".rank").all_inner_texts() == ["1", "", "2"]
    page.reload()
    assert page.locator(".rank").all_inner_texts() == ["1", "", "2"], "a begun order survives a reload"
    page.locator('[data-code="283"] button').tap()
    save(page, "touch")
    page.get_by_role("heading", name="Thank you").wait_for()
    assert sitting.values() == {(1, 1, "choice"): "1 3 2"}


@pytest.mark.parametrize(
    "taps", [["choice.1=1", "choice.2=1", "choice.3=1", "choice.4=2"]], ids=["three and one"]
)
def test_a_tetrad_takes_two_groups_of_two_only(
    app: FastAPI, address: str, new_phone: NewPhone, taps: list[str]
) -> None:
    sitting = opened(app, *one_set("tetrad", (0, 0, 1, 1)))
    page = new_phone(address)
    join(page, sitting)
    for tapped in taps:
        by_name(page, *tapped.split("=")).tap()
    save(page, "touch")
    assert "Put two cups into each group." in page.locator(".summary").inner_text()
    assert sitting.submissions() == []


@pytest.mark.parametrize("width", [320, 390, 768])
def test_every_question_fits_and_is_large_enough_to_tap(
    app: FastAPI, address: str, new_phone: NewPhone, width: int
) -> None:
    """WCAG 2.2, success criteria 1.4.10 (reflow) and 2.5.5 (targets of 44 px)."""
    places = [(EVERY_QUESTION, EVERY_PLACES)]
    places += [one_set(method, samples, **wishes) for method, (samples, wishes, _, _) in SETS.items()]
    page = new_phone(address, viewport={"width": width, "height": 700})
    for plan, cups in places:
        join(page, opened(app, plan, cups))
        assert page.evaluate("document.documentElement.scrollWidth") <= width, plan.method
        targets = page.locator(
            "main :is(.pick, .step, .go, .row button, input:not([type]), textarea):visible"
        )
        for box in (target.bounding_box() for target in targets.all()):
            assert box is not None
            assert box["height"] >= 44, plan.method
            assert box["width"] >= 44, plan.method
