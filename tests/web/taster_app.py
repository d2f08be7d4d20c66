"""The application over a database file of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.app import create_app
from panel.settings import Settings
from tests.web.sealed_sitting import Cups, SealedSitting, seal_sitting

if TYPE_CHECKING:
    from pathlib import Path

    from fastapi import FastAPI

    from panel.study.plan import Plan


def taster_app(folder: Path) -> FastAPI:
    """The whole application, its migrated SQLite file in `folder`."""
    return create_app(Settings(data=folder, base_url="http://127.0.0.1:8000"))


def opened(app: FastAPI, plan: Plan, places: list[list[Cups]]) -> SealedSitting:
    """A study with these cups, sealed in the application's database, its sitting open."""
    house = app.state.house
    sealed = seal_sitting(house.database, house.tokens, plan, places)
    sealed.open()
    return sealed
