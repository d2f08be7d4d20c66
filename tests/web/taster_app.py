"""The application with the taster's pages, over a database file of its own."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

from panel.settings import Settings
from panel.store.database import Database
from panel.store.tokens import Tokens, server_key
from panel.web import taster
from panel.web.house import House
from panel.web.pages import make_environment
from panel.web.protection import Protection

if TYPE_CHECKING:
    from pathlib import Path


def taster_app(folder: Path) -> FastAPI:
    """The taster's router over a migrated SQLite file in `folder`."""
    settings = Settings(data=folder)
    database = Database(settings.database_url)
    database.migrate()
    app = FastAPI()
    app.state.house = House(settings, database, Tokens(server_key(folder)), "")
    app.state.templates = make_environment()
    app.mount("/static", StaticFiles(directory=str(files("panel") / "static")), name="static")
    app.include_router(taster.router)
    app.add_middleware(Protection, most_bytes=1_000_000)
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    return app
