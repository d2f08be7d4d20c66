"""What people see when something goes wrong: a sentence and a way on, never a trace, never what was typed."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

import pytest

from panel.web.protection import HEADERS
from tests.web.a_house import HERE, first_start, sealed_study, visit

if TYPE_CHECKING:
    from fastapi import FastAPI


@pytest.fixture
def broken(app: FastAPI) -> FastAPI:
    @app.get("/broken/{token}")
    def fail(token: str) -> None:
        raise RuntimeError("Quxlavorimba could not be read")

    return app


def test_a_failure_shows_a_sentence_and_no_trace(broken: FastAPI) -> None:
    answer = visit(broken, raise_server_exceptions=False).get("/broken/TOKEN77")
    assert answer.status_code == 500
    assert "Something went wrong here" in answer.text
    shown = answer.text + str(answer.headers)
    assert not any(word in shown for word in ("Traceback", "RuntimeError", "Quxlavorimba", ".py", "TOKEN77"))


def test_a_failure_carries_the_guarding_headers_too(broken: FastAPI) -> None:
    answer = visit(broken, raise_server_exceptions=False).get("/broken/TOKEN77")
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS


def test_the_log_has_the_trace_and_no_token(broken: FastAPI, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR):
        visit(broken, raise_server_exceptions=False).get("/broken/TOKEN77")
    assert "unexpected failure at /broken/{token}" in caplog.text
    assert "RuntimeError" in caplog.text
    assert "TOKEN77" not in caplog.text


@pytest.mark.parametrize(
    ("method", "path", "status", "words"),
    [
        ("GET", "/nowhere", 404, "leads nowhere"),
        ("GET", "/tables/none", 404, "leads nowhere"),
        ("GET", "/studies/none", 404, "leads nowhere"),
        ("GET", "/in/none", 404, "leads nowhere"),
        ("GET", "/static/none.css", 404, "leads nowhere"),
        ("PUT", "/sign-in", 405, "cannot be used like that"),
        ("GET", "/sign-out", 405, "cannot be used like that"),
    ],
)
def test_what_is_not_there_is_said_in_a_sentence(
    app: FastAPI, method: str, path: str, status: int, words: str
) -> None:
    answer = first_start(app).request(method, path)
    assert (answer.status_code, words in answer.text) == (status, True)
    assert 'href="/"' in answer.text


def test_an_address_is_never_written_back_as_markup(app: FastAPI) -> None:
    answer = first_start(app).get("/<script>alert(1)</script>", params={"q": "<script>"})
    assert "<script>alert" not in answer.text


def test_a_move_out_of_turn_says_what_to_do_and_leads_back(app: FastAPI) -> None:
    browser = first_start(app)
    study = sealed_study(browser)
    before = f"{HERE}/studies/{study}"
    answer = browser.get(f"/studies/{study}/draft", headers={"Referer": before})
    assert (answer.status_code, "Copy the study" in answer.text) == (409, True)
    assert f'href="/studies/{study}"' in answer.text


@pytest.mark.parametrize(
    "referer", ["http://evil.example/", "javascript:alert(1)", f"{HERE}//evil.example", f"{HERE}.evil.example/", ""]
)  # fmt: skip
def test_the_way_back_never_leads_to_another_site(app: FastAPI, referer: str) -> None:
    browser = first_start(app)
    study = sealed_study(browser)
    shown = browser.get(f"/studies/{study}/draft", headers={"Referer": referer}).text
    assert not any(bad in shown for bad in ('href="http', 'href="//', 'href="javascript', 'href=""'))


def test_a_form_sent_without_sign_in_says_that_nothing_is_lost(app: FastAPI) -> None:
    first_start(app)
    answer = visit(app).post("/studies", data={"method": "rating"})
    assert (answer.status_code, "still on the page you came from" in answer.text) == (403, True)


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"\xff\xfe\x00rubbish", "application/x-www-form-urlencoded"),
        (b"--x\r\nnonsense", "multipart/form-data; boundary=x"),
        (b"no boundary", "multipart/form-data"),
        (b'{"title": 1}', "application/json"),
        (b"&" * 6000 + b"a=1&" * 6000, "application/x-www-form-urlencoded"),
    ],
    ids=["bytes", "broken parts", "no boundary", "JSON", "thousands of fields"],
)
def test_rubbish_instead_of_a_form_breaks_nothing(app: FastAPI, content: bytes, kind: str) -> None:
    browser = first_start(app)
    for path in ("/studies", "/tables", "/sign-in"):
        answer = browser.post(path, content=content, headers={"Content-Type": kind})
        assert answer.status_code < 500, path
        assert "Traceback" not in answer.text
