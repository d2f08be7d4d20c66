"""A watch over every address of a real server, for words that may not be there; and each user gets their own pages."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from demo import story
from demo.phone import Reply
from tests.journeys.bait import all_words, baited
from tests.journeys.leak_scanner import words_in
from tests.journeys.site import PASSPHRASE, Browser, Site, begin, seal

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

RATING = {**story.CLOSED, "tasters": "3"}
LINKED = re.compile(r'(?:href|src|action|hx-get)="(/[^"#]*)"')
FIELDS = {"q1": "5", "q2": "40", "q3": "60", "q4": "0", "q5": "a remark"}


class Watch:
    """All that could be known of one study: whoever may come, every address, every reply scanned."""

    def __init__(
        self, site: Site, study: str, words: frozenset[str], visitors: Mapping[str, Browser]
    ) -> None:
        self.site, self.study, self.words, self.visitors = site, study, words, visitors
        self.attempt = self.cup = self.join = self.entry = "unknown"
        self.seen = 0
        self._known: dict[bytes, set[str]] = {}

    def look_everywhere(self) -> dict[str, set[str]]:
        """Where words were found: who and address -> the words."""
        found: dict[str, set[str]] = {}
        for who, browser in self.visitors.items():
            for path, reply in self._replies(browser).items():
                self._scan(f"{who} {path}", reply, found)
            for path, fields in self._refused_forms():
                self._scan(f"{who} POST {path}", browser.post(path, fields), found)
        return found

    def _scan(self, where: str, reply: Reply, found: dict[str, set[str]]) -> None:
        self.seen += 1
        headers = "\n".join(f"{name}: {value}" for name, value in reply.headers)
        leaked = self._words_in(reply.body) | self._words_in(f"{reply.url}\n{headers}".encode())
        if leaked:
            found[where] = leaked
        assert "Traceback" not in reply.text, where
        assert reply.status < 500, where

    def _words_in(self, content: bytes) -> set[str]:
        if content not in self._known:
            self._known[content] = words_in(content, self.words)
        return self._known[content]

    def _replies(self, browser: Browser) -> dict[str, Reply]:
        """Every GET route with this study's own ids in it, and whatever those pages link to."""
        replies = {path: browser.get(path) for path in self._routes()}
        linked = {path for reply in replies.values() for path in LINKED.findall(reply.text)}
        wanted = {path.replace("&amp;", "&") for path in linked} - replies.keys()
        forms = (
            "/leave",
            "/sign-out",
            "/delete",
            "/exclusions",
            "/statements",
            "/seal",
            "/open",
            "/close",
            "/sign",
        )
        return replies | {path: browser.get(path) for path in wanted if not path.endswith(forms)}

    def _routes(self) -> Iterator[str]:
        ids = {
            "study_id": self.study, "attempt_id": self.attempt, "number": "1", "number:int": "1",
            "table_id": "unknown", "path:path": "panel.css", "key": "m1", "entry": self.entry,
        }  # fmt: skip
        for template in _get_routes(self.site):
            tokens = {"c": self.cup, "C": self.cup, "j": self.join, "J": self.join, "in": "unknown"}
            ids["token"] = tokens.get(template.split("/")[1], "unknown")
            yield re.sub(r"\{([^}]+)\}", lambda match: ids.get(match[1], "unknown"), template)

    def _refused_forms(self) -> Iterator[tuple[str, dict[str, str]]]:
        at = f"/studies/{self.study}"
        yield f"{at}/draft", {"title": "again", "go": "plan"}
        yield f"{at}/plan", {}
        yield f"{at}/seal", {"passphrase": "another phrase", "again": "another phrase"}
        yield f"{at}/print/fill-sheet.pdf", {"passphrase": "a wrong phrase"}
        yield f"{at}/reveal", {"passphrase": "a wrong phrase"}
        yield f"{at}/exclusions", {"attempt": "unknown", "reason": ""}
        yield f"{at}/statements", {"state-place": "p" * 700}
        yield f"/t/{self.attempt}/1", {"q1": "99", "choice": "9"}


def _get_routes(site: Site) -> list[str]:
    """The templates of all addresses that can be opened."""
    found: list[str] = []

    def walk(routes: list[object]) -> None:
        for route in routes:
            path, methods = getattr(route, "path", None), getattr(route, "methods", None)
            if isinstance(path, str) and methods and "GET" in methods:
                found.append(path)
            inner = getattr(route, "routes", None) or getattr(
                getattr(route, "original_router", None), "routes", None
            )
            if inner:
                walk(list(inner))

    walk(list(site.app.routes))
    return sorted(set(found))


def watched(site: Site, typed: dict[str, str]) -> tuple[Watch, Browser]:
    organiser = site.organiser()
    changed, words = baited(typed)
    study = begin(organiser, changed)
    draft = organiser.get(f"/studies/{study}/draft")
    assert words_in(draft.body, all_words(words)) == all_words(words), "the bait is in the draft"
    seal(organiser, study)
    sheet = organiser.post(f"/studies/{study}/print/fill-sheet.pdf", {"passphrase": PASSPHRASE})
    assert set(words) <= words_in(sheet.body, all_words(words)), "the bait is on the fill sheet"
    visitors = {"organiser": organiser, "nobody": site.browser(), "taster": site.browser()}
    for role in ("analyst", "kitchen"):
        link = re.search(r"/in/[\w-]+", organiser.post(f"/studies/{study}/links", {"role": role}).text)
        assert link is not None
        visitors[role] = site.browser()
        assert visitors[role].get(link[0]).status in (200, 409)
    watch = Watch(site, study, all_words(words), visitors)
    poster = organiser.get(f"/studies/{study}/poster").text
    watch.join = (re.search(r"/J/([A-Z2-7]{26})", poster) or ["", "unknown"])[1]
    cards = organiser.get(f"/studies/{study}/print/labels.csv").text
    watch.cup = (re.search(r"/C/([A-Z2-7]{12})", cards) or ["", "unknown"])[1]
    return watch, organiser


@pytest.mark.parametrize(
    ("who", "open_to_them"),
    [
        ("nobody", set()),
        ("taster", set()),
        (
            "kitchen",
            {"/kitchen", *(f"/print/{sheet}.pdf" for sheet in ("pour-sheet", "serving-sheet", "tray-maps"))},
        ),
        (
            "analyst",
            {
                *("/report", "/report.pdf", "/report.html", "/report/running.css"),
                *("/verdict", "/verdict.csv", "/verdict-table.html"),
            },
        ),
    ],
    ids=["nobody", "taster", "kitchen", "analyst"],
)
def test_each_user_gets_their_own_pages_and_no_others(site: Site, who: str, open_to_them: set[str]) -> None:
    watch, _organiser = watched(site, RATING)
    browser = watch.visitors[who]
    for template in _get_routes(site):
        if not template.startswith("/studies/{study_id}"):
            continue
        reply = browser.get(re.sub(r"\{number(:int)?\}", "1", template.replace("{study_id}", watch.study)))
        turned_away = "/sign-in" in reply.url
        ending = template.removeprefix("/studies/{study_id}")
        assert turned_away == (ending not in open_to_them), f"{who} {template}: {reply.status} {reply.url}"
    assert "/sign-in" in browser.get("/").url
    assert "/sign-in" in browser.get("/tables").url
    for form in ("seal", "open", "close", "reveal", "links", "plan", "draft", "print/fill-sheet.pdf"):
        refused = browser.post(f"/studies/{watch.study}/{form}", {"passphrase": PASSPHRASE})
        assert refused.status == 403, form
