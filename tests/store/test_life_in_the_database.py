"""A study's moves in the database: each once, each an event, none back; the ledger under many writers."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import text
from sqlmodel import select

from panel.store import studies
from panel.store.exclusions import exclude, take_back
from panel.store.ledger import append, events_of, head_of
from panel.store.rows import exclusions_of
from panel.store.sealing import open_key
from panel.store.studies import ForbiddenMoveError
from panel.store.tables import LedgerEntry
from panel.study.seal import GENESIS, first_broken
from tests.store.rice_study import PASSPHRASE, WHO, Rice, at_once, drafted, sealed_rice

if TYPE_CHECKING:
    from panel.store.database import Database
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")


@pytest.fixture
def rice(database: Database, tokens: Tokens) -> Rice:
    return sealed_rice(database, tokens)


def kinds(rice: Rice) -> list[str]:
    with rice.database.read() as session:
        events = events_of(session, rice.id)
    assert first_broken(events) is None
    return [event.kind for event in events]


def test_the_whole_life_is_in_the_log(rice: Rice) -> None:
    rice.open().close()
    rice.move(studies.sign_report, '{"p": 0.5}', {"results": "abc"})
    with rice.database.read() as session:
        secret = open_key(session, rice.study(), PASSPHRASE)
    rice.move(studies.reveal, {"nonce": secret["nonce"]}, json.dumps(secret))
    assert kinds(rice) == [
        "study created", "study sealed", "sitting opened", "sitting closed", "report signed", "names revealed",
    ]  # fmt: skip
    study = rice.study()
    assert (study.state, json.loads(study.report), json.loads(study.key)) == (
        "revealed", {"p": 0.5}, secret,
    )  # fmt: skip


MOVES: dict[str, Any] = {
    "open": lambda rice: rice.open(),
    "close": lambda rice: rice.close(),
    "sign": lambda rice: rice.move(studies.sign_report, "{}", {}),
    "reveal": lambda rice: rice.move(studies.reveal, {}, '{"key": {}}'),
}


@pytest.mark.parametrize("done", range(5))
def test_a_move_out_of_turn_is_refused_and_leaves_no_event(rice: Rice, done: int) -> None:
    names = list(MOVES)
    for name in names[:done]:
        MOVES[name](rice)
    before = kinds(rice), rice.study().state
    for name in names[:done] + names[done + 1 :]:
        with pytest.raises(ForbiddenMoveError):
            MOVES[name](rice)
    assert (kinds(rice), rice.study().state) == before


@pytest.mark.parametrize("move", list(MOVES))
def test_two_organisers_who_make_one_move_at_once_make_it_once(rice: Rice, move: str) -> None:
    names = list(MOVES)
    for name in names[: names.index(move)]:
        MOVES[name](rice)

    def attempt(_: int) -> str:
        try:
            MOVES[move](rice)
        except ForbiddenMoveError:
            return "refused"
        return "made"

    assert sorted(at_once(2, attempt)) == ["made", "refused"]
    assert len(kinds(rice)) == 3 + names.index(move)


def test_a_draft_cannot_be_opened(database: Database) -> None:
    rice = Rice(database, drafted(database), None)  # type: ignore[arg-type]
    with pytest.raises(ForbiddenMoveError, match="Seal the study first"):
        rice.open()


def test_a_sealed_draft_cannot_be_edited(rice: Rice) -> None:
    for change in (
        lambda session: studies.save_draft(session, rice.id, {}),
        lambda session: studies.draw_plan(session, rice.id),
    ):
        with pytest.raises(ForbiddenMoveError, match="Copy the study"), rice.database.write() as session:
            change(session)


def test_the_printed_address_is_the_first_one_for_good(rice: Rice) -> None:
    with rice.database.write() as session:
        assert studies.freeze_address(session, rice.id, "http://one:8000") == "http://one:8000"
        assert studies.freeze_address(session, rice.id, "http://other:8000") == "http://one:8000"


# ---- the ledger


def test_a_chain_written_by_eight_at_once_holds(rice: Rice) -> None:
    def write(number: int) -> None:
        for turn in range(5):
            with rice.database.write() as session:
                append(session, rice.id, f"writer {number}", "noted", {"turn": turn, "text": "ü“\n"})

    at_once(8, write)
    with rice.database.read() as session:
        events = events_of(session, rice.id)
        assert head_of(session, rice.id) == events[-1].hash
    assert first_broken(events) is None
    assert [event.number for event in events] == list(range(1, 43))
    for number in range(8):
        mine = [event.detail["turn"] for event in events if event.actor == f"writer {number}"]
        assert mine == [0, 1, 2, 3, 4]


def test_an_event_whose_transaction_fails_is_not_in_the_chain(rice: Rice) -> None:
    def fail() -> None:
        with rice.database.write() as session:
            append(session, rice.id, WHO, "noted", {})
            raise RuntimeError("spilt")

    with pytest.raises(RuntimeError, match="spilt"):
        fail()
    assert kinds(rice) == ["study created", "study sealed"]


def test_chains_of_two_studies_do_not_mix(rice: Rice, tokens: Tokens) -> None:
    other = sealed_rice(rice.database, tokens)
    rice.open()
    assert (len(kinds(rice)), len(kinds(other))) == (3, 2)


def test_the_head_of_an_empty_chain_is_nought(database: Database) -> None:
    with database.read() as session:
        assert head_of(session, "none") == GENESIS


@pytest.mark.parametrize("column", ["at", "actor", "kind", "detail", "previous", "hash"])
def test_a_changed_row_of_the_ledger_is_found_where_it_is(rice: Rice, column: str) -> None:
    rice.open().close()
    value = '{"sitting": 2}' if column == "detail" else "other"
    with rice.database.write() as session:
        statement = text(f"UPDATE ledgerentry SET {column} = :value WHERE number = 3")  # noqa: S608
        assert session.connection().execute(statement, {"value": value}).rowcount == 1
    with rice.database.read() as session:
        assert first_broken(events_of(session, rice.id)) == 3


def test_a_deleted_row_of_the_ledger_is_missed(rice: Rice) -> None:
    rice.open().close()
    with rice.database.write() as session:
        session.delete(session.exec(select(LedgerEntry).where(LedgerEntry.number == 2)).one())
    with rice.database.read() as session:
        assert first_broken(events_of(session, rice.id)) == 2


# ---- exclusions


def test_a_taster_is_left_out_with_a_reason_and_counted_again(rice: Rice) -> None:
    rice.open()
    attempt = rice.join()
    rice.close()
    rice.move(exclude, attempt, "had a cold")
    rice.move(exclude, attempt, "a second time changes nothing")
    with rice.database.read() as session:
        assert exclusions_of(session, rice.id) == {attempt: "had a cold"}
    rice.move(take_back, attempt)
    rice.move(take_back, attempt)
    with rice.database.read() as session:
        assert exclusions_of(session, rice.id) == {}
    assert kinds(rice)[-2:] == ["taster left out", "taster counted again"]


def test_a_taster_of_another_study_cannot_be_left_out(rice: Rice, tokens: Tokens) -> None:
    other = sealed_rice(rice.database, tokens).open()
    strange = other.join()
    other.close()
    rice.open().close()
    for change in (lambda: rice.move(exclude, strange, "why"), lambda: rice.move(take_back, strange)):
        with pytest.raises(LookupError, match="no attempt"):
            change()


@pytest.mark.parametrize("state", ["serving", "signed"])
def test_exclusions_are_decided_between_closing_and_signing(rice: Rice, state: str) -> None:
    rice.open()
    attempt = rice.join()
    if state == "signed":
        rice.close()
        rice.move(studies.sign_report, "{}", {})
    with pytest.raises(ForbiddenMoveError):
        rice.move(exclude, attempt, "too late or too early")


def test_studies_are_listed_newest_first(database: Database) -> None:
    made = [drafted(database) for _ in range(3)]
    with database.read() as session:
        found = studies.all_studies(session)
    assert {study.id for study in found} == set(made)
    times = [study.created_at for study in found]
    assert times == sorted(times, reverse=True)
