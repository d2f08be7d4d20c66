"""Chromium and a real server for tests in the browser.

Fixtures: `browser` (one Chromium for the whole run), `serve` (a real server in a thread, over any application),
`app` and `address` (the whole application over its own database, and where it is served),
`new_phone` (a page in a fresh context: a phone of its own). Without Chromium the tests are skipped with one
line; where the environment has CI=true they fail.
"""

from __future__ import annotations

import os
import shutil
import socket
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import pytest
import uvicorn

from tests.web.taster_app import taster_app

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fastapi import FastAPI
    from playwright.sync_api import Browser, Page

# The shell is the same engine without a browser's own windows: a phone of its own opens three times as fast.
NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
CHROMIUM = next(filter(None, map(shutil.which, NAMES)), None)
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 15_000


class Serve(Protocol):
    """Starts a server for an application; gives its address."""

    def __call__(self, app: FastAPI) -> str: ...


class NewPhone(Protocol):
    """Opens a page in a fresh context; options as for Browser.new_context."""

    def __call__(self, base_url: str, **options: Any) -> Page: ...


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        if os.environ.get("CI") == "true":
            pytest.fail("Chromium is not installed, and CI=true asks for the browser tests")
        pytest.skip("Chromium is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def serve() -> Iterator[Serve]:
    running: list[tuple[uvicorn.Server, threading.Thread]] = []

    def start(app: FastAPI) -> str:
        listener = socket.socket()
        listener.bind(("127.0.0.1", 0))
        config = uvicorn.Config(app, log_level="error", ws="none", timeout_graceful_shutdown=1)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        running.append((server, thread))
        return f"http://127.0.0.1:{listener.getsockname()[1]}"

    yield start
    for server, thread in running:
        server.should_exit = True
        thread.join(10)


@pytest.fixture
def new_phone(browser: Browser) -> Iterator[NewPhone]:
    contexts = []

    def open_page(base_url: str, **options: Any) -> Page:
        phone = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
        context = browser.new_context(base_url=base_url, **(phone | options))
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        return context.new_page()

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    """The whole application over a database file of its own."""
    made = taster_app(tmp_path)
    yield made
    made.state.house.database.close()


@pytest.fixture
def address(serve: Serve, app: FastAPI) -> str:
    """Where `app` is served."""
    return serve(app)
