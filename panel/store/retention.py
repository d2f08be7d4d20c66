"""What has outlived its time goes: at every start, every day while the server runs, and whenever somebody asks."""

from __future__ import annotations

import asyncio
import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.store.database import now
from panel.store.people import erase_old_names
from panel.store.shelf import remove_for_good
from panel.store.sign_ins import forget_old_sign_ins

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable
    from datetime import datetime

    from panel.store.database import Database

HOUR = 3600.0
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Removed:
    """How many deleted studies went for good, and how many people's names and remarks were erased."""

    studies: int
    people: int


def remove_outdated(database: Database, register_days: int, at: datetime | None = None) -> Removed:
    """Studies past their days of grace, names and remarks past `register_days`, sign-ins too old; as of `at`."""
    at = at or now()
    with database.write() as session:
        removed = Removed(remove_for_good(session, at), erase_old_names(session, register_days, at))
        forget_old_sign_ins(session, at)
    if removed.studies or removed.people:
        database.forget_deleted()
    return removed


async def an_hour() -> None:
    """Let an hour pass."""
    await asyncio.sleep(HOUR)


async def remove_outdated_daily(
    database: Database,
    register_days: int,
    clock: Callable[[], datetime] = now,
    pause: Callable[[], Awaitable[None]] = an_hour,
) -> None:
    """Remove what is outdated once on every new day, until cancelled.

    The clock is looked at every hour, since a laptop that sleeps lets no time pass for a longer wait. What goes
    wrong is written into the log and tried again an hour later.
    """
    done = clock().date()
    while True:
        await pause()
        at = clock()
        if at.date() == done:
            continue
        try:
            await asyncio.to_thread(remove_outdated, database, register_days, at)
            done = at.date()
        except Exception:
            log.exception("what has outlived its time could not be removed; trying again in an hour")
