"""A consistent copy of a running server's data in one file, its check, and putting it back.

SQLite only: its online backup copies a database that is being written to as of one moment. A backup is a ZIP of
the database, the server's key (without which printed codes and cookies are void) and a note of what it holds.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import tempfile
import zipfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import make_url
from sqlmodel import col, select

from panel.store.database import Database, now
from panel.store.ledger import events_of
from panel.store.tables import Study
from panel.study.seal import first_broken

DATABASE, KEY, ABOUT = "panel.sqlite3", "server.key", "about.json"
USE_PG_DUMP = (
    "The data lies in a PostgreSQL database. Back it up with its own tools (pg_dump, pg_restore) and keep a copy of "
    "server.key from the data folder beside it."
)


class BackupError(ValueError):
    """The backup cannot be made, read or put back; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class BackupReport:
    """What a backup holds, as its check found it. made_at: UTC in ISO 8601; drafts: studies not sealed yet."""

    made_at: str
    studies: int
    events: int
    drafts: int


def back_up(database_url: str, data: Path, target: Path) -> BackupReport:
    """Write a backup to `target` while the server may be running, then check it. Nothing is overwritten."""
    source = sqlite_file(database_url)
    if not source.exists():
        raise BackupError(f"There is no database at {source}. Check --data.")
    if target.exists():
        raise BackupError(f"{target} exists already. Choose another name; nothing was overwritten.")
    with tempfile.TemporaryDirectory(dir=target.parent) as folder:
        copy = Path(folder) / DATABASE
        with closing(sqlite3.connect(source, timeout=60)) as live, closing(sqlite3.connect(copy)) as out:
            live.backup(out)
            out.execute("PRAGMA journal_mode=DELETE")
        about = {"version": 1, "made_at": now().isoformat(timespec="seconds"), DATABASE: _sha256(copy)}
        if (data / KEY).exists():
            about[KEY] = _sha256(data / KEY)
        packed = Path(folder) / "packed.zip"
        handle = os.open(packed, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.write(copy, DATABASE)
            if KEY in about:
                archive.write(data / KEY, KEY)
            archive.writestr(ABOUT, json.dumps(about, indent=1) + "\n")
        report = check_backup(packed)
        packed.rename(target)
    return report


def check_backup(file: Path) -> BackupReport:
    """Unpack a backup aside, hold it against its fingerprints, migrate the copy, and follow every study's chain."""
    with tempfile.TemporaryDirectory() as folder:
        about = _unpack(file, Path(folder))
        return _checked(Path(folder) / DATABASE, about["made_at"])


def restore(file: Path, database_url: str, data: Path) -> tuple[BackupReport, Path | None]:
    """Put a backup in place of the present data; the server must be stopped.

    Returns what was put back, and the folder to which the data found there was moved (None where there was none).
    """
    place = sqlite_file(database_url)
    if place.parent != data.resolve() and place.parent != data:
        raise BackupError(
            f"The database lies in {place.parent}, not in the data folder {data}; restore by hand."
        )
    with tempfile.TemporaryDirectory() as folder:
        about = _unpack(file, Path(folder))
        report = _checked(Path(folder) / DATABASE, about["made_at"])
        _refuse_running(place)
        data.mkdir(parents=True, exist_ok=True)
        aside = _move_aside(place, data)
        for name, target in ((DATABASE, place), (KEY, data / KEY)):
            if name in about:
                _write(target, (Path(folder) / name).read_bytes())
    return report, aside


def sqlite_file(database_url: str) -> Path:
    """The database's file; BackupError for another kind of database."""
    url = make_url(database_url)
    if url.get_backend_name() != "sqlite" or not url.database:
        raise BackupError(USE_PG_DUMP)
    return Path(url.database)


def _unpack(file: Path, folder: Path) -> dict[str, str]:
    try:
        with zipfile.ZipFile(file) as archive:
            about: dict[str, str] = json.loads(archive.read(ABOUT))
            for name in (DATABASE, KEY):
                if name in about:
                    (folder / name).write_bytes(archive.read(name))
                    if _sha256(folder / name) != about[name]:
                        raise BackupError(
                            f"{name} in {file} is damaged: its fingerprint is not the one noted."
                        )
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        if isinstance(error, BackupError):
            raise
        raise BackupError(f"{file} is no backup of this program, or it is damaged.") from None
    if DATABASE not in about or "made_at" not in about:
        raise BackupError(f"{file} is no whole backup: the database is missing.")
    return about


def _checked(copy: Path, made_at: str) -> BackupReport:
    with closing(sqlite3.connect(copy)) as connection:
        (found,) = connection.execute("PRAGMA integrity_check").fetchone()
    if found != "ok":
        raise BackupError(f"The database in the backup is damaged: {found}.")
    database = Database(f"sqlite:///{copy}")
    try:
        database.migrate()
        studies = events = drafts = 0
        with database.read() as session:
            for study in session.exec(select(Study).order_by(col(Study.id))):
                chain = events_of(session, study.id)
                broken = first_broken(chain)
                if broken is not None:
                    raise BackupError(f"The log of the study “{study.title}” is broken at event {broken}.")
                studies, events, drafts = studies + 1, events + len(chain), drafts + (study.state == "draft")
    finally:
        database.close()
    return BackupReport(made_at, studies, events, drafts)


def _refuse_running(place: Path) -> None:
    if not place.exists():
        return
    with closing(sqlite3.connect(place, timeout=1, isolation_level=None)) as connection:
        try:
            # Leaving the write-ahead log needs the file alone: another process that has it open forbids this.
            (mode,) = connection.execute("PRAGMA journal_mode=DELETE").fetchone()
        except sqlite3.Error:
            mode = "in use"
    if mode != "delete":
        raise BackupError("The server is still running on this data folder. Stop it first, then restore.")


def _move_aside(place: Path, data: Path) -> Path | None:
    found = [path for path in (place, data / KEY) if path.exists()]
    found += [path for end in ("-wal", "-shm") if (path := place.with_name(place.name + end)).exists()]
    if not found:
        return None
    aside = data / f"before-restore-{now():%Y%m%d-%H%M%S}"
    aside.mkdir(mode=0o700)
    for path in found:
        path.rename(aside / path.name)
    return aside


def _write(target: Path, content: bytes) -> None:
    handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
