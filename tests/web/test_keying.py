"""Paper ballots keyed twice: every kind of question, differences settled by the paper, and recorded once."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from typing import TYPE_CHECKING, Any

import pytest
from sqlmodel import select

from panel.store.ledger import events_of
from panel.store.tables import Consent, PaperBallot, Person
from tests.web.a_house import app_in, cheaper, first_start, visit
from tests.web.sealed_sitting import (
    DASHI_PLACES,
    EVERY_PLACES,
    EVERY_QUESTION,
    RATING,
    RATING_PLACES,
    WITH_DASHI,
    SealedSitting,
    one_set,
    seal_sitting,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from httpx2 import Response
    from starlette.testclient import TestClient

    from panel.study.plan import Plan

CONSENT = {"consent": "yes"}
RATED = CONSENT | {"1.q0": "7", "1.q1": "40", "1.q2": "1", "2.q0": "3", "2.q1": "82,5", "2.q2": "0"}


class KeyingDesk:
    """An open sitting, and an organiser with a pile of paper."""

    def __init__(self, browser: TestClient, sitting: SealedSitting) -> None:
        self.browser, self.sitting = browser, sitting

    def at(self, place: int) -> str:
        return f"/studies/{self.sitting.study_id}/keying/{place}"

    def shows(self, place: int) -> str:
        return str(unescape(self.browser.get(self.at(place)).text))

    def step(self, place: int) -> str:
        found = re.search(r'name="step" value="(\w+)"', self.shows(place))
        return found[1] if found else ""

    def keys(self, place: int, fields: dict[str, str], step: str = "") -> Response:
        sent = {"step": step or self.step(place), **fields}
        return self.browser.post(self.at(place), data=sent)

    def keys_twice(self, place: int, fields: dict[str, str]) -> Response:
        assert self.keys(place, fields, "first").status_code == 303
        return self.keys(place, fields, "second")

    def log(self) -> list[Any]:
        with self.sitting.database.read() as session:
            return list(events_of(session, self.sitting.study_id))


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., KeyingDesk]]:
    cheaper(monkeypatch)
    app = app_in(tmp_path)
    house = app.state.house
    browser = first_start(app)

    def made(plan: Plan = RATING, places: Any = RATING_PLACES) -> KeyingDesk:
        sitting = seal_sitting(house.database, house.tokens, plan, places)
        sitting.open()
        return KeyingDesk(browser, sitting)

    yield made
    house.database.close()


# ---- twice the same


def test_two_passes_that_agree_are_recorded_once(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    assert room.keys(2, RATED, "first").headers["location"] == room.at(2)
    assert room.sitting.answers() == []
    assert room.keys(2, RATED, "second").headers["location"].endswith("/keying?keyed=2")
    assert room.sitting.values() == {
        (2, 1, "q0"): 7, (2, 1, "q1"): 40, (2, 1, "q2"): 1, (2, 1, "q3"): None,
        (2, 2, "q0"): 3, (2, 2, "q1"): 82.5, (2, 2, "q2"): 0, (2, 2, "q3"): None,
    }  # fmt: skip
    assert [attempt.status for attempt in room.sitting.attempts()] == ["finished"]
    for step in ("first", "second", "settle"):
        room.keys(2, RATED, step)
    assert len(room.sitting.submissions()) == 2


def test_the_log_says_who_keyed_and_that_a_place_was_dealt_out_of_turn(
    desk: Callable[..., KeyingDesk],
) -> None:
    room = desk()
    room.keys_twice(2, RATED)
    noted = {event.kind: event.detail for event in room.log()}
    keyed = noted["ballot keyed from paper"]
    assert (keyed["first keyed by"], keyed["second keyed by"]) == ("organiser Wren", "organiser Wren")
    assert (keyed["screens"], keyed["differences settled"]) == ([1, 2], 0)
    assert noted["place dealt"]["out of dealing order"] is True


def test_what_was_keyed_does_not_stay_beside_the_answers(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys_twice(1, RATED | {"name": "Isolde", "1.q3": "smells of hay"})
    with room.sitting.database.read() as session:
        kept = session.exec(select(PaperBallot)).one()
        assert (kept.first, kept.second, kept.recorded_at is not None) == ("", "", True)
        assert [person.name for person in session.exec(select(Person))] == ["Isolde"]
        assert len(session.exec(select(Consent)).all()) == 1


def test_the_second_pass_does_not_see_the_first(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys(1, RATED | {"1.q3": "smells of hay", "1.q1": "43"}, "first")
    page = room.shows(1)
    assert "second time" in page
    for trace in ("smells of hay", 'value="43"', "selected", "checked", "First:"):
        assert trace not in page


# ---- where they differ


def test_a_difference_is_shown_and_the_paper_settles_it(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys(1, RATED, "first")
    room.keys(1, RATED | {"2.q1": "28.5"}, "second")
    assert room.sitting.answers() == []
    page = room.shows(1)
    assert "First: 82,5. Second: 28.5." in page
    assert re.findall(r'name="(\d\.\w+)"', page) == ["2.q1"]
    settled = room.keys(1, {"2.q1": "82.5", "1.q0": "1"}, "settle")
    assert settled.status_code == 303
    assert (room.sitting.values()[1, 2, "q1"], room.sitting.values()[1, 1, "q0"]) == (82.5, 7)
    assert room.log()[-1].detail["differences settled"] == 1


def test_a_difference_cannot_be_settled_by_leaving_it_out(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys(1, RATED, "first")
    room.keys(1, RATED | {"2.q1": "28.5"}, "second")
    answer = room.keys(1, {}, "settle")
    assert (answer.status_code, "Key in what stands on the paper here" in answer.text) == (422, True)
    assert room.sitting.answers() == []


def test_what_one_pass_left_empty_may_stay_empty(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys(1, RATED, "first")
    room.keys(1, RATED | {"1.q3": "fine"}, "second")
    assert "First: left empty. Second: fine." in room.shows(1)
    assert room.keys(1, {}, "settle").status_code == 303
    assert room.sitting.values()[1, 1, "q3"] is None


def test_both_passes_can_be_forgotten(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys(1, RATED, "first")
    room.keys(1, RATED | {"1.q0": "2"}, "second")
    assert room.step(1) == "settle"
    room.browser.post(f"{room.at(1)}/anew")
    assert room.step(1) == "first"
    room.keys_twice(1, RATED)
    assert room.sitting.values()[1, 1, "q0"] == 7


# ---- what cannot stand


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        pytest.param({"1.q0": "7"}, "Tick that the taster agreed on paper", id="no consent"),
        pytest.param(CONSENT, "Key in at least one answer", id="nothing keyed"),
        pytest.param(CONSENT | {"1.q1": "101"}, "0 to 100", id="beyond the end of the line"),
        pytest.param(CONSENT | {"1.q0": "10"}, 'href="#1.q0"', id="no point of the scale"),
        pytest.param(RATED | {"name": "n" * 200}, "Shorten the name", id="a long name"),
    ],
)
def test_what_cannot_stand_on_the_paper_is_refused_and_comes_back(
    desk: Callable[..., KeyingDesk], fields: dict[str, str], words: str
) -> None:
    room = desk()
    answer = room.keys(1, fields, "first")
    assert (answer.status_code, words in answer.text) == (422, True)
    assert room.step(1) == "first"
    assert room.sitting.attempts() == []


def test_a_place_taken_by_phone_between_the_passes_is_not_mixed_up(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys(1, RATED, "first")
    phone = visit(room.browser.app)
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', phone.get(room.sitting.join_path).text))
    assert phone.post(room.sitting.join_path, data=fields).status_code in (200, 303)
    assert [attempt.status for attempt in room.sitting.attempts()] == ["tasting"]
    answer = room.keys(1, RATED, "second")
    assert (answer.status_code, "took this place by phone" in answer.text) == (422, True)
    assert room.sitting.answers() == []


def test_the_rest_of_a_phones_ballot_can_be_keyed_without_a_second_consent(
    desk: Callable[..., KeyingDesk],
) -> None:
    room = desk()
    room.keys_twice(1, CONSENT | {"1.q0": "7"})
    assert (room.step(1), "agreed on paper" in room.shows(1)) == ("first", False)
    assert re.findall(r'name="(\d)\.q0"', room.shows(1)) == ["2"]
    assert room.keys_twice(1, {"2.q0": "4"}).status_code == 303
    assert [attempt.status for attempt in room.sitting.attempts()] == ["finished"]
    assert {key: value for key, value in room.sitting.values().items() if key[2] == "q0"} == {
        (1, 1, "q0"): 7,
        (1, 2, "q0"): 4,
    }


def test_nothing_is_keyed_while_no_sitting_is_open(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys(1, RATED, "first")
    room.sitting.close()
    for answer in (room.browser.get(room.at(1)), room.keys(1, RATED, "second")):
        assert answer.status_code == 409
    assert room.sitting.answers() == []


def test_a_place_that_does_not_exist_is_not_found(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    for place in (0, 4, 10**25):
        assert room.browser.get(room.at(place)).status_code == 404


def test_the_list_offers_free_places_and_those_under_way(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    room.keys_twice(2, RATED)
    listed = room.browser.get(f"/studies/{room.sitting.study_id}/keying").text
    assert re.findall(r"/keying/(\d+)", listed) == ["1", "3"]


# ---- every kind


def test_every_kind_of_question_can_be_keyed(desk: Callable[..., KeyingDesk]) -> None:
    room = desk(replace(EVERY_QUESTION, pace=replace(EVERY_QUESTION.pace, confirm_cup=True)), EVERY_PLACES)
    page = room.shows(1)
    assert sorted(re.findall(r'name="1\.([\w.-]+)"', page)) == [
        "q1", "q10", "q2", "q2-cannot", "q3", "q4", "q5.1", "q5.2", "q5.3", "q5.4", "q6.1", "q6.2", "q6.3",
        "q7", "q8", "q9",
    ]  # fmt: skip
    fields = CONSENT | {
        "1.q1": "9", "1.q2-cannot": "1", "1.q3": "cannot tell", "1.q4": "2", "1.q5.2": "1", "1.q6.1": "1",
        "1.q6.3": "0", "1.q7": "1", "1.q8": "12,5", "1.q9": "hay", "3.q11": "basmati",
    }  # fmt: skip
    assert room.keys_twice(1, fields).status_code == 303
    assert room.sitting.values() == {
        (1, 1, "q1"): 9, (1, 1, "q2"): "cannot tell", (1, 1, "q3"): "cannot tell", (1, 1, "q4"): 2,
        (1, 1, "q5.1"): 0, (1, 1, "q5.2"): 1, (1, 1, "q5.3"): 0, (1, 1, "q5.4"): 0,
        (1, 1, "q6.1"): 1, (1, 1, "q6.2"): None, (1, 1, "q6.3"): 0, (1, 1, "q7"): 1, (1, 1, "q8"): 12.5,
        (1, 1, "q9"): "hay", (1, 1, "q10"): None, (1, 3, "q11"): "basmati",
    }  # fmt: skip


SETS = {
    "triangle": ((0, 1, 0), {"choice": "2"}, "2"),
    "duo-trio": ((0, 1, 0), {"choice": "3"}, "3"),
    "two-out-of-five": ((0, 1, 0, 1, 0), {"choice.2": "1", "choice.4": "1"}, "2 4"),
    "tetrad": ((0, 0, 1, 1), {f"choice.{n}": g for n, g in enumerate("2211", 1)}, "1 1 2 2"),
    "same-different": ((0, 1), {"choice": "different"}, "different"),
    "A-not-A": ((0,), {"choice": "yes"}, "yes"),
    "2-AFC": ((0, 1), {"choice": "2"}, "2"),
    "paired preference": ((0, 1), {"choice": "1"}, "1"),
    "ranking": ((0, 1, 2), {"choice.1": "3", "choice.2": "1", "choice.3": "2"}, "3 1 2"),
}


@pytest.mark.parametrize(
    ("method", "samples", "fields", "stored"), [(m, *row) for m, row in SETS.items()], ids=SETS
)
def test_every_kind_of_set_can_be_keyed(
    desk: Callable[..., KeyingDesk],
    method: str,
    samples: tuple[int, ...],
    fields: dict[str, str],
    stored: str,
) -> None:
    room = desk(*one_set(method, samples))
    page = room.shows(1)
    keyed = {f"1.{name}": value for name, value in fields.items()}
    assert all(f'name="{name}"' in page for name in keyed)
    assert room.keys_twice(1, CONSENT | keyed).status_code == 303
    assert room.sitting.values() == {(1, 1, "choice"): stored}


def test_a_set_that_is_no_order_is_refused(desk: Callable[..., KeyingDesk]) -> None:
    room = desk(*one_set("ranking", (0, 1, 2)))
    answer = room.keys(1, CONSENT | {"1.choice.1": "1", "1.choice.2": "1", "1.choice.3": "2"}, "first")
    assert (answer.status_code, 'href="#1.choice"' in answer.text, 'id="1.choice"' in answer.text) == (
        422, True, True,
    )  # fmt: skip


def test_a_cup_served_in_two_ways_is_keyed_twice(desk: Callable[..., KeyingDesk]) -> None:
    room = desk(WITH_DASHI, DASHI_PLACES)
    assert "with dashi" in room.shows(1)
    room.keys_twice(1, CONSENT | {f"{screen}.q0": str(screen) for screen in range(1, 5)})
    assert [room.sitting.values()[1, screen, "q0"] for screen in range(1, 5)] == [1, 2, 3, 4]


def test_nothing_on_the_page_could_tell_samples_apart(desk: Callable[..., KeyingDesk]) -> None:
    room = desk()
    page = room.shows(1)
    assert not [secret for secret in room.sitting.secrets() if secret in page]
    assert "BLIND" not in page
    assert "POUR" not in page
