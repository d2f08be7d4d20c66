"""When each batch was poured, and which cups a further one serves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlmodel import col, select

from panel.store.batches import batches_of, note_poured
from panel.store.ledger import events_of
from panel.store.studies import ForbiddenMoveError
from panel.store.tables import Batch, Place, Sample, Serving
from panel.study.seal import first_broken
from tests.store.rice_study import Rice, sealed_rice

if TYPE_CHECKING:
    from panel.store.batches import Poured
    from panel.store.database import Database
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")


@pytest.fixture
def rice(database: Database, tokens: Tokens) -> Rice:
    return sealed_rice(database, tokens).open()


def batches(rice: Rice) -> list[Poured]:
    with rice.database.read() as session:
        return batches_of(session, rice.id)


def letter_of(rice: Rice) -> str:
    return batches(rice)[0].letter


def places_of(rice: Rice, letter: str, number: int) -> list[int]:
    """The places that this batch serves."""
    query = (
        select(Place.number)
        .join(Serving, col(Serving.place_id) == Place.id)
        .join(Batch, col(Batch.id) == Serving.batch_id)
        .join(Sample, col(Sample.id) == Batch.sample_id)
        .where(Place.study_id == rice.id, Sample.pour_letter == letter, Batch.number == number)
    )
    with rice.database.read() as session:
        return sorted(session.exec(query))


def test_the_first_time_starts_the_clock_of_the_first_batch(rice: Rice) -> None:
    letter = letter_of(rice)
    assert [batch.poured_at for batch in batches(rice)] == [None, None]
    rice.move(note_poured, letter)
    first, other = batches(rice)
    assert (first.number, first.poured_at is not None, first.first_place) == (1, True, 1)
    assert other.poured_at is None
    assert places_of(rice, letter, 1) == [1, 2, 3, 4, 5, 6]


def test_a_further_batch_serves_the_cups_from_its_place_on(rice: Rice) -> None:
    letter = letter_of(rice)
    rice.move(note_poured, letter)
    rice.move(note_poured, letter, 4)
    assert places_of(rice, letter, 1) == [1, 2, 3]
    assert places_of(rice, letter, 2) == [4, 5, 6]
    assert [(batch.number, batch.first_place) for batch in batches(rice)] == [(1, 1), (2, 4), (1, 1)]


def test_a_cup_that_is_tasted_stays_with_its_own_batch(rice: Rice) -> None:
    letter = letter_of(rice)
    rice.move(note_poured, letter)
    attempt = rice.join()
    for screen in (1, 2):
        rice.answer(attempt, screen, f"send {screen}")
    rice.move(note_poured, letter)
    assert places_of(rice, letter, 1) == [1]
    assert places_of(rice, letter, 2) == [2, 3, 4, 5, 6]


def test_the_log_names_the_batch_by_a_random_id_alone(rice: Rice) -> None:
    rice.move(note_poured, letter_of(rice))
    with rice.database.read() as session:
        events = events_of(session, rice.id)
        ids = set(session.exec(select(Batch.id)))
    assert (events[-1].kind, set(events[-1].detail)) == ("batch poured", {"batch"})
    assert events[-1].detail["batch"] in ids
    assert first_broken(events) is None


def test_an_unknown_letter_and_a_closed_study_are_refused(rice: Rice) -> None:
    letter = letter_of(rice)
    with pytest.raises(LookupError, match="pour letter"):
        rice.move(note_poured, "no such letter")
    rice.close()
    with pytest.raises(ForbiddenMoveError, match="nothing is poured any more"):
        rice.move(note_poured, letter)
    assert batches(rice)[0].poured_at is None
