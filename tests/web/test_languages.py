"""The pages of tasters in other languages: whole catalogues, no English left, the words of the organiser untouched."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from typing import TYPE_CHECKING

import pytest
from babel.messages.pofile import read_po
from fastapi.testclient import TestClient

from panel.study.languages import ENGLISH, LANGUAGES, UNCHECKED
from panel.study.said import said
from panel.web.words import words_in
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


def test_english_carries_no_words_for_the_script(app: FastAPI) -> None:
    phone, sitting = opened(app, RATING, [[[(0, "417", 0, "")]]])
    assert "data-words" not in phone.get(join(phone, sitting)).text


def test_the_dim_red_look_is_said_on_the_page(app: FastAPI) -> None:
    phone, sitting = opened(app, replace(RATING, theme="red"), [[[(0, "417", 0, "")]]])
    assert 'data-theme="red"' in phone.get(join(phone, sitting)).text
