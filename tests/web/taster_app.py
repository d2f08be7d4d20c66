"""The application over a database file of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.app import create_app
from panel.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

    from fastapi import FastAPI


def taster_app(folder: Path) -> FastAPI:
    """The whole application, its migrated SQLite file in `folder`."""
    return create_app(Settings(data=folder, base_url="http://127.0.0.1:8000"))
