"""The pages of tasters in other languages: whole catalogues, no English left, the words of the organiser untouched."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html import unescape
from typing import TYPE_CHECKING

import pytest
from babel.messages.pofile import read_po
from fastapi.testclient import TestClient

from panel.study.languages import ENGLISH, LANGUAGES, UNCHECKED
from panel.study.said import said
from panel.study.scales import SCALES
from panel.study.taster_words import parts_of
from panel.study.test_methods import TEST_METHODS
from panel.web.words import words_for, words_in
from tests.web.sealed_sitting import (
    EVERY_PLACES,
    EVERY_QUESTION,
    RATING,
    SealedSitting,
    one_set,
    seal_sitting,
)
from tests.web.taster_app import taster_app
from tests.web.taster_messages import catalogue_file, every_message

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fastapi import FastAPI

    from panel.study.plan import Plan

TRANSLATED = [code for code in LANGUAGES if code != ENGLISH]
PLACEHOLDER = re.compile(r"\{\w+\}")


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    made = taster_app(tmp_path)
    yield made
    made.state.house.database.close()


def opened(app: FastAPI, plan: Plan, places: list) -> tuple[TestClient, SealedSitting]:
    house = app.state.house
    sealed = seal_sitting(house.database, house.tokens, plan, places)
    sealed.open()
    return TestClient(app, base_url="http://127.0.0.1:8000"), sealed


def join(phone: TestClient, sitting: SealedSitting) -> str:
    return str(phone.post(sitting.join_path, data={"name": ""}).url)


@pytest.mark.parametrize("code", TRANSLATED)
def test_a_catalogue_says_everything_and_nothing_else(code: str) -> None:
    with catalogue_file(code).open("rb") as file:
        found = {str(one.id): str(one.string) for one in read_po(file, locale=code) if one.id}
    assert set(found) == every_message()
    for english, other in found.items():
        assert other.strip(), english
        assert set(PLACEHOLDER.findall(other)) == set(PLACEHOLDER.findall(english)), english


# Read while no study is known yet, so that no study's own words can stand there.
BEFORE_A_STUDY_IS_KNOWN = {
    "Type your code",
    "Type the code again",
    "The code on your card, or on the phone where you began",
    "Capitals, blanks and hyphens do not matter.",
    "No ballot and no place has this code. Look at it once more, letter by letter.",
    "This code is not known",
    "This code opens no tasting. Scan the code on the screen again, or ask the panel leader.",
    "This card is not known",
    "This card opens no place. Scan it again, or ask the panel leader for another one.",
    "This cup is not known",
    "No cup has this code. Scan the code on the cup again, or ask the panel leader.",
    "This is not your cup",
    "This cup was poured for somebody else, or you have not joined on this phone yet. Do not taste it. Look for the "
    "code on your ballot, or tell the panel leader.",
    "Nothing here",
    "This address leads to no tasting.",
    "This address leads to no tasting. Scan the code on the screen or on your card again.",
    "This is somebody else's ballot",
    "This phone has no right to answer here. Only the phone on which somebody agreed to take part can.",
    "If it is yours, open the page on that phone. Otherwise scan the code on the screen to join, or ask the panel "
    "leader.",
}


def test_the_organiser_is_shown_every_sentence_that_tasters_of_a_study_read() -> None:
    listed = {
        line.text
        for method in TEST_METHODS.values()
        for part in parts_of(method, SCALES.values())
        for line in part.lines
    }
    assert listed | BEFORE_A_STUDY_IS_KNOWN == every_message()
    assert listed & BEFORE_A_STUDY_IS_KNOWN == set()


def test_own_words_come_before_the_catalogue() -> None:
    plan = replace(
        RATING, language="de", words={"Taste": "Kosten", "{step} of {steps}": "Nr. {step}/{steps}"}
    )
    say = words_for(plan)
    assert (say("Taste"), say("Thank you")) == ("Kosten", "Danke")
    assert say("{step} of {steps}", step=2, steps=5) == "Nr. 2/5"


@pytest.mark.parametrize("code", TRANSLATED)
def test_an_unchecked_translation_says_so_in_its_file_and_to_the_organiser(code: str) -> None:
    assert not LANGUAGES[code].checked
    assert UNCHECKED in LANGUAGES[code].title
    assert UNCHECKED[1:] in catalogue_file(code).read_text(encoding="utf-8").splitlines()[0]


def test_a_sentence_with_values_is_put_together_in_the_other_language() -> None:
    text = said(
        "“{typed}” does not fit. {limits}",
        typed="99",
        limits=said("Write a number of at most {most}{unit}.", most=9, unit=" g"),
    )
    assert text == "“99” does not fit. Write a number of at most 9 g."
    assert words_in("de")(text) == "„99“ passt nicht. Schreiben Sie eine Zahl von höchstens 9 g."


def test_what_the_organiser_wrote_stays_as_written() -> None:
    assert words_in("de")("How firm is the crust?") == "How firm is the crust?"


@pytest.mark.parametrize("code", TRANSLATED)
def test_no_english_is_left_on_the_pages(app: FastAPI, code: str) -> None:
    own = replace(
        EVERY_QUESTION,
        language=code,
        heading="Reis",
        briefing="",
        rinse="",
        questions=tuple(
            replace(q, text=f"Frage {q.key}", points=tuple(p[::-1] for p in q.points))
            for q in EVERY_QUESTION.questions
        ),
        allergens=("soybeans", "fish"),
        other_allergens="",
    )
    phone, sitting = opened(app, own, EVERY_PLACES)
    texts = [phone.get(sitting.join_path).text, phone.get(f"{sitting.join_path}/TRY").text]
    ballot = join(phone, sitting)
    texts += [phone.get(ballot).text, phone.post(f"{ballot}/1", data={"q8": "99"}).text]
    texts += [phone.get(f"/J/{'A' * 26}", headers={"Accept-Language": f"{code}-XX,en;q=0.5"}).text]
    for text in texts:
        assert f'<html lang="{code}" dir="ltr"' in text
        visible = unescape(re.sub(r"<[^>]+>", "\n", text)) + unescape(
            " ".join(re.findall(r'(?:aria-label|data-missing)="([^"]*)"', text))
        )
        lines = {line.strip() for line in visible.splitlines()}
        same = {words_in(code)(message) for message in every_message()}
        left = [message for message in every_message() - same if message in lines]
        assert left == []


@pytest.mark.parametrize("method", ["tetrad", "2-AFC", "ranking", "same-different"])
def test_the_locked_words_of_a_set_are_translated(app: FastAPI, method: str) -> None:
    plan, places = one_set(
        method, (0, 1, 0, 1) if method == "tetrad" else (0, 1), language="de", attribute="Salzigkeit"
    )
    phone, sitting = opened(app, plan, places)
    text = unescape(phone.get(join(phone, sitting)).text)
    expected = {
        "tetrad": "Teilen Sie diese vier nach ihrer Ähnlichkeit in zwei Gruppen zu je zwei ein.",
        "2-AFC": "Welche dieser beiden ist stärker in: Salzigkeit?",
        "ranking": "Ordnen Sie diese nach diesem Merkmal: Salzigkeit. Das stärkste kommt zuerst.",
        "same-different": "Sind diese beiden gleich oder verschieden?",
    }
    assert expected[method] in text


@pytest.mark.parametrize(("code", "sending"), [("en", "Sending…"), ("de", "Sende …")])
def test_the_page_carries_what_the_script_says(app: FastAPI, code: str, sending: str) -> None:
    phone, sitting = opened(app, replace(RATING, language=code), [[[(0, "417", 0, "")]]])
    carried = re.search(r'data-words="([^"]+)"', phone.get(join(phone, sitting)).text)
    assert carried
    assert json.loads(unescape(carried[1]))["sending"] == sending


def test_the_dim_red_look_is_said_on_the_page(app: FastAPI) -> None:
    phone, sitting = opened(app, replace(RATING, theme="red"), [[[(0, "417", 0, "")]]])
    assert 'data-theme="red"' in phone.get(join(phone, sitting)).text
