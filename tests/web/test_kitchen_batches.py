"""The kitchen's clock: since when each batch stands, against the time it may be held; for the kitchen alone."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select

from panel.store.database import now
from panel.store.tables import Batch, Place, Serving
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    from starlette.testclient import TestClient


@pytest.fixture
def kitchen(desk: Desk) -> TestClient:
    """The kitchen's own browser, over a study whose cups may be held for 20 minutes."""
    desk.draft({**TYPED, "holding_minutes": "20"})
    desk.seal()
    browser = desk.client()
    browser.get(desk.link("kitchen"))
    return browser


def letter_on(desk: Desk, kitchen: TestClient) -> str:
    found = re.search(r'name="letter" value="([^"]+)"', kitchen.get(f"{desk.at}/kitchen").text)
    assert found
    return found[1]


def pour(desk: Desk, kitchen: TestClient, letter: str, from_place: str = "") -> int:
    sent = {"letter": letter, "from_place": from_place}
    return kitchen.post(f"{desk.at}/kitchen/poured", data=sent).status_code


def poured_before(desk: Desk, minutes: float) -> None:
    """Move every pour so far into the past."""
    with desk.house.database.write() as session:
        for batch in session.exec(select(Batch).where(Batch.poured_at != None)):  # noqa: E711
            batch.poured_at = now() - timedelta(minutes=minutes, seconds=5)
            session.add(batch)


def test_the_clock_starts_when_the_kitchen_has_poured(desk: Desk, kitchen: TestClient) -> None:
    before = words(kitchen.get(f"{desk.at}/kitchen"))
    assert before.count("not poured yet") == 3
    assert "it is to be served within 20 min" in before
    assert pour(desk, kitchen, letter_on(desk, kitchen)) == 200
    after = words(kitchen.get(f"{desk.at}/kitchen"))
    assert after.count("poured 0 min ago: 20 min left of 20") == 1
    assert after.count("not poured yet") == 2


@pytest.mark.parametrize(
    ("minutes", "said", "over"),
    [
        pytest.param(12, "poured 12 min ago: 8 min left of 20", False, id="inside"),
        pytest.param(20, "poured 20 min ago: 0 min left of 20", False, id="at the end"),
        pytest.param(23, "poured 23 min ago: 3 min over its 20 min. Pour a fresh batch.", True, id="past it"),
    ],
)
def test_the_time_since_stands_against_the_time_it_may_be_held(
    desk: Desk, kitchen: TestClient, minutes: float, said: str, over: bool
) -> None:
    pour(desk, kitchen, letter_on(desk, kitchen))
    poured_before(desk, minutes)
    shown = kitchen.get(f"{desk.at}/kitchen")
    assert said in words(shown)
    assert ('<strong class="over">poured' in shown.text) is over


def test_a_further_batch_says_from_which_place_on_it_serves(desk: Desk, kitchen: TestClient) -> None:
    letter = letter_on(desk, kitchen)
    pour(desk, kitchen, letter)
    pour(desk, kitchen, letter, "3")
    assert "poured 0 min ago, for places from 3 on: 20 min left" in words(kitchen.get(f"{desk.at}/kitchen"))
    pour(desk, kitchen, letter, "900")
    assert "for no cup" in words(kitchen.get(f"{desk.at}/kitchen"))


@pytest.mark.parametrize(
    ("letter", "place", "said"),
    [
        pytest.param("", "x", "Write the number of a place", id="no number"),
        pytest.param("", "0", "Write the number of a place", id="no place"),
        pytest.param("no such letter", "", "Use the button of the pour letter", id="no letter"),
    ],
)
def test_what_cannot_be_is_refused(
    desk: Desk, kitchen: TestClient, letter: str, place: str, said: str
) -> None:
    sent = {"letter": letter or letter_on(desk, kitchen), "from_place": place}
    answer = kitchen.post(f"{desk.at}/kitchen/poured", data=sent)
    assert (answer.status_code, said in words(answer)) == (422, True)
    assert words(kitchen.get(f"{desk.at}/kitchen")).count("not poured yet") == 3


def test_the_page_renews_the_batches_alone(desk: Desk, kitchen: TestClient) -> None:
    part = kitchen.get(f"{desk.at}/kitchen", headers={"HX-Request": "true"}).text
    assert "Since when each batch stands" in part
    assert "<html" not in part
    assert "What goes where" not in part


def asks_with(page: str) -> dict[str, str]:
    """What the page as it stands will ask with."""
    found = re.search(r"kitchen\?listed=(\w+)&amp;seen=(\w+)", page)
    assert found
    return {"listed": found[1], "seen": found[2]}


def test_nothing_is_sent_while_nothing_has_changed(desk: Desk, kitchen: TestClient) -> None:
    asked = asks_with(kitchen.get(f"{desk.at}/kitchen").text)
    htmx = {"HX-Request": "true"}
    assert kitchen.get(f"{desk.at}/kitchen", params=asked, headers=htmx).status_code == 204
    pour(desk, kitchen, letter_on(desk, kitchen))
    changed = kitchen.get(f"{desk.at}/kitchen", params=asked, headers=htmx)
    assert "poured 0 min ago" in words(changed)
    assert asks_with(changed.text)["listed"] == asked["listed"]
    assert "lists below are older" not in words(changed)


def test_a_cup_poured_again_is_told_at_once_and_the_old_lists_are_named_old(
    desk: Desk, kitchen: TestClient
) -> None:
    asked = asks_with(kitchen.get(f"{desk.at}/kitchen").text)
    with desk.read() as session:
        cup = session.exec(select(Serving)).first()
        assert cup is not None
        place = session.get_one(Place, cup.place_id).number
    desk.ada.post(f"{desk.at}/room/{place}/cups", data={"cup": cup.id, "reason": "spilled"})
    with desk.read() as session:
        code = session.get_one(Serving, cup.id).code
    part = kitchen.get(f"{desk.at}/kitchen", params=asked, headers={"HX-Request": "true"})
    assert "lists below are older" in words(part)
    assert "To be poured again" in words(part)
    assert code in part.text
    whole = kitchen.get(f"{desk.at}/kitchen")
    assert "lists below are older" not in words(whole)
    assert whole.text.count(code) == 3, "in the table, by place, and by letter"


def test_a_hundred_places_fold_by_ten_and_five_lie_open(desk: Desk) -> None:
    for tasters, parts, unfolded in ((100, 10, 0), (5, 1, 1)):
        desk.draft({**TYPED, "tasters": str(tasters)})
        desk.seal()
        page = desk.ada.get(f"{desk.at}/kitchen").text
        by_place = page.split("By place, in serving order")[1].split("By pour letter")[0]
        assert by_place.count("<details") == parts
        assert by_place.count('<details class="trays" open>') == unfolded
        assert by_place.count('class="code"') == 3 * tasters
    assert "Places 1 to 5" in page


def test_nothing_is_poured_once_tasting_is_over(desk: Desk, kitchen: TestClient) -> None:
    letter = letter_on(desk, kitchen)
    desk.open()
    desk.shut()
    assert pour(desk, kitchen, letter) == 409
    assert "Poured now" not in words(kitchen.get(f"{desk.at}/kitchen"))


def test_nothing_is_poured_for_a_draft(desk: Desk) -> None:
    desk.draft()
    assert pour(desk, desk.ada, "A") == 409


def test_neither_a_taster_nor_the_analyst_ever_sees_a_pour(desk: Desk, kitchen: TestClient) -> None:
    letter = letter_on(desk, kitchen)
    desk.open()
    pour(desk, kitchen, letter)
    poured_before(desk, 17)
    phone = desk.join()
    analyst = desk.client()
    analyst.get(desk.link("analyst"))
    assert "poured 17 min ago" in words(kitchen.get(f"{desk.at}/kitchen"))
    desk.taste(3)
    with desk.read() as session:  # type: ignore[attr-defined]
        ids = list(session.exec(select(Batch.id)))
    for shown in (phone.ballot, analyst.get(f"{desk.at}/report"), analyst.get(f"{desk.at}/kitchen")):  # type: ignore[attr-defined]
        assert "17 min" not in shown.text
        assert "poured" not in shown.text
        assert not [one for one in ids if one in shown.text]
    for browser in (phone, analyst):
        assert browser.post(f"{desk.at}/kitchen/poured", data={"letter": letter}).status_code == 403
