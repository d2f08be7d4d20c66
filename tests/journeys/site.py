"""A real server on a real port over a data folder, that can be stopped and started, and browsers to visit it."""

from __future__ import annotations

import socket
import threading
from typing import TYPE_CHECKING

import uvicorn

from demo.phone import Phone, Reply
from panel.app import create_app
from panel.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from fastapi import FastAPI

    from panel.web.house import House

NAME, PASSWORD, PASSPHRASE = "Ada", "a long password", "plain words in a row"


class Site:
    """The server over `folder`. It keeps its port over a restart, as a laptop in a kitchen would."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.folder = folder
        self.address = f"http://127.0.0.1:{port}"
        self.settings = Settings(
            data=folder, database="", base_url=self.address, host="127.0.0.1", port=port, upload_limit_mb=10
        )
        self.app: FastAPI
        self.start()

    @property
    def house(self) -> House:
        house: House = self.app.state.house
        return house

    def start(self) -> None:
        self.app = create_app(self.settings)
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((self.settings.host, self.settings.port))
        listener.listen()
        config = uvicorn.Config(self.app, log_level="error", ws="none", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._listener = listener
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listener]}, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join(10)
        self._listener.close()

    def browser(self) -> Browser:
        return Browser(self.address)

    def organiser(self) -> Browser:
        """A browser signed in as the organiser, whose password is set at the first call."""
        browser = self.browser()
        code = self.house.tokens.first_start_code()
        first = browser.post("/first-start", {"code": code, "name": NAME, "password": PASSWORD})
        assert first.status == 200
        signed_in = browser.post("/sign-in", {"name": NAME, "password": PASSWORD})
        assert "Begin a study" in signed_in.text
        return browser


class Browser(Phone):
    """A browser that can also upload a file."""

    def upload(self, path: str, file_name: str, content: bytes) -> Reply:
        edge = b"edge-of-a-part"
        body = b"\r\n".join(
            (
                b"--" + edge,
                f'Content-Disposition: form-data; name="file"; filename="{file_name}"'.encode(),
                b"Content-Type: application/octet-stream",
                b"",
                content,
                b"--" + edge + b"--",
                b"",
            )
        )
        return self.send(path, body, {"Content-Type": f"multipart/form-data; boundary={edge.decode()}"})


def study_in(reply: Reply) -> str:
    """The study's id in the address of a page about it."""
    return reply.url.split("/studies/")[1].split("/")[0].split("?")[0]


def begin(organiser: Browser, typed: Mapping[str, str]) -> str:
    """A draft with this typed, its plan drawn; the study's id."""
    begun = organiser.post("/studies", {"method": typed["method"]})
    study = study_in(begun)
    planned = organiser.post(f"/studies/{study}/draft", {**typed, "go": "plan"})
    assert planned.url.endswith("/plan"), planned.text
    return study


def seal(organiser: Browser, study: str) -> Reply:
    fields = {"passphrase": PASSPHRASE, "again": PASSPHRASE, "holder": "self"}
    sealed = organiser.post(f"/studies/{study}/seal", fields)
    assert "The names have left the database" in sealed.text
    return sealed
