"""Who may come in: every address refuses whoever may not, every forged sign-in, every foreign form."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import TYPE_CHECKING
from urllib.parse import urljoin, urlsplit

import anyio
import pytest
from itsdangerous import TimestampSigner, URLSafeTimedSerializer
from sqlmodel import select

from panel.store.access import set_password
from panel.store.rows import cups_of
from panel.store.sign_ins import SIGN_IN_DAYS, begin_sign_in, forget_old_sign_ins
from panel.store.studies import sitting_of
from panel.store.tables import Organiser, SignIn
from panel.store.tokens import Tokens
from panel.web.protection import HEADERS, Protection
from panel.web.slow_down import TRIES
from tests.web.a_house import (
    HERE,
    NAME,
    PASSPHRASE,
    PASSWORD,
    Furnished,
    app_in,
    cheaper,
    first_start,
    furnished,
    routes_of,
    sealed_study,
    visit,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fastapi import FastAPI
    from httpx2 import Response
    from starlette.testclient import TestClient

# Addresses that are open without a sign-in: each checks by itself (a password, a code, a token, a cookie of its own).
OPEN = (
    "/sign-in", "/sign-out", "/first-start", "/in/", "/j/", "/J/", "/p/", "/P/", "/c/", "/C/", "/t/", "/{way}/",
)  # fmt: skip
OPEN_PAGES = ("/go", "/p", "/P")  # where a code is typed
# What kitchen, analyst and bench may use of their own study; everything else is the organiser's. By invariant: the
# kitchen sees pour letters, the analyst the report by blind label, the bench products by name and no letter.
MAY = {
    "kitchen": {
        "kitchen",
        "kitchen/poured",
        "print/pour-sheet.pdf",
        "print/tray-maps.pdf",
        "print/serving-sheet.pdf",
    },
    "analyst": {
        "report",
        "report.pdf",
        "report.html",
        "report/running.css",
        "exclusions",
        "statements",
        "sign",
        "verdict",
        "verdict.csv",
        "verdict-table.html",
    },
    "bench": {
        "bench",
        "bench/units",
        "bench/measure/{key}",
        "bench/measure/{key}/beside",
        "bench/entries/{entry}",
        "bench/entries/{entry}/judge",
        "bench/entries/{entry}/photo",
        "bench/photos/{photo_id}",
        "bench/table.csv",
        "bench/stopwatch",
        "bench/instruments",
        "bench/instruments/{instrument_id}/put-away",
    },
}
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Furnished]:
    with pytest.MonkeyPatch.context() as patch:
        cheaper(patch)
        made = furnished(tmp_path_factory.mktemp("house"))
        yield made
        made.app.state.house.database.close()


@pytest.fixture
def fresh(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastAPI]:
    cheaper(monkeypatch)
    app = app_in(tmp_path)
    yield app
    app.state.house.database.close()


def guarded(house: Furnished) -> list[tuple[str, str]]:
    """Every route that asks for a sign-in."""
    return [
        (method, path)
        for method, path in routes_of(house.app)
        if not path.startswith(OPEN) and path not in OPEN_PAGES
    ]


def refuses(answer: Response) -> bool:
    """Whether the answer sends one to sign in, or says that one is not signed in."""
    if answer.status_code == 303:
        return str(answer.headers["location"]).startswith("/sign-in?to=")
    return answer.status_code == 403 and "Sign in first" in answer.text


def own(path: str) -> str:
    """The part of a study's address after its id."""
    return path.removeprefix("/studies/{study_id}").lstrip("/") if "{study_id}" in path else "-"


# ---- every route, as nobody and as somebody else


def test_the_walk_finds_the_routes(house: Furnished) -> None:
    found = routes_of(house.app)
    assert len(guarded(house)) > 25
    assert {("GET", "/"), ("POST", "/studies/{study_id}/seal"), ("GET", "/t/{attempt_id}")} <= set(found)


def test_every_route_refuses_a_stranger(house: Furnished) -> None:
    stranger = visit(house.app)
    let_in = [
        (method, path)
        for method, path in guarded(house)
        if not refuses(stranger.request(method, house.path(path)))
    ]
    assert let_in == []


def test_no_method_whatever_lets_a_stranger_in(house: Furnished) -> None:
    stranger = visit(house.app)
    for path in sorted({path for _, path in guarded(house)}):
        for method in METHODS:
            answer = stranger.request(method, house.path(path))
            assert answer.status_code in (303, 403, 405), f"{method} {path} answers {answer.status_code}"


@pytest.mark.parametrize("role", sorted(MAY))
def test_every_route_that_is_not_theirs_refuses_kitchen_analyst_and_bench(
    house: Furnished, role: str
) -> None:
    browser = house.signed_in(role)
    for method, path in guarded(house):
        if own(path) not in MAY[role]:
            answer = browser.request(method, house.path(path))
            assert refuses(answer), (
                f"{method} {path} lets the {role} in; if that is meant, add it to MAY in this test"
            )


@pytest.mark.parametrize("role", sorted(MAY))
def test_what_is_theirs_is_open_to_kitchen_analyst_and_bench(house: Furnished, role: str) -> None:
    browser = house.signed_in(role)
    theirs = [(method, path) for method, path in guarded(house) if own(path) in MAY[role]]
    assert {own(path) for _, path in theirs} == MAY[role]
    assert not any(refuses(browser.request(method, house.path(path))) for method, path in theirs)


@pytest.mark.parametrize("role", sorted(MAY))
def test_a_link_opens_its_own_study_only(house: Furnished, role: str) -> None:
    browser = house.signed_in(role)
    for method, path in guarded(house):
        if "{study_id}" in path:
            assert refuses(browser.request(method, house.path(path, house.other_study))), f"{method} {path}"


def test_a_study_that_does_not_exist_is_not_found_and_not_told_from_others_without_sign_in(
    house: Furnished,
) -> None:
    assert house.organiser.get("/studies/none/log").status_code == 404
    assert refuses(visit(house.app).get("/studies/none/log"))


def test_a_link_that_was_replaced_ends_at_once(house: Furnished) -> None:
    study = sealed_study(house.organiser)
    made = house.organiser.post(f"/studies/{study}/links", data={"role": "kitchen"}).text
    link = "/in/" + made.split("/in/")[1].split("<")[0]
    browser = visit(house.app)
    assert browser.get(link).headers["location"] == f"/studies/{study}/kitchen"
    assert browser.get(f"/studies/{study}/kitchen").status_code == 200
    house.organiser.post(f"/studies/{study}/links", data={"role": "kitchen"})
    assert refuses(browser.get(f"/studies/{study}/kitchen"))
    assert visit(house.app).get(link).status_code == 404


def test_a_link_leaves_the_address_bar(house: Furnished) -> None:
    answer = visit(house.app).get(house.links["analyst"])
    assert (answer.status_code, answer.headers["location"]) == (303, f"/studies/{house.study}/report")
    assert house.links["analyst"].removeprefix("/in/") not in str(answer.headers)


# ---- cookies


def with_cookies(house: Furnished, **cookies: str) -> TestClient:
    browser = visit(house.app)
    for name, value in cookies.items():
        browser.cookies.set(f"panel-{name}", value)
    return browser


def cookie_of(browser: TestClient, role: str) -> str:
    return browser.cookies[f"panel-{role}"].strip('"')


def signed_as(key: str, held: dict[str, str], salt: str = "sign-in", age_days: float = 0) -> str:
    """A cookie made outside of the application."""

    class Earlier(TimestampSigner):
        def get_timestamp(self) -> int:
            return int(time.time() - age_days * 86400)

    return URLSafeTimedSerializer(key, salt=salt, signer=Earlier).dumps(held)


def test_a_sign_in_cookie_is_out_of_reach_for_scripts_and_other_sites(fresh: FastAPI) -> None:
    sent = {"code": fresh.state.house.tokens.first_start_code(), "name": NAME, "password": PASSWORD}
    cookie = visit(fresh).post("/first-start", data=sent).headers["set-cookie"].lower()
    assert all(part in cookie for part in ("panel-organiser=", "httponly", "samesite=lax", "path=/"))


def test_an_honest_copy_of_a_cookie_lets_in(house: Furnished) -> None:
    """The bait of the tests below: without it, refusing every cookie would pass them."""
    assert with_cookies(house, organiser=cookie_of(house.organiser, "organiser")).get("/").status_code == 200
    held = {"role": "kitchen", "id": "x"}
    key = house.app.state.house.tokens.cookie_key()
    forged = URLSafeTimedSerializer(key, salt="sign-in").loads(signed_as(key, held))
    assert forged == held


@pytest.mark.parametrize("theirs", ["kitchen", "analyst", "bench"])
@pytest.mark.parametrize("taken_for", ["organiser", "kitchen", "analyst", "bench"])
def test_a_cookie_put_under_another_roles_name_is_refused(
    house: Furnished, theirs: str, taken_for: str
) -> None:
    value = cookie_of(house.signed_in(theirs), theirs)
    browser = with_cookies(house, **{taken_for: value})
    pages = {
        "organiser": "/",
        "kitchen": f"/studies/{house.study}/kitchen",
        "analyst": f"/studies/{house.study}/report",
        "bench": f"/studies/{house.study}/bench",
    }
    assert refuses(browser.get(pages[taken_for])) is (theirs != taken_for)


def test_a_changed_cookie_is_refused_wherever_it_was_changed(house: Furnished) -> None:
    honest = cookie_of(house.organiser, "organiser")
    for at in range(0, len(honest) - 1, 3):  # the last character may carry unused bits
        letter = "A" if honest[at] != "A" else "B"
        changed = honest[:at] + letter + honest[at + 1 :]
        assert refuses(with_cookies(house, organiser=changed).get("/")), f"changed at {at}"


@pytest.mark.parametrize("value", ["", "x", "a.b.c", "....", "e30.AAAA.AAAA", "%00", "A" * 4000])
def test_rubbish_in_a_cookie_is_refused(house: Furnished, value: str) -> None:
    assert refuses(with_cookies(house, organiser=value).get("/"))


def test_a_cookie_that_is_forged_expired_or_out_of_date_is_refused(house: Furnished) -> None:
    other = Tokens(b"k" * 32).cookie_key()
    held = URLSafeTimedSerializer(
        "", salt=""
    ).load_payload  # a payload can be read by anybody; only the key counts
    assert callable(held)
    with house.app.state.house.database.write() as session:
        good = {"role": "organiser", "id": begin_sign_in(session, session.exec(select(Organiser)).one())}
    key = house.app.state.house.tokens.cookie_key()
    assert with_cookies(house, organiser=signed_as(key, good)).get("/").status_code == 200
    assert refuses(with_cookies(house, organiser=signed_as(other, good)).get("/"))
    assert refuses(with_cookies(house, organiser=signed_as(key, good, salt="taster phone")).get("/"))
    assert refuses(with_cookies(house, organiser=signed_as(key, good, age_days=SIGN_IN_DAYS + 0.1)).get("/"))
    assert (
        with_cookies(house, organiser=signed_as(key, good, age_days=SIGN_IN_DAYS - 0.1)).get("/").is_success
    )
    for held in ({**good, "id": "none"}, {**good, "id": "0" * 26}, {**good, "role": "analyst"}):
        assert refuses(with_cookies(house, organiser=signed_as(key, held)).get("/")), held


@pytest.mark.parametrize("role", ["organiser", "kitchen", "analyst"])
def test_a_copy_of_a_cookie_is_worth_nothing_after_signing_out(house: Furnished, role: str) -> None:
    browser = house.signed_in(role)
    pages = {"organiser": "/", "kitchen": f"/studies/{house.study}/kitchen"}
    at = pages.get(role, f"/studies/{house.study}/report")
    thief = with_cookies(house, **{role: cookie_of(browser, role)})
    assert not refuses(thief.get(at)), "bait: the copy lets in"
    browser.post("/sign-out")
    assert refuses(browser.get(at))
    assert refuses(thief.get(at))
    assert thief.post("/sign-out").status_code == 303, "signing out twice does no harm"


def test_signing_out_on_one_device_leaves_the_others_alone(house: Furnished) -> None:
    one, other = house.signed_in("organiser"), house.signed_in("organiser")
    one.post("/sign-out")
    assert refuses(one.get("/"))
    assert other.get("/").status_code == 200


def test_an_organiser_can_sign_out_everywhere_else(fresh: FastAPI) -> None:
    here = first_start(fresh)
    there = visit(fresh)
    assert "In this browser only" in here.get("/organisers").text
    there.post("/sign-in", data={"name": NAME, "password": PASSWORD})
    assert "In 2 browsers" in here.get("/organisers").text
    assert here.post("/organisers/devices").status_code == 303
    assert here.get("/organisers").status_code == 200
    assert refuses(there.get("/"))


def test_a_sign_in_that_grew_too_old_is_refused_and_forgotten(fresh: FastAPI) -> None:
    browser, database = first_start(fresh), fresh.state.house.database
    with database.write() as session:
        begun = session.exec(select(SignIn)).one()
        begun.begun_at -= timedelta(days=SIGN_IN_DAYS + 1)
        session.add(begun)
    assert refuses(browser.get("/"))
    with database.write() as session:
        forget_old_sign_ins(session)
    with database.read() as session:
        assert session.exec(select(SignIn)).all() == []


def test_changing_ones_password_ends_copies_of_the_cookie_too(fresh: FastAPI) -> None:
    browser, thief = first_start(fresh), visit(fresh)
    thief.cookies.set("panel-organiser", cookie_of(browser, "organiser"))
    assert thief.get("/").status_code == 200
    browser.post("/organisers/password", data={"old": PASSWORD, "new": "another seven grains"})
    assert browser.get("/").status_code == 200
    assert refuses(thief.get("/"))


def test_a_new_password_ends_every_sign_in(fresh: FastAPI) -> None:
    browser = first_start(fresh)
    with fresh.state.house.database.write() as session:
        set_password(session, NAME, "another seven grains")
    assert refuses(browser.get("/"))
    assert visit(fresh).post("/sign-in", data={"name": NAME, "password": PASSWORD}).status_code == 422
    assert (
        browser.post("/sign-in", data={"name": NAME, "password": "another seven grains"}).status_code == 303
    )
    assert browser.get("/").status_code == 200


# ---- signing in


def test_the_first_start_needs_the_code_of_the_terminal(fresh: FastAPI) -> None:
    browser = visit(fresh)
    assert browser.get("/sign-in").headers["location"] == "/first-start"
    for code in ("", "AAAAAAAAAAAA"):
        answer = browser.post("/first-start", data={"code": code, "name": NAME, "password": PASSWORD})
        assert (answer.status_code, "the code that the terminal shows" in answer.text) == (422, True)
        assert f'value="{NAME}"' in answer.text
    assert refuses(browser.get("/"))
    first_start(fresh)


@pytest.mark.parametrize(
    ("name", "password", "words"),
    [("", PASSWORD, "Write your name"), (NAME, "short", "at least 10 characters")],
)
def test_the_first_organiser_needs_a_name_and_a_password_that_holds(
    fresh: FastAPI, name: str, password: str, words: str
) -> None:
    sent = {"code": fresh.state.house.tokens.first_start_code(), "name": name, "password": password}
    answer = visit(fresh).post("/first-start", data=sent)
    assert (answer.status_code, words in answer.text, password in answer.text) == (422, True, not password)


def test_the_first_start_happens_once(fresh: FastAPI) -> None:
    first_start(fresh)
    code = fresh.state.house.tokens.first_start_code()
    again = visit(fresh).post("/first-start", data={"code": code, "name": "Mallory", "password": PASSWORD})
    assert again.headers["location"] == "/sign-in"
    assert "set-cookie" not in again.headers
    assert visit(fresh).post("/sign-in", data={"name": "Mallory", "password": PASSWORD}).status_code == 422


def test_a_wrong_name_and_a_wrong_password_are_answered_alike(house: Furnished) -> None:
    browser = visit(house.app, "10.0.0.1")
    wrong = browser.post("/sign-in", data={"name": NAME, "password": "x" * 12})
    unknown = browser.post("/sign-in", data={"name": "Nobody", "password": "x" * 12})
    assert wrong.status_code == unknown.status_code == 422
    assert wrong.text.replace(NAME, "") == unknown.text.replace("Nobody", "")
    assert "x" * 12 not in wrong.text


def test_a_thousand_wrong_passwords_get_no_more_than_a_few_tries(fresh: FastAPI) -> None:
    first_start(fresh)
    guesser = visit(fresh, "10.0.0.66")
    answers = [
        guesser.post("/sign-in", data={"name": NAME, "password": f"guess number {number}"}).status_code
        for number in range(1000)
    ]
    assert answers == [422] * TRIES + [429] * (1000 - TRIES)
    right = {"name": NAME, "password": PASSWORD}
    slowed = guesser.post("/sign-in", data=right)
    assert (slowed.status_code, "Wait five minutes" in slowed.text) == (429, True)
    assert visit(fresh, "10.0.0.7").post("/sign-in", data=right).status_code == 303


def test_guesses_at_the_first_start_code_are_slowed_down(fresh: FastAPI) -> None:
    browser = visit(fresh)
    for _ in range(TRIES):
        browser.post("/first-start", data={"code": "AAAAAAAAAAAA", "name": NAME, "password": PASSWORD})
    code = fresh.state.house.tokens.first_start_code()
    late = browser.post("/first-start", data={"code": code, "name": NAME, "password": PASSWORD})
    assert (late.status_code, "Wait five minutes" in late.text) == (422, True)


def test_guesses_at_a_passphrase_are_slowed_down(house: Furnished) -> None:
    guesser = with_cookies(house, organiser=cookie_of(house.organiser, "organiser"))
    at = f"/studies/{house.study}/print/fill-sheet.pdf"
    answers = [
        guesser.post(at, data={"passphrase": f"guess {number}"}).status_code for number in range(TRIES + 5)
    ]
    assert answers == [422] * TRIES + [429] * 5
    slowed = guesser.post(at, data={"passphrase": PASSPHRASE})
    assert (slowed.status_code, b"Quxlavorimba" in slowed.content) == (429, False)


ELSEWHERE = [
    "https://evil.example/", "//evil.example", "///evil.example", "/\\evil.example", "\\\\evil.example",
    "/\t/evil.example", "/\n/evil.example", "\t//evil.example", "javascript:alert(1)", "http:evil.example",
    "/studies\r\nSet-Cookie: a=b", "evil.example", "",
]  # fmt: skip


@pytest.mark.parametrize("to", ELSEWHERE)
def test_signing_in_never_leads_to_another_site(house: Furnished, to: str) -> None:
    answer = visit(house.app, to).post("/sign-in", data={"name": NAME, "password": PASSWORD, "to": to})
    assert answer.status_code == 303
    assert "set-cookie: a=b" not in str(answer.headers).lower()
    location = answer.headers["location"].translate({9: None, 10: None, 13: None}).replace("\\", "/")
    assert urlsplit(urljoin(f"{HERE}/sign-in", location))[:2] == ("http", "testserver")


def test_signing_in_leads_to_where_one_wanted_to_go(house: Furnished) -> None:
    wanted = visit(house.app).get(f"/studies/{house.study}/log").headers["location"]
    assert wanted == f"/sign-in?to=/studies/{house.study}/log"
    sent = {"name": NAME, "password": PASSWORD, "to": f"/studies/{house.study}/log"}
    assert visit(house.app, "10.0.0.3").post("/sign-in", data=sent).headers["location"] == sent["to"]


# ---- tasters' tokens


def test_a_join_code_cannot_be_guessed_forged_or_taken_from_a_cup(house: Furnished) -> None:
    tokens: Tokens = house.app.state.house.tokens
    with house.app.state.house.database.read() as session:
        sitting = sitting_of(session, house.study)
        cup = cups_of(session, house.study)[0].token
    honest = tokens.sitting(sitting.id, sitting.token_revision)
    phone = visit(house.app)
    assert phone.get(f"/J/{honest}").status_code == 409  # known, and not open yet
    forged = [
        Tokens(b"k" * 32).sitting(sitting.id, 1), tokens.sitting(sitting.id, 2), tokens.sitting("other", 1),
        honest[:-1], honest + "A", honest[::-1], cup, sitting.id, "A" * 26,
    ]  # fmt: skip
    for token in forged:
        for answer in (phone.get(f"/J/{token}"), phone.post(f"/J/{token}", data={"name": ""})):
            assert (answer.status_code, "not known" in answer.text) == (404, True), token


def test_one_tasters_cookie_does_not_open_anothers_ballot(house: Furnished) -> None:
    study = sealed_study(house.organiser)
    house.organiser.post(f"/studies/{study}/open")
    tokens: Tokens = house.app.state.house.tokens
    with house.app.state.house.database.read() as session:
        sitting = sitting_of(session, study)
    at = f"/J/{tokens.sitting(sitting.id, sitting.token_revision)}"
    phones = [visit(house.app), visit(house.app)]
    ballots = [phone.post(at, data={}).headers["location"] for phone in phones]
    assert [phone.get(ballot).status_code for phone, ballot in zip(phones, ballots, strict=True)] == [
        200,
        200,
    ]
    mine, theirs = (ballot.rpartition("/")[2] for ballot in ballots)
    for value in ("", "A" * 52, tokens.attempt(mine), Tokens(b"k" * 32).attempt(theirs)):
        phones[0].cookies.set(f"taster-{theirs}", value)
        for answer in (
            phones[0].get(ballots[1]),
            phones[0].post(f"{ballots[1]}/1", data={"q1": "9"}),
            phones[0].post(f"{ballots[1]}/leave"),
        ):
            assert (answer.status_code, "somebody else" in answer.text) == (403, True), value


# ---- forms from elsewhere, and too much of them


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        "http://testserver.evil.example",
        "http://testserver:81",
        "http://[::1",
        "",
    ],
)
def test_a_form_of_another_site_changes_nothing(house: Furnished, origin: str) -> None:
    before = house.organiser.get(f"/studies/{house.study}/log").text
    answer = house.organiser.post(f"/studies/{house.study}/open", headers={"Origin": origin})
    assert (answer.status_code, "another address" in answer.text) == (403, True)
    assert house.organiser.get(f"/studies/{house.study}/log").text == before


@pytest.mark.parametrize("headers", [{}, {"Origin": HERE}], ids=["without Origin", "with our own"])
def test_our_own_form_is_taken(house: Furnished, headers: dict[str, str]) -> None:
    assert house.organiser.post("/studies", data={"method": "rating"}, headers=headers).status_code == 303


def test_what_is_larger_than_the_limit_is_refused_and_nothing_is_stored(house: Furnished) -> None:
    before = house.organiser.get("/tables").text
    answer = house.organiser.post("/tables", files={"file": ("big.csv", b"x" * 1_000_001)})
    assert (answer.status_code, "larger than 1 MB" in answer.text) == (413, True)
    assert house.organiser.get("/tables").text == before


def test_a_stranger_cannot_send_much_either(house: Furnished) -> None:
    assert visit(house.app).post("/sign-in", content=b"x" * 1_000_001).status_code == 413


def test_what_comes_without_its_length_is_refused(house: Furnished) -> None:
    answer = house.organiser.post("/tables", content=iter([b"x" * 1000]))
    assert (answer.status_code, "length" in answer.text) == (411, True)


@pytest.mark.parametrize("length", [b"\xb2", b"-1", b"ten", b"", b"1e3", b"9" * 30])
def test_a_length_that_is_no_number_is_refused(length: bytes) -> None:
    sent: list[dict[str, object]] = []

    async def never(*_: object) -> None:
        raise AssertionError("the application was reached")

    async def send(message: dict[str, object]) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [(b"content-length", length)]}
    # In a thread of its own: where browser tests share the process, this one may run a loop already.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(anyio.run, Protection(never, 1000), scope, None, send).result()
    assert sent[0]["status"] == 413


# ---- headers


def test_every_answer_carries_the_guarding_headers(house: Furnished) -> None:
    stranger, organiser = visit(house.app), house.organiser
    answers = [
        (200, stranger.get("/sign-in")),
        (200, stranger.get("/static/panel.css")),
        (303, stranger.get("/")),
        (404, stranger.get("/nowhere")),
        (404, stranger.get("/static/%2e%2e/settings.py")),
        (405, stranger.get("/sign-out")),
        (403, stranger.post("/studies")),
        (403, stranger.post("/studies", headers={"Origin": "http://evil.example"})),
        (413, stranger.post("/sign-in", content=b"x" * 1_000_001)),
        (409, organiser.get(f"/studies/{house.study}/draft")),
        (200, organiser.get(f"/studies/{house.study}/export")),
        (200, organiser.get(f"/studies/{house.study}/print/labels.pdf")),
    ]
    for status, answer in answers:
        assert answer.status_code == status, answer.url
        assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS, answer.url


def test_the_policy_allows_no_inline_script_and_no_other_site() -> None:
    """Content Security Policy Level 3 (W3C), directives script-src, frame-ancestors, base-uri and form-action."""
    policy = dict(part.strip().split(" ", 1) for part in HEADERS["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["script-src"] == policy["form-action"] == policy["style-src"] == "'self'"
    assert not any(word in str(policy) for word in ("unsafe", "*", "http"))


def test_pages_are_not_kept_by_browsers_or_between(house: Furnished) -> None:
    for path in (
        "/",
        f"/studies/{house.study}",
        f"/studies/{house.study}/log",
        f"/studies/{house.study}/export",
    ):
        assert house.organiser.get(path).headers["cache-control"] == "no-store", path
