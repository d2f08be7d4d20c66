"""A desk and a house for the tests of pages, each over a database file of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.web.a_house import cheaper
from tests.web.bench_house import BenchHouse
from tests.web.desk import Desk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """An organiser at a desk, with nothing planned yet."""
    cheaper(monkeypatch)
    made = Desk(tmp_path)
    yield made
    made.close()


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[BenchHouse]:
    """A sealed study with something to measure."""
    made = BenchHouse(tmp_path, monkeypatch)
    yield made
    made.close()
