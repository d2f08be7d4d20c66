"""Passwords, links, cookies and tokens that are wrong, forged, swapped, replayed or out of date; and the log."""

from __future__ import annotations

import re
import secrets
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from typing import TYPE_CHECKING

import pytest
from itsdangerous import URLSafeTimedSerializer

from panel.store.tokens import Tokens
from panel.study import seal
from tests.web.desk import NAME, PASSWORD, PHRASE, Desk, words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from starlette.testclient import TestClient


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path)
    made.draft()
    yield made
    made.close()


def is_in(client: TestClient, desk: Desk) -> bool:
    return "/sign-in" not in str(client.get(desk.at).url)


def test_of_a_thousand_wrong_passwords_twenty_are_looked_at_and_none_gets_in(desk: Desk) -> None:
    guesser = desk.client()
    found = [
        guesser.post("/sign-in", data={"name": NAME, "password": f"guess number {n}"}).status_code
        for n in range(1000)
    ]
    assert found == [422] * 20 + [429] * 980
    right = guesser.post("/sign-in", data={"name": NAME, "password": PASSWORD})
    assert right.status_code == 429, "the right one has to wait as well: no answer tells it from the others"
    assert not is_in(guesser, desk)
    assert is_in(desk.ada, desk), "whoever is signed in goes on working"


def test_guesses_at_a_passphrase_are_slowed_down_over_all_its_forms(desk: Desk) -> None:
    desk.seal()
    forms = ("/print/fill-sheet.pdf", "/unblind", "/print/recovery-sheet.pdf")
    fields = {"passphrase": "a wrong phrase", "place": "1", "code": "000", "why": "w", "recovery_code": "x"}
    found = [desk.ada.post(f"{desk.at}{forms[n % 3]}", data=fields).status_code for n in range(60)]
    assert found == [422] * 20 + [429] * 40


@pytest.mark.parametrize("role", ["organiser", "kitchen", "analyst"], ids=str)
def test_a_cookie_signed_by_another_key_lets_nobody_in(desk: Desk, role: str) -> None:
    desk.seal()
    forger = desk.client()
    other = URLSafeTimedSerializer(Tokens(secrets.token_bytes(32)).cookie_key(), salt="sign-in")
    forger.cookies.set(f"panel-{role}", str(other.dumps({"role": role, "id": "x"})))
    for path in ("", "/kitchen", "/report", "/log"):
        assert "/sign-in" in str(forger.get(f"{desk.at}{path}").url), path


def test_a_true_cookie_under_another_roles_name_lets_nobody_in(desk: Desk) -> None:
    desk.seal()
    kitchen, swapped = desk.client(), desk.client()
    kitchen.get(desk.link("kitchen"))
    for role in ("organiser", "analyst"):
        swapped.cookies.set(f"panel-{role}", kitchen.cookies["panel-kitchen"])
    assert not is_in(swapped, desk)
    assert "/sign-in" in str(swapped.get(f"{desk.at}/report").url)


def test_one_studys_link_opens_no_other_study(desk: Desk) -> None:
    desk.seal()
    kitchen = desk.client()
    kitchen.get(desk.link("kitchen"))
    first = desk.at
    desk.draft()
    desk.seal()
    assert kitchen.get(f"{first}/kitchen").status_code == 200
    assert "/sign-in" in str(kitchen.get(f"{desk.at}/kitchen").url)


def test_a_new_link_ends_the_one_before_and_whoever_came_in_by_it(desk: Desk) -> None:
    desk.seal()
    old, early = desk.link("kitchen"), desk.client()
    early.get(old)
    new = desk.link("kitchen")
    assert "/sign-in" in str(early.get(f"{desk.at}/kitchen").url)
    assert desk.client().get(old).status_code == 404
    assert desk.client().get(new).status_code == 200


def test_links_and_passwords_are_kept_as_hashes_only(desk: Desk, tmp_path: Path) -> None:
    desk.seal()
    token = desk.link("analyst").rsplit("/", 1)[1]
    held = b"".join(file.read_bytes() for file in tmp_path.rglob("*") if file.is_file())
    for secret in (token, PASSWORD, PHRASE):
        assert secret.encode() not in held


def test_a_tasters_cookie_opens_their_ballot_and_nobody_elses(desk: Desk) -> None:
    desk.seal()
    desk.open()
    one, other = desk.join(), desk.join()
    theirs = str(other.ballot.url)  # type: ignore[attr-defined]
    assert other.get(theirs).status_code == 200
    assert one.get(theirs).status_code == 403
    thief = desk.client()
    name = next(name for name in one.cookies if "t" in name)
    thief.cookies.set(name, f"{one.cookies[name][:-4]}AAAA")
    assert thief.get(str(one.ballot.url)).status_code == 403  # type: ignore[attr-defined]


def test_a_cookie_leaves_the_address_bar_and_is_out_of_reach_of_scripts(desk: Desk) -> None:
    desk.seal()
    come = desk.client().get(desk.link("kitchen"), follow_redirects=False)
    assert (come.status_code, come.headers["location"]) == (303, f"{desk.at}/kitchen")
    cookie = come.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie


@pytest.mark.parametrize(
    "path", ["/in/{}", "/J/{}", "/C/{}", "/P/{}", "/t/{}"], ids=["link", "join", "cup", "place", "ballot"]
)
@pytest.mark.parametrize(
    "token", ["A" * 26, "%00", "..%2f..%2fetc", "ä" * 9, "A" * 5000, "' or 1=1 --"],
    ids=["made up", "nul", "path", "letters", "long", "sql"],
)  # fmt: skip
def test_a_made_up_token_opens_nothing_and_breaks_nothing(desk: Desk, path: str, token: str) -> None:
    reply = desk.client().get(path.format(token))
    assert reply.status_code in (403, 404)
    assert "Traceback" not in words(reply)


def test_a_form_from_another_site_changes_nothing(desk: Desk) -> None:
    refused = desk.ada.post(f"{desk.at}/delete", headers={"Origin": "http://elsewhere.example"})
    assert refused.status_code == 403
    assert desk.row().deleted_at is None


def test_the_served_program_writes_no_token_into_its_output(tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "panel", "serve", "--data", str(tmp_path), "--port", str(port)]
    server = subprocess.Popen(
        [*command, "--host", "127.0.0.1"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    tokens = [secrets.token_hex(13) for _ in range(4)]
    try:
        for kind, token in zip(("in", "J", "C", "t"), tokens, strict=True):
            assert asked(f"http://127.0.0.1:{port}/{kind}/{token}") in (403, 404)
    finally:
        server.terminate()
        said, _ = server.communicate(timeout=30)
    assert "Tasting panel" in said, "its output was read"
    assert [token for token in tokens if re.search(token, said, re.IGNORECASE)] == []


def asked(address: str) -> int:
    """The status, as soon as the server listens."""
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    until = time.monotonic() + 60
    while True:
        try:
            with opener.open(address, timeout=10) as reply:
                return int(reply.status)
        except urllib.error.HTTPError as refusal:
            with refusal:
                return refusal.code
        except OSError:
            if time.monotonic() > until:
                raise
