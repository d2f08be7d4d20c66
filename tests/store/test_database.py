"""The database itself: schema, settings in force, sessions, times, and what an error may say."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError, StatementError
from sqlmodel import SQLModel, select

from panel.store.database import Database, now
from panel.store.sealing import seal_study
from panel.store.tables import Organiser, Person, Study
from tests.store.rice_study import WORDS, drafted, sealed_rice

if TYPE_CHECKING:
    from pathlib import Path

    from panel.store.tokens import Tokens


def test_the_migrated_schema_is_the_one_of_the_models(database: Database) -> None:
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, SQLModel.metadata) == []


def test_migrating_twice_changes_nothing(database: Database) -> None:
    with database.write() as session:
        session.add(Person(name="Mo", created_at=now()))
    database.migrate()
    with database.read() as session:
        assert [person.name for person in session.exec(select(Person))] == ["Mo"]


@pytest.mark.parametrize(
    ("pragma", "value"),
    [("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1), ("secure_delete", 1)],
)
def test_sqlite_keeps_its_word_on_every_connection(sqlite: Database, pragma: str, value: object) -> None:
    """SQLite's documentation of PRAGMA synchronous: FULL is 2."""
    with sqlite.read() as one, sqlite.read() as other:
        for session in (one, other):
            assert session.connection().execute(text(f"PRAGMA {pragma}")).scalar_one() == value


def test_a_row_that_refers_to_nothing_is_refused(database: Database) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        session.connection().execute(
            text("INSERT INTO sitting (id, study_id, number, token_revision) VALUES ('a', 'none', 1, 1)")
        )


@pytest.mark.parametrize("state", ["", "opened", "DRAFT"])
def test_a_state_that_is_none_is_refused(database: Database, state: str) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        session.add(Study(state=state, title="Rice", created_at=now()))


def test_a_writing_session_holds_the_write_lock_from_its_start(sqlite: Database, tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "panel.sqlite3", timeout=0)
    with sqlite.write() as session:
        session.connection()
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
    other.execute("BEGIN IMMEDIATE")
    other.close()


def test_a_reading_session_keeps_nothing(database: Database) -> None:
    with database.read() as session:
        session.add(Person(created_at=now()))
        session.flush()
    with database.read() as session:
        assert session.exec(select(Person)).all() == []


def test_a_writing_session_that_fails_keeps_nothing(database: Database) -> None:
    def spill() -> None:
        with database.write() as session:
            session.add(Person(created_at=now()))
            session.flush()
            raise RuntimeError("spilt")

    with pytest.raises(RuntimeError, match="spilt"):
        spill()
    with database.read() as session:
        assert session.exec(select(Person)).all() == []


@pytest.mark.parametrize("hours", [0, 9, -5])
def test_a_moment_is_kept_in_utc(database: Database, hours: int) -> None:
    moment = datetime(2026, 3, 1, 12, 30, 15, 123456, tzinfo=timezone(timedelta(hours=hours)))
    with database.write() as session:
        session.add(Person(created_at=moment))
    with database.read() as session:
        stored = session.exec(select(Person.created_at)).one()
    assert (stored, stored.utcoffset()) == (moment, timedelta(0))


def test_a_moment_without_its_zone_is_refused(database: Database) -> None:
    with pytest.raises(StatementError, match="time zone"), database.write() as session:
        session.add(Person(created_at=datetime(2026, 3, 1, 12)))


def test_now_is_in_utc() -> None:
    assert now().tzinfo is UTC


def test_an_error_of_the_database_does_not_say_what_was_stored(database: Database) -> None:
    """Errors end in the log, and the log may be read before the reveal."""
    row = {"name_key": "quxlavorimba", "password_hash": "x", "created_at": now()}
    with pytest.raises(IntegrityError) as refused, database.write() as session:
        session.add_all([Organiser(name="Quxlavorimba", **row), Organiser(name="Brömmelkarsch", **row)])
    assert "Brömmelkarsch" not in str(refused.value)


def test_names_left_behind_by_a_server_killed_while_sealing_go_at_the_next_start(
    sqlite: Database, tokens: Tokens, tmp_path: Path, quick_stretching: None
) -> None:
    """A copy of the files of a running database is what kill -9 leaves: here before and after the sealing commit."""
    drafted(sqlite)
    left = tmp_path / "left"
    left.mkdir()
    with_draft = {path: path.read_bytes() for path in tmp_path.glob("panel.sqlite3*")}
    sealed_rice(sqlite, tokens)
    before = b"".join(with_draft.values())
    assert all(word.encode() in before for word in WORDS.values())
    study_id = drafted(sqlite)
    with sqlite.write() as session:
        seal_study(session, tokens, study_id, "organiser Wren", "steam rises at seven", "self-attested")
        for other in session.exec(select(Study).where(Study.draft != "")):
            other.draft = ""
    for path in tmp_path.glob("panel.sqlite3*"):
        shutil.copy(path, left / path.name)
    found = b"".join(path.read_bytes() for path in left.iterdir())
    assert any(word.encode() in found for word in WORDS.values()), "the bait is gone: nothing is tested"
    again = Database(f"sqlite:///{left / 'panel.sqlite3'}")
    again.migrate()
    found = b"".join(path.read_bytes() for path in left.iterdir())
    again.close()
    assert [word for word in WORDS.values() if word.encode() in found] == []
