"""The whole application over a fresh folder, with an organiser, sealed studies and links, for tests of access."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher
from starlette.testclient import TestClient

from panel.app import create_app
from panel.settings import Settings
from panel.store import access
from panel.study import seal

if TYPE_CHECKING:
    from pathlib import Path

    import pytest
    from fastapi import FastAPI

NAME, PASSWORD, PASSPHRASE = "Wren", "seven grains of rice", "steam rises at seven"
HERE = "http://testserver"
RICE = {
    "title": "Rice, round one",
    "question": "Which rice is liked best?",
    "method": "rating",
    "tasters": "4",
    "product-0-name": "Quxlavorimba",
    "product-1-name": "Zophtrenkel",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
}


def cheaper(patch: pytest.MonkeyPatch) -> None:
    """Less work for each password and passphrase: only the cost changes, not what is done."""
    quick = PasswordHash((Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1),))
    patch.setattr(access, "password_hash", lambda: quick)
    patch.setitem(seal._SCRYPT, "n", 2)


def app_in(folder: Path, base_url: str = HERE) -> FastAPI:
    return create_app(Settings(data=folder, database="", base_url=base_url, upload_limit_mb=1))


def visit(app: FastAPI, address: str = "testclient", **options: bool) -> TestClient:
    """A browser without cookies."""
    return TestClient(app, HERE, follow_redirects=False, client=(address, 50000), **options)


def routes_of(app: FastAPI) -> list[tuple[str, str]]:
    """Every (method, address pattern) of the application, in routers inside of routers too."""
    found: set[tuple[str, str]] = set()

    def walk(routes: list[object]) -> None:
        for route in routes:
            path = getattr(route, "path", None)
            for method in getattr(route, "methods", None) or ():
                found.add((method, str(path)))
            inside = getattr(route, "routes", None) or getattr(
                getattr(route, "original_router", None), "routes", None
            )
            walk(list(inside or ()))

    walk(list(app.routes))
    return sorted(found)


@dataclass(frozen=True, slots=True)
class Furnished:
    """An application with two sealed studies, the links of the first, and a table from elsewhere."""

    app: FastAPI
    organiser: TestClient
    study: str
    other_study: str
    table: str
    links: dict[str, str]

    def path(self, pattern: str, study: str = "") -> str:
        """The pattern with ids that exist."""
        filled = pattern.replace("{study_id}", study or self.study).replace("{table_id}", self.table)
        return re.sub(r"\{[^}]*\}", "1", filled)

    def signed_in(self, role: str) -> TestClient:
        """A browser that came by that role's link to the first study, or by the organiser's password."""
        browser = visit(self.app)
        if role == "organiser":
            assert browser.post("/sign-in", data={"name": NAME, "password": PASSWORD}).status_code == 303
            return browser
        assert browser.get(self.links[role]).status_code == 303
        return browser


def first_start(app: FastAPI) -> TestClient:
    browser = visit(app)
    sent = {"code": app.state.house.tokens.first_start_code(), "name": NAME, "password": PASSWORD}
    assert browser.post("/first-start", data=sent).status_code == 303
    return browser


def sealed_study(browser: TestClient) -> str:
    """The id of a study that the organiser in this browser drafted, drew and sealed."""
    begun = browser.post("/studies", data={"method": "rating"}).headers["location"]
    study: str = begun.split("/")[2]
    assert browser.post(f"/studies/{study}/draft", data={**RICE, "go": "plan"}).status_code == 303
    assert browser.get(f"/studies/{study}/plan").status_code == 200
    phrases = {"passphrase": PASSPHRASE, "again": PASSPHRASE, "holder": "self"}
    assert browser.post(f"/studies/{study}/seal", data=phrases).status_code == 200
    return study


def furnished(folder: Path) -> Furnished:
    app = app_in(folder)
    browser = first_start(app)
    study, other = sealed_study(browser), sealed_study(browser)
    links = {}
    for role in ("kitchen", "analyst", "bench"):
        made = browser.post(f"/studies/{study}/links", data={"role": role}).text
        links[role] = re.search(r"/in/[\w-]+", made)[0]  # type: ignore[index]
    table = b"taster,sample,score\n" + b"".join(
        b"%d,%d,%d\n" % (t, s, t % 3 + s) for t in range(6) for s in range(3)
    )
    kept = browser.post("/tables", files={"file": ("scores.csv", table)}).headers["location"]
    return Furnished(app, browser, study, other, kept.rpartition("/")[2], links)
