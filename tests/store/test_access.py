"""Who may come in: passwords and links, of which only hashes are kept."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

import pytest
from sqlmodel import SQLModel, select

from panel.store.access import (
    add_organiser,
    has_organiser,
    link_with,
    live_link,
    new_link,
    organiser_with,
    set_password,
)
from panel.store.ledger import events_of
from panel.store.tables import Organiser
from panel.store.tokens import Tokens, server_key
from tests.store.rice_study import WHO, Rice, sealed_rice

if TYPE_CHECKING:
    from pathlib import Path

    from panel.store.database import Database

PASSWORD = "seven grains, später"


@pytest.fixture
def wren(database: Database) -> Database:
    with database.write() as session:
        add_organiser(session, " Wren ", PASSWORD)
    return database


def written_in(database: Database) -> str:
    with database.read() as session:
        tables = SQLModel.metadata.sorted_tables
        return "\n".join(
            str(tuple(row)) for table in tables for row in session.connection().execute(table.select())
        )


def test_name_and_password_together_let_in(wren: Database) -> None:
    with wren.read() as session:
        found = [organiser_with(session, name, PASSWORD) for name in ("Wren", "WREN", " wren ")]
        assert [organiser.name for organiser in found if organiser] == ["Wren"] * 3


def test_nothing_else_lets_in(wren: Database) -> None:
    with wren.read() as session:
        tries = [
            ("Wren", PASSWORD.upper()),
            ("Wren", ""),
            ("Nobody", PASSWORD),
            ("", ""),
            ("Wren", "x" * 5000),
        ]
        assert [organiser_with(session, name, password) for name, password in tries] == [None] * 5


def test_a_password_opens_however_the_keyboard_composes_its_accents(wren: Database) -> None:
    """RFC 8265 section 4.2.2 (OpaqueString): normalisation form C before anything else."""
    other = unicodedata.normalize("NFD", PASSWORD)
    assert other != PASSWORD
    with wren.read() as session:
        assert organiser_with(session, "Wren", other) is not None


def test_a_password_is_kept_as_argon2id_and_nowhere_in_plain(wren: Database) -> None:
    """RFC 9106 section 4 recommends Argon2id; pwdlib's default takes its second set of parameters or more."""
    with wren.read() as session:
        assert session.exec(select(Organiser.password_hash)).one().startswith("$argon2id$")
    assert PASSWORD not in written_in(wren)


def test_a_new_password_makes_the_old_one_useless(wren: Database) -> None:
    with wren.write() as session:
        set_password(session, "wren", "nine grains, later")
    with wren.read() as session:
        assert organiser_with(session, "Wren", PASSWORD) is None
        assert organiser_with(session, "Wren", "nine grains, later") is not None


@pytest.mark.parametrize(
    ("name", "password", "words"),
    [
        ("  ", PASSWORD, "Write your name"),
        ("Mo", "too short", "at least 10 characters"),
        ("wREN", PASSWORD, "called “wREN” already"),
    ],
)
def test_an_organiser_that_will_not_do_is_refused(
    wren: Database, name: str, password: str, words: str
) -> None:
    with wren.write() as session, pytest.raises(ValueError, match=words):
        add_organiser(session, name, password)


@pytest.mark.parametrize(
    ("name", "password", "words"),
    [("Nobody", PASSWORD, "no organiser called"), ("Wren", "short", "at least 10 characters")],
)
def test_a_password_that_cannot_be_set_is_refused(
    wren: Database, name: str, password: str, words: str
) -> None:
    with wren.write() as session, pytest.raises(ValueError, match=words):
        set_password(session, name, password)


def test_a_fresh_database_knows_nobody(database: Database) -> None:
    with database.read() as session:
        assert has_organiser(session) is False


# ---- links


@pytest.fixture
def rice(database: Database, tokens: Tokens, quick_stretching: None) -> Rice:
    return sealed_rice(database, tokens)


def link(rice: Rice, role: str) -> str:
    with rice.database.write() as session:
        return new_link(session, rice.id, role, WHO)


@pytest.mark.parametrize("role", ["kitchen", "analyst"])
def test_a_link_opens_its_study_in_its_role(rice: Rice, role: str) -> None:
    token = link(rice, role)
    with rice.database.read() as session:
        found = link_with(session, token)
        assert found is not None
        assert (found.study_id, found.role) == (rice.id, role)
        assert live_link(session, found.id) is not None
        events = events_of(session, rice.id)
    assert (events[-1].kind, events[-1].detail) == ("link made", {"role": role})


def test_of_a_link_only_its_hash_is_kept(rice: Rice) -> None:
    token = link(rice, "kitchen")
    assert token not in written_in(rice.database)
    assert len(token) * 6 >= 128


def test_a_new_link_revokes_the_old_one_of_its_role_only(rice: Rice) -> None:
    kitchen, analyst = link(rice, "kitchen"), link(rice, "analyst")
    with rice.database.read() as session:
        old = link_with(session, kitchen)
    assert old is not None
    again = link(rice, "kitchen")
    with rice.database.read() as session:
        assert link_with(session, kitchen) is None
        assert live_link(session, old.id) is None
        assert link_with(session, analyst) is not None
        assert link_with(session, again) is not None


@pytest.mark.parametrize("token", ["", "x", "A" * 32])
def test_a_made_up_link_opens_nothing(rice: Rice, token: str) -> None:
    link(rice, "kitchen")
    with rice.database.read() as session:
        assert link_with(session, token) is None


# ---- tokens under the server's key


def test_tokens_of_another_key_purpose_id_or_revision_differ() -> None:
    here, there = Tokens(b"a" * 32), Tokens(b"b" * 32)
    made = [
        here.sitting("one", 1), there.sitting("one", 1), here.sitting("other", 1), here.sitting("one", 2),
        here.attempt("one"), there.attempt("one"), here.cup("one", 1), here.cookie_key(), here.first_start_code(),
    ]  # fmt: skip
    short = [token[:12] for token in made]
    assert len(set(short)) == len(made)


def test_a_token_opens_what_it_was_made_for_and_nothing_else() -> None:
    tokens = Tokens(b"a" * 32)
    token = tokens.sitting("one", 1)
    assert tokens.opens_sitting(token.lower(), "one", 1)
    assert not tokens.opens_sitting(token, "one", 2)
    assert not tokens.opens_sitting(token, "other", 1)
    assert not tokens.opens_sitting(token[:-1], "one", 1)
    assert not tokens.opens_sitting("", "one", 1)
    assert not tokens.opens_sitting("ü" * 26, "one", 1)
    assert tokens.opens_attempt(tokens.attempt("one"), "one")
    assert not tokens.opens_attempt(tokens.attempt("one"), "other")
    assert not tokens.opens_attempt("", "one")


def test_the_code_of_the_first_start_may_be_typed_in_any_case() -> None:
    tokens = Tokens(b"a" * 32)
    assert tokens.is_first_start_code(f" {tokens.first_start_code().lower()} ")
    assert not tokens.is_first_start_code("")


def test_tokens_hold_as_many_bits_as_promised() -> None:
    """Five bits a base32 character (RFC 4648 section 6): 60 in a cup's, 130 in a sitting's, all in an attempt's."""
    tokens = Tokens(b"a" * 32)
    assert (len(tokens.cup("one", 1)) * 5, len(tokens.sitting("one", 1)) * 5) == (60, 130)
    assert len(tokens.attempt("one")) * 5 >= 256


def test_a_short_key_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 32 bytes, but has 31"):
        Tokens(b"a" * 31)


def test_the_servers_key_is_made_once_and_for_its_owner_only(tmp_path: Path) -> None:
    key = server_key(tmp_path / "data")
    assert server_key(tmp_path / "data") == key
    assert len(key) == 32
    assert (tmp_path / "data" / "server.key").stat().st_mode & 0o777 == 0o600
