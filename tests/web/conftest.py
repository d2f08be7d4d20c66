"""The whole application for the tests of pages, over a database file of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.web.a_house import app_in, cheaper

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fastapi import FastAPI


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastAPI]:
    """It hashes cheaply."""
    cheaper(monkeypatch)
    made = app_in(tmp_path)
    yield made
    made.state.house.database.close()
