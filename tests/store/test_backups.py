"""Backups: consistent while answers come in, checked, put back whole, and refused where they are damaged."""

from __future__ import annotations

import shutil
import zipfile
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select

from panel.store.backups import BackupError, back_up, check_backup, restore
from panel.store.database import Database
from panel.store.ledger import events_of
from panel.store.tables import Submission
from panel.store.tokens import Tokens, server_key
from panel.study.seal import first_broken
from tests.store.rice_study import TYPED, Rice, sealed_rice

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.usefixtures("quick_stretching")


@pytest.fixture
def rice(sqlite: Database, tmp_path: Path) -> Rice:
    tokens = Tokens(server_key(tmp_path))
    return sealed_rice(sqlite, tokens, TYPED | {"tasters": "20"}).open()


def sends_in(url: str, study_id: str) -> tuple[set[str], int]:
    """The submissions that the database holds, and how many events its chain has; the chain must hold."""
    database = Database(url)
    with database.read() as session:
        events = events_of(session, study_id)
        found = set(session.exec(select(Submission.id)))
    database.close()
    assert first_broken(events) is None
    received = {event.detail["submission"] for event in events if event.kind == "answers received"}
    assert received == found
    return found, len(events)


def test_a_backup_made_while_answers_come_in_is_one_moment(rice: Rice, tmp_path: Path) -> None:
    attempts = [rice.join() for _ in range(20)]
    url, target = rice.database.url, tmp_path / "backup.zip"

    def taste(attempt: str) -> None:
        for screen in (1, 2):
            rice.answer(attempt, screen, f"{attempt}.{screen}")

    taste(attempts[0])
    with ThreadPoolExecutor(4) as threads:
        tasting = [threads.submit(taste, attempt) for attempt in attempts[1:]]
        report = back_up(url, tmp_path, target)
        for done in tasting:
            done.result()
    assert (report.studies, report.drafts) == (1, 0)
    elsewhere = tmp_path / "elsewhere"
    restored, aside = restore(target, f"sqlite:///{elsewhere / 'panel.sqlite3'}", elsewhere)
    found, events = sends_in(f"sqlite:///{elsewhere / 'panel.sqlite3'}", rice.id)
    everything, _ = sends_in(url, rice.id)
    assert (aside, restored.events, len(everything)) == (None, events, 40)
    assert {f"{attempts[0]}.1", f"{attempts[0]}.2"} <= found <= everything
    assert server_key(elsewhere) == server_key(tmp_path)


def test_a_backup_overwrites_nothing(rice: Rice, tmp_path: Path) -> None:
    target = tmp_path / "backup.zip"
    target.write_text("precious")
    with pytest.raises(BackupError, match="exists already"):
        back_up(rice.database.url, tmp_path, target)
    assert target.read_text() == "precious"


@pytest.mark.parametrize("damage", ["cut off", "rubbish", "changed database", "database missing"])
def test_a_damaged_backup_is_refused(rice: Rice, tmp_path: Path, damage: str) -> None:
    whole, broken = tmp_path / "whole.zip", tmp_path / "broken.zip"
    back_up(rice.database.url, tmp_path, whole)
    if damage in ("cut off", "rubbish"):
        raw = whole.read_bytes()
        broken.write_bytes(raw[: len(raw) // 2] if damage == "cut off" else b"rubbish")
    else:
        with zipfile.ZipFile(whole) as source, zipfile.ZipFile(broken, "w") as target:
            for name in source.namelist():
                content = source.read(name)
                if name.endswith("sqlite3"):
                    content = content.replace(b"study sealed", b"study Sealed")
                    if damage == "database missing":
                        continue
                target.writestr(name, content)
    with pytest.raises(BackupError):
        check_backup(broken)


def test_restoring_over_a_running_server_is_refused(rice: Rice, tmp_path: Path) -> None:
    target = tmp_path / "backup.zip"
    back_up(rice.database.url, tmp_path, target)
    with rice.database.read() as session:
        session.connection()
        with pytest.raises(BackupError, match="still running"):
            restore(target, rice.database.url, tmp_path)


def test_restoring_moves_what_was_there_aside(rice: Rice, tmp_path: Path) -> None:
    target = tmp_path / "backup.zip"
    back_up(rice.database.url, tmp_path, target)
    url, events = rice.database.url, sends_in(rice.database.url, rice.id)[1]
    rice.join()
    rice.database.close()
    _, aside = restore(target, url, tmp_path)
    assert aside is not None
    assert sends_in(url, rice.id)[1] == events
    copy = tmp_path / "copy"
    shutil.copytree(aside, copy)
    assert sends_in(f"sqlite:///{copy / 'panel.sqlite3'}", rice.id)[1] == events + 1
