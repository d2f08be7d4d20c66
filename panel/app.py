"""The application: `create_app(settings)`; nothing happens at import time."""

from __future__ import annotations

import asyncio
from contextlib import asynccontextmanager, suppress
from importlib.resources import files
from typing import TYPE_CHECKING

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

from panel.store.database import Database
from panel.store.retention import remove_outdated, remove_outdated_daily
from panel.store.tokens import Tokens, server_key
from panel.web import (
    alone,
    amendments,
    analyst,
    beginning,
    bench,
    bench_beside,
    bench_entry,
    bench_export,
    bench_measure,
    bringing_back,
    errors,
    exports,
    instruments,
    kitchen,
    organiser,
    organisers,
    panel_records,
    people,
    preview,
    prints,
    products,
    rehearsal,
    report_prints,
    room,
    shelf,
    sign_in,
    statements,
    stopwatch,
    study,
    taster,
    uploads,
    verdict,
)
from panel.web.addresses import reachable_base_url
from panel.web.house import House
from panel.web.pages import make_environment
from panel.web.protection import Protection
from panel.web.slow_down import Joining, SlowDown

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from panel.settings import Settings


# One for each kind of user or of work; of two that fit an address the first one answers.
ROUTERS = (
    sign_in,
    beginning,
    bringing_back,
    organiser,
    organisers,
    panel_records,
    preview,
    rehearsal,
    study,
    shelf,
    alone,
    people,
    amendments,
    prints,
    room,
    analyst,
    statements,
    kitchen,
    bench,
    bench_beside,
    bench_measure,
    bench_entry,
    bench_export,
    instruments,
    stopwatch,
    products,
    report_prints,
    exports,
    uploads,
    verdict,
    taster,
)


def create_app(settings: Settings) -> FastAPI:
    """The application over the settings' database, its schema brought up to date."""
    settings.data.mkdir(parents=True, exist_ok=True)
    database = Database(settings.database_url)
    database.migrate()
    tokens = Tokens(server_key(settings.data))
    remove_outdated(database, settings.register_days)

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        daily = asyncio.create_task(remove_outdated_daily(database, settings.register_days))
        yield
        daily.cancel()
        with suppress(asyncio.CancelledError):
            await daily
        database.close()

    app = FastAPI(title="Tasting panel", docs_url=None, redoc_url=None, openapi_url=None, lifespan=life)
    app.state.house = House(settings, database, tokens, reachable_base_url(settings))
    app.state.templates = make_environment(app.state.house.local)
    app.state.slow_down = SlowDown()
    app.state.joining = Joining()
    app.mount("/static", StaticFiles(directory=str(files("panel") / "static")), name="static")
    for router in ROUTERS:
        app.include_router(router.router)
    errors.install(app)
    app.add_middleware(Protection, most_bytes=settings.upload_limit_mb * 1_000_000)
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    return app
