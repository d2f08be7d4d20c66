"""The taster's pages over HTTP, without a script: joining, answering, closing, and what must never be seen."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient

from tests.web.sealed_sitting import (
    DASHI_PLACES,
    RATING,
    RATING_PLACES,
    TRIANGLE,
    TRIANGLE_PLACES,
    WITH_DASHI,
    SealedSitting,
    seal_sitting,
)
from tests.web.taster_app import opened, taster_app

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fastapi import FastAPI
    from httpx2 import Response

FIRST = {"q0": "7", "q1": "40", "q2": "1", "q3": "a bit dry"}
SECOND = {"q0": "3", "q1": "90", "q2": "0", "q3": ""}


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    made = taster_app(tmp_path)
    yield made
    made.state.house.database.close()


@pytest.fixture
def sitting(app: FastAPI) -> SealedSitting:
    return opened(app, RATING, RATING_PLACES)


@pytest.fixture
def triangle(app: FastAPI) -> SealedSitting:
    return opened(app, TRIANGLE, TRIANGLE_PLACES)


@pytest.fixture
def phone(app: FastAPI) -> TestClient:
    return TestClient(app, follow_redirects=False)


def consent_in(page: Response) -> str:
    found = re.search(r'name="consent" value="([0-9a-f]+)"', page.text)
    assert found, page.text
    return found[1]


def join(phone: TestClient, sitting: SealedSitting, name: str = "") -> str:
    page = phone.get(sitting.join_path, params={"another": "1"})
    sent = {"consent": consent_in(page), "name": name, "another": "yes"}
    taken = phone.post(sitting.join_path, data=sent)
    assert taken.status_code == 303, taken.text
    return str(taken.headers["location"])


def codes_on(page: Response) -> list[str]:
    shown = page.text.split("<template")[0]
    return re.findall(r'class="code">(\d{3})<', shown)


def test_the_notice_says_what_to_know_before_agreeing(phone: TestClient, sitting: SealedSitting) -> None:
    page = phone.get(sitting.join_path)
    assert page.status_code == 200
    for text in ("Rice tasting", "Fish", "Soybeans", "buckwheat", "can scald", "no reason", "What is kept"):
        assert text in page.text
    assert "Rice cookers, round one" not in page.text


def test_the_join_code_opens_in_lower_case_too(phone: TestClient, sitting: SealedSitting) -> None:
    assert phone.get(sitting.join_path.lower()).status_code == 200


def test_whoever_would_rather_not_leaves_no_trace(phone: TestClient, sitting: SealedSitting) -> None:
    page = phone.get(f"{sitting.join_path}/NO")
    assert (page.status_code, "nothing has been stored" in page.text) == (200, True)
    assert sitting.attempts() == []
    assert not phone.cookies


def test_a_whole_ballot_is_stored_as_it_was_sent(phone: TestClient, sitting: SealedSitting) -> None:
    ballot = join(phone, sitting, "Mo")
    assert codes_on(phone.get(ballot)) == ["417"]
    first = phone.post(f"{ballot}/1", data=FIRST)
    assert (first.status_code, first.headers["location"]) == (303, f"{ballot}/2")
    assert codes_on(phone.get(f"{ballot}/2")) == ["283"]
    last = phone.post(f"{ballot}/2", data=SECOND)
    assert (last.status_code, last.headers["location"]) == (303, ballot)
    thanks = phone.get(ballot)
    assert (thanks.status_code, "Thank you" in thanks.text) == (200, True)
    assert re.search(r"data-head>[0-9a-f]{16}<", thanks.text)
    assert sitting.values() == {
        (1, 1, "q0"): 7, (1, 1, "q1"): 40, (1, 1, "q2"): 1, (1, 1, "q3"): "a bit dry",
        (1, 2, "q0"): 3, (1, 2, "q1"): 90, (1, 2, "q2"): 0, (1, 2, "q3"): None,
    }  # fmt: skip
    assert [attempt.status for attempt in sitting.attempts()] == ["finished"]


def test_a_triangle_is_answered_by_place_in_the_set(phone: TestClient, triangle: SealedSitting) -> None:
    ballot = join(phone, triangle)
    page = phone.get(ballot)
    assert codes_on(page) == ["417", "283", "562"]
    assert "guess" in page.text
    assert "no difference" not in page.text.lower()
    phone.post(f"{ballot}/1", data={"choice": "2"})
    assert codes_on(phone.get(f"{ballot}/2")) == ["739", "846", "125"]
    phone.post(f"{ballot}/2", data={"choice": "3"})
    assert triangle.values() == {(1, 1, "choice"): "2", (1, 2, "choice"): "3"}


def test_the_addition_goes_into_the_same_cup_and_is_said_in_words(phone: TestClient, app: FastAPI) -> None:
    house = app.state.house
    sitting = seal_sitting(house.database, house.tokens, WITH_DASHI, DASHI_PLACES)
    sitting.open()
    ballot = join(phone, sitting)
    assert 'Served <strong dir="auto">plain</strong>' in phone.get(ballot).text
    phone.post(f"{ballot}/1", data=FIRST)
    page = phone.get(f"{ballot}/2")
    assert codes_on(page) == ["417"]
    assert 'taste again, then answer: <strong dir="auto">with dashi</strong>' in page.text
    same_cup = phone.get(f"/C/{sitting.cup_token('417')}")
    assert same_cup.headers["location"] == f"{ballot}/2"


@pytest.mark.parametrize("number", [1, 2, 7], ids=["answered", "current", "no such screen"])
def test_every_address_of_a_screen_leads_to_the_current_one(
    phone: TestClient, sitting: SealedSitting, number: int
) -> None:
    ballot = join(phone, sitting)
    phone.post(f"{ballot}/1", data=FIRST)
    page = phone.get(f"{ballot}/{number}", follow_redirects=True)
    assert (str(page.url.path), codes_on(page)) == (f"{ballot}/2", ["283"])


@pytest.mark.parametrize(
    ("sent", "message", "kept"),
    [
        ({}, "Choose how much you like it.", "<textarea"),
        (FIRST | {"q0": "10"}, "“10” is not one of the answers", "a bit dry"),
        (FIRST | {"q1": "100.1"}, "“100.1” is not on the line", "a bit dry"),
        (FIRST | {"q2": "maybe"}, "“maybe” is not one of the answers", 'value="7" checked'),
        (FIRST | {"q3": "x" * 501}, "Shorten this to 500 characters; it has 501.", 'value="40" checked'),
        ({"q0": "4", "q3": "<b>"}, "Tap the line where it fits.", "&lt;b&gt;"),
    ],
    ids=["empty", "score off its scale", "off the line", "not a choice", "too long", "one missing"],
)
def test_a_bad_form_comes_back_with_what_was_typed(
    phone: TestClient, sitting: SealedSitting, sent: dict[str, str], message: str, kept: str
) -> None:
    ballot = join(phone, sitting)
    page = phone.post(f"{ballot}/1", data=sent)
    assert page.status_code == 422
    assert "<title>Error: " in page.text
    assert "There is a problem" in page.text
    seen = re.sub(r' data-missing="[^"]*"', "", page.text)
    assert seen.count(message) == 2, "once in the summary, once at the field"
    assert kept in page.text.split("<template")[0]
    assert sitting.values() == {}


def test_the_same_send_twice_is_one_answer(phone: TestClient, sitting: SealedSitting) -> None:
    ballot = join(phone, sitting)
    sent = FIRST | {"submission": "3f1c0ffee0ddf00d"}
    replies = [
        phone.post(f"{ballot}/1", data=sent, headers={"Accept": "application/json"}).json() for _ in range(2)
    ]
    assert [(reply["saved"], reply["repeated"]) for reply in replies] == [(True, False), (True, True)]
    assert replies[0]["next"] == f"{ballot}/2"
    assert len(sitting.submissions()) == 1


def test_a_second_answer_to_one_screen_is_kept_aside(phone: TestClient, sitting: SealedSitting) -> None:
    ballot = join(phone, sitting)
    phone.post(f"{ballot}/1", data=FIRST)
    again = phone.post(f"{ballot}/1", data=FIRST | {"q0": "1"})
    assert (again.status_code, again.headers["location"]) == (303, f"{ballot}/2")
    assert [item.outcome for item in sitting.submissions()] == ["stored", "kept aside"]
    assert sitting.values()[1, 1, "q0"] == 7


def test_two_phones_may_use_one_submission_id(app: FastAPI, sitting: SealedSitting) -> None:
    for _ in range(2):
        phone = TestClient(app, follow_redirects=False)
        phone.post(f"{join(phone, sitting)}/1", data=FIRST | {"submission": "same-name-by-chance"})
    assert {key[0] for key in sitting.values()} == {1, 2}


def test_the_displayed_length_of_the_line_is_kept_with_the_send(
    phone: TestClient, sitting: SealedSitting
) -> None:
    ballot = join(phone, sitting)
    phone.post(f"{ballot}/1", data=FIRST | {"q1": "37.4", "q1-length": "301.5", "unasked": "x"})
    assert sitting.values()[1, 1, "q1"] == 37.4
    assert '"q1-length": "301.5"' in sitting.submissions()[0].sent
    assert "unasked" not in sitting.submissions()[0].sent


def test_a_script_is_told_what_is_wrong(phone: TestClient, sitting: SealedSitting) -> None:
    ballot = join(phone, sitting)
    reply = phone.post(f"{ballot}/1", data=FIRST | {"q0": ""}, headers={"Accept": "application/json"})
    assert reply.status_code == 422
    assert reply.json() == {
        "saved": False,
        "problems": [{"field": "q0", "text": "Choose how much you like it."}],
    }


def test_agreeing_twice_with_one_form_takes_one_place(phone: TestClient, sitting: SealedSitting) -> None:
    consent = consent_in(phone.get(sitting.join_path))
    cookieless = TestClient(phone.app, follow_redirects=False)  # the first reply never arrived
    first, second = (
        client.post(sitting.join_path, data={"consent": consent}) for client in (cookieless, phone)
    )
    assert first.headers["location"] == second.headers["location"]
    assert len(sitting.attempts()) == 1
    third = phone.post(sitting.join_path, data={"consent": consent})
    assert third.headers["location"] == sitting.join_path, "sent from the page before: ask who is tasting"
    assert len(sitting.attempts()) == 1


def test_a_phone_that_comes_back_may_go_on_or_be_handed_over(
    phone: TestClient, sitting: SealedSitting
) -> None:
    first = join(phone, sitting)
    page = phone.get(sitting.join_path)
    assert "Continue where you were" in page.text
    assert f'href="{first}"' in page.text
    second = join(phone, sitting)
    assert first != second
    phone.post(f"{first}/1", data=FIRST)
    phone.post(f"{second}/1", data=SECOND)
    assert sitting.values()[1, 1, "q0"] == 7
    assert sitting.values()[2, 1, "q0"] == 3
    both = phone.get(sitting.join_path).text
    assert (f'href="{first}"' in both, f'href="{second}"' in both) == (True, True)


def test_the_name_is_kept_only_where_one_is_asked_for(
    phone: TestClient, sitting: SealedSitting, triangle: SealedSitting
) -> None:
    join(phone, sitting, "  Mo\x00 ")
    join(phone, triangle, "Mo")
    with sitting.database.read() as session:
        from panel.store.rows import progress_of

        names = [
            [seat.name for seat in progress_of(session, item.study_id) if seat.name]
            for item in (sitting, triangle)
        ]
    assert names == [["Mo"], []]


def test_a_name_without_end_is_refused_in_words(phone: TestClient, sitting: SealedSitting) -> None:
    consent = consent_in(phone.get(sitting.join_path))
    page = phone.post(sitting.join_path, data={"consent": consent, "name": "M" * 121})
    assert page.status_code == 422
    assert "Shorten the name to 120 characters; it has 121." in page.text
    assert sitting.attempts() == []


def test_a_sitting_not_open_yet_says_so(app: FastAPI, phone: TestClient) -> None:
    house = app.state.house
    sealed = seal_sitting(house.database, house.tokens, RATING, RATING_PLACES)
    page = phone.get(sealed.join_path)
    assert (page.status_code, "not open yet" in page.text) == (409, True)


def test_a_full_sitting_says_so(phone: TestClient, triangle: SealedSitting) -> None:
    for _ in TRIANGLE_PLACES:
        join(phone, triangle)
    page = phone.get(triangle.join_path, params={"another": "1"})
    full = phone.post(triangle.join_path, data={"consent": consent_in(page), "another": "yes"})
    assert (full.status_code, "All places" in full.text) == (409, True)


@pytest.mark.parametrize("path", ["/J/WRONG", "/C/WRONG", "/t/wrong", "/t/wrong/1"])
def test_a_wrong_code_gets_a_page_in_plain_words(
    phone: TestClient, sitting: SealedSitting, path: str
) -> None:
    page = phone.get(path)
    assert (page.status_code, "<h1>" in page.text) == (404, True)


@pytest.mark.parametrize(
    "value", [None, "", "forged", "A" * 52, "é"], ids=["none", "empty", "word", "length", "é"]
)
def test_without_its_own_cookie_a_ballot_stays_shut(
    app: FastAPI, phone: TestClient, sitting: SealedSitting, value: str | None
) -> None:
    ballot = join(phone, sitting)
    cookie = {} if value is None else {"Cookie": f"taster-{ballot.split('/')[-1]}={value}".encode()}
    stranger = TestClient(app, follow_redirects=False)
    for reply in (
        stranger.get(ballot, headers=cookie),
        stranger.get(f"{ballot}/1", headers=cookie),
        stranger.post(f"{ballot}/1", data=FIRST, headers=cookie),
        stranger.post(f"{ballot}/leave", headers=cookie),
    ):
        assert (reply.status_code, "somebody else" in reply.text) == (403, True)
    assert sitting.values() == {}
    assert sitting.attempts()[0].status == "tasting"


def test_one_tasters_cookie_opens_no_other_ballot(app: FastAPI, sitting: SealedSitting) -> None:
    mine, other = (TestClient(app, follow_redirects=False) for _ in range(2))
    join(mine, sitting)
    theirs = join(other, sitting)
    held = next(cookie.value for cookie in mine.cookies.jar if cookie.path != "/")
    forged = {"Cookie": f"taster-{theirs.split('/')[-1]}={held}"}
    assert mine.get(theirs, headers=forged).status_code == 403


def test_answers_after_closing_are_stored_as_late_and_no_form_opens(
    phone: TestClient, sitting: SealedSitting
) -> None:
    ballot = join(phone, sitting)
    phone.post(f"{ballot}/1", data=FIRST)
    sitting.close()
    late = phone.post(f"{ballot}/2", data=SECOND, headers={"Accept": "application/json"}).json()
    assert (late["saved"], late["late"], late["closed"]) == (True, True, True)
    assert [row[4] for row in sitting.answers()] == [False] * 4 + [True] * 4
    assert phone.get(sitting.join_path).status_code == 410


def test_a_ballot_half_done_at_closing_says_what_arrived(phone: TestClient, sitting: SealedSitting) -> None:
    ballot = join(phone, sitting)
    phone.post(f"{ballot}/1", data=FIRST)
    sitting.close()
    page = phone.get(f"{ballot}/2")
    assert page.status_code == 410
    assert "1 of 2 screens have arrived" in page.text
    assert "283" not in page.text


def test_stepping_out_needs_no_reason(phone: TestClient, sitting: SealedSitting) -> None:
    ballot = join(phone, sitting)
    left = phone.post(f"{ballot}/leave")
    assert left.headers["location"] == ballot
    assert "You have stepped out" in phone.get(ballot).text
    assert sitting.attempts()[0].status == "stepped out"
    queued = phone.post(f"{ballot}/1", data=FIRST)
    assert queued.status_code == 303
    assert sitting.values()[1, 1, "q0"] == 7, "what was on its way is stored all the same"


def test_a_cups_code_leads_its_taster_to_its_screen(
    app: FastAPI, phone: TestClient, sitting: SealedSitting
) -> None:
    ballot = join(phone, sitting)
    own, later, strange = (f"/C/{sitting.cup_token(code)}" for code in ("417", "283", "562"))
    assert phone.get(own.lower()).headers["location"] == f"{ballot}/1"
    early = phone.get(later)
    assert (early.status_code, "Next on your ballot: 417" in early.text) == (409, True)
    wrong = phone.get(strange)
    assert (wrong.status_code, "This is not your cup" in wrong.text) == (403, True)
    assert TestClient(app).get(own).status_code == 403
    phone.post(f"{ballot}/1", data=FIRST)
    assert "answered for this cup already" in phone.get(own).text


def test_nothing_but_codes_tells_samples_apart(phone: TestClient, sitting: SealedSitting) -> None:
    """The bait: labels BLINDA and POURX, ids and tokens of samples, servings, batches and tasks stand in rows."""
    bait = {"BLINDA", "BLINDB", "POURX", "POURY", *sitting.secrets()}
    assert len(bait) > 20
    ballot = join(phone, sitting)
    replies = [
        phone.get(sitting.join_path),
        phone.get(ballot),
        phone.post(f"{ballot}/1", data={}),
        phone.post(f"{ballot}/1", data=FIRST, headers={"Accept": "application/json"}),
        phone.get(f"{ballot}/2"),
        phone.get(f"/C/{sitting.cup_token('417')}"),
        phone.post(f"{ballot}/2", data=SECOND, headers={"Accept": "application/json"}),
        phone.get(ballot),
    ]
    for reply in replies:
        seen = reply.text + str(reply.headers)
        assert [word for word in bait if word in seen] == []
        assert not re.search(r"replicate|batch|sample.?id|serving.?id", seen, re.IGNORECASE)


def test_thirty_phones_joining_at_once_get_a_place_each_or_are_told(
    app: FastAPI, sitting: SealedSitting
) -> None:
    def come(_number: int) -> int:
        phone = TestClient(app, follow_redirects=False)
        consent = consent_in(phone.get(sitting.join_path))
        return int(phone.post(sitting.join_path, data={"consent": consent}).status_code)

    with ThreadPoolExecutor(8) as crowd:
        statuses = sorted(crowd.map(come, range(30)))
    assert statuses == [303] * 3 + [409] * 27
    assert len({attempt.place_id for attempt in sitting.attempts()}) == 3


def test_pages_are_never_kept_by_the_browser(phone: TestClient, sitting: SealedSitting) -> None:
    ballot = join(phone, sitting)
    assert phone.get(ballot).headers["cache-control"] == "no-store"
