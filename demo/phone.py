"""A phone, or an organiser's browser, as a script: the same addresses and forms, through the standard library alone."""

from __future__ import annotations

import json
import re
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass
from functools import partial
from html import unescape
from http.client import HTTPConnection
from http.cookiejar import CookieJar
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

PATIENCE_S = 30.0


class RefusedError(RuntimeError):
    """The server answered, but not with what the script needs."""


@dataclass(frozen=True, slots=True)
class Reply:
    """What came back: status, the address after redirects, headers and body."""

    status: int
    url: str
    headers: tuple[tuple[str, str], ...]
    body: bytes

    @property
    def text(self) -> str:
        """The body as text."""
        return self.body.decode("utf-8", "replace")


@dataclass(frozen=True, slots=True)
class Screen:
    """One screen of a ballot as a taster sees it: codes in serving order and how the cup is served."""

    action: str
    submission: str
    codes: tuple[str, ...]
    served: str


class Phone:
    """One browser with its own cookies. source : network address it comes from, "" for the machine's usual one."""

    def __init__(self, address: str, source: str = "") -> None:
        self.address = address.rstrip("/")
        self.cookies = CookieJar()
        keeping = urllib.request.HTTPCookieProcessor(self.cookies)
        self._opener = urllib.request.build_opener(
            urllib.request.ProxyHandler({}), keeping, _ComingFrom(source)
        )

    def get(self, path: str) -> Reply:
        """Open a page."""
        return self.send(path)

    def post(self, path: str, fields: Mapping[str, str], accept: str = "text/html") -> Reply:
        """Send a form; redirects are followed."""
        return self.send(path, urllib.parse.urlencode(fields).encode("ascii"), {"Accept": accept})

    def send(self, path: str, body: bytes | None = None, headers: Mapping[str, str] | None = None) -> Reply:
        """Any request; a POST where there is a body. What the server refuses is a reply like any other."""
        request = urllib.request.Request(self.address + path, body, dict(headers or {}))
        try:
            with self._opener.open(request, timeout=PATIENCE_S) as response:
                return _reply(response.status, response)
        except urllib.error.HTTPError as refusal:
            with refusal:
                return _reply(refusal.code, refusal)


class _ComingFrom(urllib.request.HTTPHandler):
    """Connects from an address of its own, as phones in one room do."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self._source = (source, 0) if source else None

    def http_open(self, req: urllib.request.Request) -> Any:
        return self.do_open(partial(HTTPConnection, source_address=self._source), req)


def _reply(status: int, response: Any) -> Reply:
    return Reply(status, response.geturl(), tuple(response.headers.items()), response.read())


class Taster:
    """Somebody with a phone: joins by the code on the poster and answers screen after screen."""

    def __init__(self, address: str, join_path: str, name: str = "", source: str = "") -> None:
        self.phone = Phone(address, source)
        notice = self.phone.get(join_path)
        fields = hidden_fields(notice.text)
        if "consent" not in fields:
            raise RefusedError(f"{join_path} shows no form of consent (status {notice.status})")
        page = self.phone.post(join_path, fields | {"name": name})
        self.screens = screens_in(page.text)
        if not self.screens:
            raise RefusedError(f"{join_path} dealt no ballot (status {page.status})")

    def answer(self, screen: Screen, fields: Mapping[str, str]) -> bool:
        """Send one screen's answers; whether the sitting is still open. RefusedError when they are not stored."""
        sent = {"submission": screen.submission, **fields}
        reply = self.phone.post(screen.action, sent, "application/json")
        said: dict[str, Any] = json.loads(reply.text) if reply.text.startswith("{") else {}
        if not said.get("saved"):
            raise RefusedError(f"{screen.action} did not store {dict(fields)} (status {reply.status})")
        return not said["closed"]


def hidden_fields(page: str) -> dict[str, str]:
    """Name and value of the hidden fields of a page."""
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page)
    return {name: unescape(value) for name, value in found}


def screens_in(page: str) -> list[Screen]:
    """The current screen and those that the page keeps for later, in order."""
    return [_screen(part) for part in re.findall(r"<article class=\"screen\".*?</article>", page, re.DOTALL)]


def _screen(part: str) -> Screen:
    action = re.search(r'<form method="post" action="([^"]+)"', part)
    if action is None:
        raise RefusedError("a screen without a form")
    served = re.search(
        r'<p class="how">[^<]*<strong[^>]*>([^<]*)</strong>|Taste these \w+, <bdi>([^<]*)<', part
    )
    codes = dict.fromkeys(re.findall(r'class="code">(\d{3})<', part))
    return Screen(
        unescape(action[1]),
        hidden_fields(part)["submission"],
        tuple(codes),
        unescape(served[1] or served[2]) if served else "",
    )
