"""For all tests: how hypothesis searches, one event loop, one migration, a line for what was skipped."""

from __future__ import annotations

import os
import shutil
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from anyio.from_thread import start_blocking_portal
from hypothesis import HealthCheck, settings
from starlette.testclient import TestClient

from panel.store.database import Database

if TYPE_CHECKING:
    from collections.abc import Iterator

    from _pytest.terminal import TerminalReporter

    from tests.web.bench_house import BenchHouse
    from tests.web.desk import Desk

# No deadline: a busy machine is no failure. In CI the same examples every time, so that a failure can be repeated.
settings.register_profile(
    "panel",
    deadline=None,
    derandomize=os.environ.get("CI") == "true",
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("panel")


def pytest_xdist_auto_num_workers() -> int:
    """Three for two cores: half of the time a test waits, for a browser, a server or a disk."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return cores + (cores + 1) // 2


@pytest.fixture(scope="session", autouse=True)
def one_loop() -> Iterator[None]:
    """One event loop for all test clients: otherwise each request starts a thread and a loop, half of its time."""
    with start_blocking_portal() as portal, pytest.MonkeyPatch.context() as patch:
        patch.setattr(TestClient, "portal", portal)
        yield


@pytest.fixture(scope="session", autouse=True)
def one_migration(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A new SQLite file is the copy of one that was migrated: migrating takes a third of a second each time."""
    template = tmp_path_factory.mktemp("migrated") / "panel.sqlite3"
    made = Database(f"sqlite:///{template}")
    made.migrate()
    made.close()
    migrate = Database.migrate

    def copy_or_migrate(self: Database) -> None:
        file = Path(self.engine.url.database or "") if self.is_sqlite else None
        if file is None or file.exists():
            migrate(self)
        else:
            shutil.copyfile(template, file)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Database, "migrate", copy_or_migrate)
        yield


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """An organiser at a desk, with nothing planned yet. Imported here: tests of numbers need no application."""
    from tests.web.a_house import cheaper
    from tests.web.desk import Desk

    cheaper(monkeypatch)
    made = Desk(tmp_path)
    yield made
    made.close()


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[BenchHouse]:
    """A sealed study with something to measure."""
    from tests.web.bench_house import BenchHouse

    made = BenchHouse(tmp_path, monkeypatch)
    yield made
    made.close()


def pytest_terminal_summary(terminalreporter: TerminalReporter) -> None:
    """Say in one line each why tests were skipped, and how many."""
    reports = terminalreporter.stats.get("skipped", [])
    for reason, count in Counter(report.longrepr[2].removeprefix("Skipped: ") for report in reports).items():
        terminalreporter.write_line(f"{count} tests: {reason}")
