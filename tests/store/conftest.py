"""Real databases for the store's tests: every test runs on an SQLite file and on PostgreSQL.

PANEL_TEST_POSTGRES holds the URL of a server whose user may create databases. Without it the PostgreSQL half is
skipped with one line; where the environment has CI=true it fails.
"""

from __future__ import annotations

import os
import uuid
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import create_engine, make_url, text

from panel.store.database import Database
from panel.store.tokens import Tokens
from panel.study import seal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy import URL


@pytest.fixture(scope="session")
def postgres() -> URL:
    """The server's URL."""
    given = os.environ.get("PANEL_TEST_POSTGRES", "")
    if not given:
        if os.environ.get("CI") == "true":
            pytest.fail("PANEL_TEST_POSTGRES is not set, and CI=true asks for the tests on PostgreSQL")
        pytest.skip("PANEL_TEST_POSTGRES is not set: no PostgreSQL to test on")
    return make_url(given)


def run_on(server: URL, statement: str) -> None:
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(statement))
    engine.dispose()


@pytest.fixture(scope="session")
def template(postgres: URL) -> Iterator[str]:
    """The name of a migrated database that tests copy, since copying is faster than migrating."""
    name = f"template_{uuid.uuid4().hex}"
    run_on(postgres, f"CREATE DATABASE {name}")
    made = Database(str_of(postgres.set(database=name)))
    made.migrate()
    made.close()
    yield name
    run_on(postgres, f"DROP DATABASE {name} WITH (FORCE)")


def str_of(url: URL) -> str:
    return url.render_as_string(hide_password=False)


@pytest.fixture
def sqlite(tmp_path: Path) -> Iterator[Database]:
    """A migrated SQLite file, for what is SQLite's own."""
    made = Database(f"sqlite:///{tmp_path / 'panel.sqlite3'}")
    made.migrate()
    yield made
    made.close()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def database(request: pytest.FixtureRequest) -> Iterator[Database]:
    """A migrated, empty database of either kind."""
    if request.param == "sqlite":
        yield request.getfixturevalue("sqlite")
        return
    server, template_name = request.getfixturevalue("postgres"), request.getfixturevalue("template")
    name = f"test_{uuid.uuid4().hex}"
    run_on(server, f"CREATE DATABASE {name} TEMPLATE {template_name}")
    made = Database(str_of(server.set(database=name)))
    yield made
    made.close()
    run_on(server, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="session")
def tokens() -> Tokens:
    return Tokens(b"a key that is known to the tests")


@pytest.fixture
def quick_stretching(monkeypatch: pytest.MonkeyPatch) -> None:
    """Less work for each guess at a passphrase: only the cost of scrypt changes, not what is done."""
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
