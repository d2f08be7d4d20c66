"""Whoever asks, in whatever state, by whatever method, at whatever address: no word of a product where none may be.

Every secret of every sample is a random word. Every route of the application is fetched, and every document that
any page links to; bodies, headers, addresses and log lines are searched in every writing the scanner knows.
"""

from __future__ import annotations

import logging
import re
from html import unescape
from typing import TYPE_CHECKING

import pytest

from panel.study import seal
from tests.journeys.bait import all_words, baited
from tests.journeys.leak_scanner import words_in
from tests.web.desk import PHRASE, TYPED, Desk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from httpx2 import Response
    from starlette.testclient import TestClient

LINKED = re.compile(r'(?:href|src|action|formaction|hx-get|hx-post)="(/[^"#]*)"')
RARE = ("HEAD", "PUT", "PATCH", "DELETE", "OPTIONS")  # the last four are refused alike in every state
# What an organiser does on purpose and what would move the study on: done by the test itself, one after the other.
MOVES = (
    "/open", "/close", "/delete", "/archive", "/copy", "/sign", "/erase", "/links", "/exclusions", "/pause",
    "/studies", "/tables", "/bring-back", "/organisers", "/amendments", "/end-sitting", "/next-sitting", "/gone",
    "/again", "/cups", "/order", "/statements",
)  # fmt: skip
BEGINNING = "/studies/new?"  # advice on a study that does not exist yet: looked at in one state
DRAFTING = ("/draft", "/plan", "/seal")
FORM = {
    "passphrase": "a wrong phrase",
    "again": "another",
    "go": "plan",
    "place": "1",
    "code": "000",
    "why": "w",
}


class Crawler:
    """One study with its visitors, and everything that was said to them."""

    def __init__(self, desk: Desk, words: frozenset[str]) -> None:
        self.desk, self.words = desk, words
        self.visitors: dict[str, TestClient] = {"organiser": desk.ada, "nobody": desk.client()}
        self.join = self.attempt = self.cup = "unknown"
        self.seen: set[str] = set()
        self._known: dict[bytes, set[str]] = {}

    def let_in(self) -> None:
        """Kitchen, analyst, and the tokens that the organiser hands out."""
        for role in ("kitchen", "analyst"):
            self.visitors[role] = self.desk.client()
            self.visitors[role].get(self.desk.link(role))
        self.join = self.desk.join_path().rsplit("/", 1)[1]
        labels = self.desk.ada.get(f"{self.desk.at}/print/labels.csv").text
        found = re.search(r"/C/([A-Z2-7]{12})", labels)
        self.cup = found[1] if found else "unknown"

    def routes(self) -> Iterator[tuple[str, set[str]]]:
        """Every path with this study's own ids in it, and its methods."""
        ids = {"study_id": self.desk.study, "attempt_id": self.attempt, "number": "1", "table_id": "unknown"}
        for path, methods in self.desk.app.openapi()["paths"].items():
            tokens = {"c": self.cup, "C": self.cup, "j": self.join, "J": self.join}
            ids["token"] = tokens.get(path.split("/")[1], "unknown")
            filled = re.sub(r"\{(\w+)\}", lambda match: ids.get(match[1], "unknown"), path)
            yield filled, {method.upper() for method in methods}

    def look(self, state: str) -> dict[str, set[str]]:
        """Who, how and where -> the words found there."""
        found: dict[str, set[str]] = {}
        for who, client in self.visitors.items():
            pages = {path: self.ask(client, "GET", path) for path, _ in self.routes()}
            linked = {unescape(path) for page in pages.values() for path in LINKED.findall(page.text)}
            if state != "serving":
                linked = {path for path in linked if not path.startswith(BEGINNING)}
            pages |= {path: self.ask(client, "GET", path) for path in sorted(linked - pages.keys())}
            for path, page in pages.items():
                self._scan(f"{state}: {who} GET {path}", page, found)
            kept = (*MOVES, *(DRAFTING if state == "draft" else ())) if who == "organiser" else ()
            for path, methods in self.routes():
                if "POST" in methods and not path.endswith((*kept, "/sign-out", "/leave")):
                    self._scan(f"{state}: {who} POST {path}", client.post(path, data=FORM), found)
                for method in RARE if state == "serving" else RARE[:1]:
                    self._scan(f"{state}: {who} {method} {path}", self.ask(client, method, path), found)
        return found

    def ask(self, client: TestClient, method: str, path: str) -> Response:
        return client.request(method, path)

    def _scan(self, where: str, reply: Response, found: dict[str, set[str]]) -> None:
        self.seen.add(where)
        assert reply.status_code < 500, where
        told = [
            f"{r.url}\n" + "\n".join(f"{k}: {v}" for k, v in r.headers.items())
            for r in [*reply.history, reply]
        ]
        leaked = self._words_in(reply.content) | self._words_in("\n".join(told).encode())
        if leaked:
            found[where] = leaked

    def _words_in(self, content: bytes) -> set[str]:
        if content not in self._known:
            self._known[content] = words_in(content, self.words)
        return self._known[content]


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    monkeypatch.setattr("panel.web.slow_down.TRIES", 100_000)
    # The page that Chromium would draw, without drawing it: other tests read the PDF.
    monkeypatch.setattr("panel.web.report_prints.pdf_of", lambda page: page.encode())
    made = Desk(tmp_path)
    yield made
    made.close()


def lines_of(caplog: pytest.LogCaptureFixture) -> str:
    """What the server wrote; the test client's own lines are not the server's."""
    ours = [r for r in caplog.records if not r.name.startswith(("httpx", "httpcore", "asyncio"))]
    return "\n".join(f"{r.getMessage()} {r.exc_text or ''}" for r in ours)


@pytest.mark.parametrize("method", ["rating", "triangle"], ids=str)
def test_no_identity_gets_out_in_any_state_to_anybody(
    desk: Desk, caplog: pytest.LogCaptureFixture, method: str
) -> None:
    caplog.set_level(logging.DEBUG)
    typed = {**TYPED, "tasters": "12"}
    if method == "triangle":
        typed = {k: v for k, v in typed.items() if not k.startswith("product-2")} | {"method": method}
        typed |= {"similarity_limit": "40", "sequential": "yes"}
    changed, words = baited(typed)
    bait = all_words(words)
    desk.draft(changed)
    crawler = Crawler(desk, bait)
    drafted = crawler.look("draft")
    assert {where.split()[1] for where in drafted} == {"organiser"}, "bait: its own author sees the draft"
    assert set().union(*drafted.values()) == bait
    desk.seal()
    sheet = desk.ada.post(f"{desk.at}/print/fill-sheet.pdf", data={"passphrase": PHRASE})
    assert set(words) <= words_in(sheet.content, bait), "bait: the scanner reads the fill sheet"
    crawler.let_in()
    assert crawler.look("sealed") == {}
    desk.open()
    desk.taste(2)
    taster = desk.join()
    crawler.visitors["taster"] = taster
    crawler.attempt = str(taster.ballot.url).rsplit("/", 1)[1]  # type: ignore[attr-defined]
    assert crawler.look("serving") == {}
    desk.taste(1)
    desk.shut()
    assert crawler.look("closed") == {}
    desk.sign()
    assert crawler.look("signed") == {}
    desk.reveal()
    revealed = crawler.look("revealed")
    assert {where.split()[1] for where in revealed} == {"organiser", "analyst"}
    assert revealed[f"revealed: organiser GET {desk.at}"] == bait, (
        "bait: once revealed, the same look finds them"
    )
    assert words_in(lines_of(caplog).encode(), bait) == set()
    assert crawler.join not in lines_of(caplog)
    assert len(crawler.seen) > 2000
