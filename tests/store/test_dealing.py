"""Dealing places: in the order of the design, each to one taster, also when twenty come at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlmodel import col, select

from panel.store.dealing import NoPlaceLeftError, step_out
from panel.store.ledger import events_of
from panel.store.rows import progress_of, servings_of
from panel.store.studies import ForbiddenMoveError
from panel.store.tables import Attempt, Consent, Person, Place
from panel.study.seal import first_broken
from tests.store.rice_study import TYPED, Rice, at_once, sealed_rice

if TYPE_CHECKING:
    from panel.store.database import Database
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")


@pytest.fixture
def rice(database: Database, tokens: Tokens) -> Rice:
    return sealed_rice(database, tokens).open()


def places_of(rice: Rice, attempts: list[str]) -> list[int]:
    with rice.database.read() as session:
        found = dict(
            session.exec(
                select(Attempt.id, Place.number)
                .join(Place, col(Place.id) == Attempt.place_id)
                .where(col(Attempt.id).in_(attempts))
            ).all()
        )
    return [found[attempt] for attempt in attempts]


def test_places_are_dealt_in_the_order_of_the_design(rice: Rice) -> None:
    assert places_of(rice, [rice.join() for _ in range(6)]) == [1, 2, 3, 4, 5, 6]


def test_when_all_places_are_taken_the_next_is_told_so_and_leaves_no_trace(rice: Rice) -> None:
    for _ in range(6):
        rice.join()
    with pytest.raises(NoPlaceLeftError, match="tell the panel leader"):
        rice.join("Mo")
    with rice.database.read() as session:
        assert len(session.exec(select(Person)).all()) == 6
        assert len(session.exec(select(Consent)).all()) == 6


def test_twenty_who_join_at_once_get_twenty_places(database: Database, tokens: Tokens) -> None:
    rice = sealed_rice(database, tokens, TYPED | {"tasters": "20"}).open()
    attempts = at_once(20, lambda _: rice.join())
    assert sorted(places_of(rice, attempts)) == list(range(1, 21))
    with database.read() as session:
        events = events_of(session, rice.id)
    dealt = [event.detail["place"] for event in events if event.kind == "place dealt"]
    assert (sorted(dealt), dealt == sorted(dealt), first_broken(events)) == (list(range(1, 21)), True, None)


def test_of_twenty_who_want_six_places_six_get_one(rice: Rice) -> None:
    def come(_: int) -> str:
        try:
            return rice.join()
        except NoPlaceLeftError:
            return ""

    got = [attempt for attempt in at_once(20, come) if attempt]
    assert sorted(places_of(rice, got)) == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize(
    ("state", "words"), [("sealed", "not open yet"), ("closed", "closed")], ids=["before", "after"]
)
def test_nobody_joins_outside_the_sitting(database: Database, tokens: Tokens, state: str, words: str) -> None:
    rice = sealed_rice(database, tokens)
    if state == "closed":
        rice.open().close()
    with pytest.raises(ForbiddenMoveError, match=words):
        rice.join()


def test_a_taster_gets_the_cups_of_their_place_in_serving_order(rice: Rice) -> None:
    rice.join()
    second = rice.join()
    with rice.database.read() as session:
        attempt = session.get_one(Attempt, second)
        served = servings_of(session, attempt)
    assert [task.number for task, _ in served] == sorted(task.number for task, _ in served)
    cups = [cup for _, cups in served for cup in cups]
    assert [cup.position for cup in cups] == [1, 2]
    assert {cup.place_id for cup in cups} == {attempt.place_id}


def test_whoever_steps_out_leaves_no_reason(rice: Rice) -> None:
    attempt_id = rice.join("Mo")
    with rice.database.write() as session:
        step_out(session, session.get_one(Attempt, attempt_id))
    with rice.database.read() as session:
        last = events_of(session, rice.id)[-1]
        seat = progress_of(session, rice.id)[0]
    assert (last.kind, last.detail) == ("taster stepped out", {"attempt": attempt_id})
    assert seat.status == "stepped out"


def test_the_log_names_no_taster(rice: Rice) -> None:
    rice.join("Philippa Quonset")
    with rice.database.read() as session:
        written = str(events_of(session, rice.id))
    assert "Quonset" not in written
