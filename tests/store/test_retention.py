"""What has outlived its time goes by itself while the server runs: names, deleted studies, old sign-ins."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select

from panel.store import studies
from panel.store.access import add_organiser
from panel.store.retention import Removed, remove_outdated, remove_outdated_daily
from panel.store.shelf import DAYS_OF_GRACE, delete_study
from panel.store.sign_ins import SIGN_IN_DAYS, begin_sign_in
from panel.store.tables import Person, SignIn, Study
from tests import own_loop
from tests.store.rice_study import WHO, Rice, sealed_rice

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.store.database import Database
    from panel.store.tokens import Tokens

NAME = "Wrenbury Quokka"
DAYS = 100
pytestmark = pytest.mark.usefixtures("quick_stretching")


@pytest.fixture
def signed(database: Database, tokens: Tokens) -> Rice:
    """A signed study with one taster who gave a name, and a second study that was deleted."""
    rice = sealed_rice(database, tokens).open()
    rice.join(NAME)
    rice.close()
    with database.write() as session:
        studies.sign_report(session, rice.id, WHO, "{}", {})
        delete_study(session, studies.create_study(session, WHO, {"title": "Another"}).id, WHO)
        begin_sign_in(session, add_organiser(session, "Wren", "seven grains of rice"))
    return rice


def kept(database: Database) -> tuple[list[str], int, int]:
    """Names, studies and sign-ins that are left."""
    with database.read() as session:
        names = list(session.exec(select(Person.name)))
        return names, len(session.exec(select(Study)).all()), len(session.exec(select(SignIn)).all())


def test_each_thing_goes_when_its_own_time_is_over(signed: Rice) -> None:
    at = datetime.now(UTC)
    assert remove_outdated(signed.database, DAYS, at + timedelta(days=SIGN_IN_DAYS - 1)) == Removed(0, 0)
    assert kept(signed.database) == ([NAME], 2, 1)
    later = at + timedelta(days=max(SIGN_IN_DAYS, DAYS_OF_GRACE) + 1)
    assert remove_outdated(signed.database, DAYS, later) == Removed(1, 0)
    assert kept(signed.database) == ([NAME], 1, 0)
    assert remove_outdated(signed.database, DAYS, at + timedelta(days=DAYS + 1)) == Removed(0, 1)
    assert kept(signed.database) == ([""], 1, 0)
    assert remove_outdated(signed.database, DAYS, at + timedelta(days=DAYS + 1)) == Removed(0, 0)


def run_hours(
    database: Database, hours: int, start: datetime, before: Callable[[int], None] = lambda hour: None
) -> None:
    """Let the daily task live through so many hours, each passing at once."""
    passed = 0

    async def pause() -> None:
        nonlocal passed
        if passed == hours:
            raise asyncio.CancelledError
        passed += 1
        before(passed)

    async def live() -> None:
        await remove_outdated_daily(database, DAYS, lambda: start + timedelta(hours=passed), pause)

    with pytest.raises(asyncio.CancelledError):
        own_loop.run(live())


def test_names_go_on_the_day_they_are_due_while_the_server_runs(signed: Rice) -> None:
    signed_at = signed.study().signed_at
    assert signed_at is not None
    start = signed_at + timedelta(days=DAYS - 1)
    run_hours(signed.database, 24, start)
    assert kept(signed.database)[0] == [NAME], "one day too early"
    run_hours(signed.database, 49, start)
    assert kept(signed.database)[0] == [""]


def test_it_works_once_a_day(signed: Rice, monkeypatch: pytest.MonkeyPatch) -> None:
    days: list[datetime] = []
    monkeypatch.setattr("panel.store.retention.remove_outdated", lambda _database, _days, at: days.append(at))
    noon = datetime(2026, 3, 2, 12, tzinfo=UTC)
    run_hours(signed.database, 59, noon)
    assert [at.day for at in days] == [3, 4]


def test_a_failure_is_logged_and_tried_again_an_hour_later(
    signed: Rice, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    tries: list[datetime] = []

    def busy(_database: Database, _days: int, at: datetime) -> None:
        tries.append(at)
        if len(tries) == 1:
            raise OSError("the disk is full")

    monkeypatch.setattr("panel.store.retention.remove_outdated", busy)
    run_hours(signed.database, 5, datetime(2026, 3, 2, 23, tzinfo=UTC))
    assert [at.hour for at in tries] == [0, 1]
    assert "trying again in an hour" in caplog.text
