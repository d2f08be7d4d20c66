"""Who takes how many places: a whole room behind one router joins, one phone does not take it all."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from demo.phone import hidden_fields
from panel.store.ledger import events_of
from panel.store.tables import Attempt, Place
from panel.study import seal
from panel.web import slow_down
from panel.web.slow_down import MOST_FROM_ALL, MOST_FROM_ONE, SECONDS, TRIES, Joining, SlowDown
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from httpx2 import Response

ROUTER = "192.0.2.7"


class Clock:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> float:
        return self.seconds


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, clock: Clock) -> Iterator[Desk]:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path)
    made.app.state.joining = Joining(clock)
    made.app.state.slow_down = SlowDown(clock)
    yield made
    made.close()


def opened(desk: Desk, **changed: str) -> str:
    """The way in of a fresh study that is open."""
    desk.draft({**TYPED, "tasters": "60", **changed})
    desk.seal()
    desk.open()
    return desk.join_path()


def phone_at(desk: Desk, address: str) -> TestClient:
    return TestClient(desk.app, client=(address, 50000))


def agrees(phone: TestClient, path: str, **more: str) -> Response:
    """Read the notice and agree, as the form asks for it."""
    return phone.post(path, data={**hidden_fields(phone.get(path, params=more).text), **more})


def is_in(reply: Response) -> bool:
    return "/t/" in str(reply.url)


def taken(desk: Desk) -> int:
    with desk.read() as session:
        return len(session.exec(select(Attempt).where(Attempt.study_id == desk.study)).all())


def test_thirty_honest_phones_behind_one_router_all_join(desk: Desk) -> None:
    path = opened(desk)
    replies = [agrees(phone_at(desk, ROUTER), path) for _ in range(30)]
    assert [is_in(reply) for reply in replies] == [True] * 30
    assert taken(desk) == 30
    assert "have to wait" not in words(desk.ada.get(f"{desk.at}/room"))


def test_thirty_cards_scanned_behind_one_router_all_open_their_places(desk: Desk) -> None:
    opened(desk)
    with desk.read() as session:
        places = session.exec(select(Place).where(Place.study_id == desk.study, Place.number <= 30)).all()
    tokens = [desk.house.tokens.place(place.id, place.token_revision) for place in places]
    assert all(is_in(agrees(phone_at(desk, ROUTER), f"/P/{token}")) for token in tokens)


def test_thirty_typed_codes_behind_one_router_all_open(desk: Desk) -> None:
    path = opened(desk)
    code = path.rsplit("/", 1)[1]
    for _ in range(30):
        found = phone_at(desk, ROUTER).post("/go", data={"code": code.lower()}, follow_redirects=False)
        assert found.headers["location"] == path


def test_one_address_cannot_take_every_place_and_hears_what_to_do(desk: Desk, clock: Clock) -> None:
    path = opened(desk)
    for _ in range(MOST_FROM_ONE):
        assert is_in(agrees(phone_at(desk, ROUTER), path))
    refused = agrees(phone_at(desk, ROUTER), path)
    assert refused.status_code == 429
    assert "Tell the panel leader, who can let you in at once, or try again in five minutes" in words(refused)
    assert taken(desk) == MOST_FROM_ONE
    assert is_in(agrees(phone_at(desk, "192.0.2.8"), path)), "other addresses go on"
    clock.seconds += SECONDS + 1
    assert is_in(agrees(phone_at(desk, ROUTER), path))


def test_the_organiser_sees_who_is_held_up_and_lets_them_in(desk: Desk) -> None:
    path = opened(desk)
    for _ in range(MOST_FROM_ONE + 1):
        agrees(phone_at(desk, ROUTER), path)
    room = words(desk.ada.get(f"{desk.at}/room"))
    assert f"{MOST_FROM_ONE} places were taken from one network address within five minutes" in room
    assert ROUTER not in room, "addresses are shown to nobody"
    after = words(desk.ada.post(f"{desk.at}/let-in"))
    assert "from one network address" not in after
    assert is_in(agrees(phone_at(desk, ROUTER), path))
    with desk.read() as session:
        assert [e.actor for e in events_of(session, desk.study) if e.kind == "joining let on"] == [
            "organiser Ada"
        ]


def test_many_addresses_together_are_held_up_as_well(clock: Clock) -> None:
    joining = Joining(clock)
    for number in range(MOST_FROM_ALL):
        assert joining.may_join("study", f"192.0.2.{number}")
        joining.joined("study", f"192.0.2.{number}", number + 1)
    assert not joining.may_join("study", "198.51.100.1")
    assert joining.may_join("another", "198.51.100.1"), "each study counts for itself"
    crowd = joining.crowd("study")
    assert crowd is not None
    assert (len(crowd.places), crowd.from_one) == (MOST_FROM_ALL, False)
    clock.seconds += SECONDS + 1
    assert joining.crowd("study") is None


def test_a_phone_that_has_a_place_is_asked_before_it_takes_another(desk: Desk) -> None:
    path = opened(desk)
    phone = phone_at(desk, ROUTER)
    assert is_in(agrees(phone, path))
    asked = phone.get(path)
    assert "Somebody is tasting on this phone already" in words(asked)
    forced = phone.post(path, data={"consent": "f" * 32})
    assert "Somebody is tasting on this phone already" in words(forced), "the form alone takes nothing either"
    assert taken(desk) == 1
    assert is_in(agrees(phone, path, another="1"))
    assert taken(desk) == 2


def test_a_phone_on_which_somebody_has_finished_is_asked_too(desk: Desk) -> None:
    path = opened(desk)
    desk.taste(1)
    phone = desk.client()
    with desk.read() as session:
        attempt = session.exec(select(Attempt).where(Attempt.study_id == desk.study)).one()
    listed = slow_phone_cookie(desk, attempt.id)
    phone.cookies.set("taster-phone", listed)
    asked = words(phone.get(path))
    assert "Somebody has tasted on this phone already, and everybody takes one place only" in asked
    assert "Continue where you were" not in asked


def slow_phone_cookie(desk: Desk, attempt_id: str) -> str:
    from panel.web.taster_phone import _signer

    return str(_signer(desk.house.tokens).dumps([attempt_id]))


def test_a_phone_that_scans_a_second_card_is_asked_too(desk: Desk) -> None:
    opened(desk)
    with desk.read() as session:
        places = session.exec(select(Place).where(Place.study_id == desk.study, Place.number <= 2)).all()
    one, other = (f"/P/{desk.house.tokens.place(place.id, place.token_revision)}" for place in places)
    phone = phone_at(desk, ROUTER)
    assert is_in(agrees(phone, one))
    asked = phone.get(other)
    assert "Somebody is tasting on this phone already" in words(asked)
    assert re.search(rf'href="{other}\?another=1"', asked.text)
    assert is_in(agrees(phone, other, another="1"))


def test_the_organiser_sees_when_one_phone_takes_many_places(desk: Desk) -> None:
    path = opened(desk)
    phone = phone_at(desk, ROUTER)
    agrees(phone, path)
    agrees(phone, path, another="1")
    assert "taken on one phone" not in words(desk.ada.get(f"{desk.at}/room")), "two share a phone: usual"
    agrees(phone, path, another="1")
    agrees(phone_at(desk, ROUTER), path)
    room = words(desk.ada.get(f"{desk.at}/room"))
    assert "Places 1 , 2 , 3 were taken on one phone" in room
    desk.ada.post(f"{desk.at}/room/3/gone")
    assert "taken on one phone" not in words(desk.ada.get(f"{desk.at}/room"))
    with desk.read() as session:
        dealt = [e.detail for e in events_of(session, desk.study) if e.kind == "place dealt"]
    assert [detail.get("on the phone of", "") for detail in dealt] == [
        "", dealt[0]["attempt"], dealt[0]["attempt"], ""
    ]  # fmt: skip


def test_wrong_codes_are_slowed_down_and_right_ones_are_not(desk: Desk) -> None:
    path = opened(desk)
    guesser = phone_at(desk, ROUTER)
    found = [guesser.post("/go", data={"code": f"AAAA{n:04}"}).status_code for n in range(TRIES + 5)]
    assert found == [422] * TRIES + [429] * 5
    assert guesser.get("/P/" + "A" * 26).status_code == 429
    assert guesser.get("/J/" + "A" * 26).status_code == 429
    assert is_in(agrees(phone_at(desk, ROUTER), path)), "a guesser keeps nobody beside them out"
    ballot = desk.join().ballot  # type: ignore[attr-defined]
    code = desk.house.tokens.attempt_code(str(ballot.url).split("/t/")[1].split("/")[0])
    assert guesser.post("/go", data={"code": code}).status_code == 429, "a short code, though right, waits"
    assert is_in(phone_at(desk, "192.0.2.9").post("/go", data={"code": code}))


def test_a_window_slides(clock: Clock) -> None:
    slow = SlowDown(clock)
    assert [slow.too_many("a", "x") for _ in range(TRIES + 1)] == [False] * TRIES + [True]
    assert not slow.too_many("a", "y")
    assert not slow.too_many("b", "x")
    clock.seconds += slow_down.SECONDS
    assert not slow.too_many("a", "x", count=False)
