"""Opening the database and its sessions. SQLite by default; nothing here that PostgreSQL cannot do."""

from __future__ import annotations

from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, event, make_url, text
from sqlmodel import Session, create_engine

if TYPE_CHECKING:
    from collections.abc import Iterator

EMPTY_THE_LOG = "PRAGMA wal_checkpoint(TRUNCATE)"


def now() -> datetime:
    """This moment in UTC."""
    return datetime.now(UTC)


class Database:
    """One database: sessions that read, sessions that write and commit, migrations.

    On SQLite a writing session takes the write lock at its start, so that two of them never fail half-way.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self.is_sqlite = make_url(url).get_backend_name() == "sqlite"
        options: dict[str, Any] = (
            {"connect_args": {"timeout": 30}} if self.is_sqlite else {"pool_pre_ping": True}
        )
        # Errors end in the log, which may be read before the reveal: they say the statement, never its values.
        self.engine: Engine = create_engine(url, hide_parameters=True, **options)
        if self.is_sqlite:
            event.listen(self.engine, "connect", _prepare_sqlite)
            event.listen(self.engine, "begin", _begin_sqlite)
        self._writing_engine = self.engine.execution_options(writing=True)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for reading; what it changes is rolled back."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session that commits when the block ends well and rolls back otherwise."""
        with Session(self._writing_engine, expire_on_commit=False) as session:
            try:
                yield session
                session.commit()
            except BaseException:
                session.rollback()
                raise

    def migrate(self) -> None:
        """Bring the schema up to date, and forget what a killed server left in SQLite's write-ahead log."""
        config = Config()
        config.set_main_option("script_location", "panel:migrations")
        with self.engine.connect() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            connection.commit()
        if self.is_sqlite:
            with self._autocommitting() as connection:
                connection.execute(text(EMPTY_THE_LOG))

    def forget_deleted(self) -> None:
        """Leave no trace of deleted text in the database's own files.

        SQLite: freed pages are zeroed as they are freed (secure_delete); the write-ahead log is emptied here.
        PostgreSQL: dead rows of the study table are removed; its own log is the server's to expire.
        """
        with self._autocommitting() as connection:
            if self.is_sqlite:
                connection.execute(text("VACUUM"))
                connection.execute(text(EMPTY_THE_LOG))
            else:
                connection.execute(text("VACUUM FULL study"))

    def _autocommitting(self) -> Connection:
        return self.engine.connect().execution_options(isolation_level="AUTOCOMMIT")

    def close(self) -> None:
        """Give all connections back."""
        self.engine.dispose()


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # the driver must not begin transactions on its own
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "secure_delete=ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    options = connection.get_execution_options()
    if options.get("isolation_level") == "AUTOCOMMIT":
        return
    connection.exec_driver_sql("BEGIN IMMEDIATE" if options.get("writing") else "BEGIN")
