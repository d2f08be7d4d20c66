"""The room: who is how far, who needs somebody, what is poured again, and how balanced it still is."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pypdfium2
import pytest
from sqlmodel import select

from demo.phone import screens_in
from panel.analysis.verification import verify_bundle
from panel.store.database import now
from panel.store.dealing import place_with_token
from panel.store.incidents import call_for_help, note_wrong_cup
from panel.store.rows import SeatProgress
from panel.store.tables import Attempt, Sitting
from panel.web.room_seats import alerts_of, seats_of
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    from httpx2 import Response
    from starlette.testclient import TestClient

FOUR = {**TYPED, "product-3-name": "Shirotsuki"}


def opened(desk: Desk, typed: dict[str, str] = TYPED) -> Desk:
    desk.draft(typed)
    desk.seal()
    desk.open()
    return desk


def room(desk: Desk, **query: str) -> Response:
    """The room, or with a query what htmx asks for."""
    headers = {"HX-Request": "true"} if query else {}
    return desk.ada.get(f"{desk.at}/room", params=query, headers=headers)


def polled(desk: Desk) -> dict[str, str]:
    """What the page as it stands now will ask with."""
    found = re.search(r"seen=(\w+)&amp;stage=([\w-]+)", room(desk).text)
    assert found
    return {"seen": found[1], "stage": found[2]}


def at_place(desk: Desk, place: int, action: str, **fields: str) -> Response:
    return desk.ada.post(f"{desk.at}/room/{place}/{action}", data=fields)


def labels(desk: Desk, **query: str) -> list[dict[str, str]]:
    text = desk.ada.get(f"{desk.at}/print/labels.csv", params=query).text
    return list(csv.DictReader(io.StringIO(text)))


def codes_at(desk: Desk, place: int) -> list[str]:
    return [row["code"] for row in labels(desk, place=str(place))]


def cup_ids(desk: Desk, place: int, field: str) -> list[str]:
    page = desk.ada.get(f"{desk.at}/room/{place}").text
    return re.findall(r'<option value="(\w{16})"', page.split(f'id="{field}"')[1].split("</select>")[0])


def answer(phone: TestClient, screens: int) -> None:
    """Answer so many screens of the ballot the phone holds."""
    page: Response = phone.ballot  # type: ignore[attr-defined]
    for screen in screens_in(page.text)[:screens]:
        sent = {"submission": screen.submission, "q1": "5", "q2": ""}
        assert phone.post(screen.action, data=sent).status_code == 200


# ---- what is fetched again


def test_nothing_is_sent_while_nothing_has_changed(desk: Desk) -> None:
    opened(desk)
    asked = polled(desk)
    assert room(desk, **asked).status_code == 204
    desk.join()
    fresh = room(desk, **asked)
    assert (fresh.status_code, "0 finished, 1 tasting, 3 free" in words(fresh)) == (200, True)
    assert "<html" not in fresh.text
    assert "<form" not in fresh.text  # nothing that somebody may be typing into is swapped


def test_a_change_of_stage_loads_the_whole_page(desk: Desk) -> None:
    opened(desk)
    asked = polled(desk)
    desk.ada.post(f"{desk.at}/pause")
    answered = room(desk, **asked)
    assert (answered.status_code, answered.headers["HX-Refresh"]) == (204, "true")


def test_every_place_link_has_an_id_so_that_focus_survives_a_swap(desk: Desk) -> None:
    opened(desk)
    links = re.findall(r'<a id="([^"]+)" href="[^"]+/room/\d+"', room(desk).text)
    assert links == ["place-1", "place-2", "place-3", "place-4"]


# ---- sittings


def test_a_sitting_is_paused_resumed_ended_and_followed_by_the_next(desk: Desk) -> None:
    opened(desk)
    first = desk.join_path()
    for move, said in (
        ("pause", "Everybody waits"),
        ("resume", "Pause everybody"),
        ("end-sitting", "Sitting 1 has ended"),
        ("next-sitting", "Places in sitting 2"),
    ):
        assert said in words(desk.ada.post(f"{desk.at}/{move}")), move
    assert desk.join_path() != first
    assert desk.ada.post(f"{desk.at}/next-sitting").status_code == 409


# ---- calls


def test_a_call_stands_in_the_room_until_somebody_went_there(desk: Desk) -> None:
    opened(desk).join()
    with desk.house.database.write() as session:
        attempt = session.exec(select(Attempt)).one()
        call_for_help(session, attempt)
        note_wrong_cup(session, attempt, "417")
    shown = room(desk)
    assert "Place 1 asks for help" in words(shown)
    assert "has cup 417, which is not theirs" in words(shown)
    for call in re.findall(r'/calls/(\w+)"', shown.text):
        desk.ada.post(f"{desk.at}/calls/{call}")
    assert "Somebody is needed" not in words(room(desk))


# ---- places given again


def test_a_place_that_was_left_is_poured_again_and_goes_to_the_next_comer(desk: Desk) -> None:
    opened(desk)
    answer(desk.join(), 1)
    before = codes_at(desk, 1)
    assert at_place(desk, 1, "again").status_code == 409
    assert "the taster has gone" in words(at_place(desk, 1, "gone"))
    assert "Place 1 was left before the end" in words(room(desk))
    assert "new codes" in words(at_place(desk, 1, "again"))
    after = codes_at(desk, 1)
    assert (len(after), set(after) & set(before)) == (3, set())
    assert all(sum(a == b for a, b in zip(x, y, strict=True)) < 2 for x in after for y in after if x < y)
    desk.join()
    place = words(desk.ada.get(f"{desk.at}/room/1"))
    assert "T01 : left, 1 of 3" in place.replace("T01:", "T01 :")
    assert "T01b: tasting, 0 of 3" in place


def test_only_the_place_asked_for_is_printed(desk: Desk) -> None:
    opened(desk)
    assert [row["place"] for row in labels(desk)] == ["1"] * 3 + ["2"] * 3 + ["3"] * 3 + ["4"] * 3
    assert [row["place"] for row in labels(desk, place="3")] == ["3"] * 3
    code = codes_at(desk, 3)[1]
    assert [row["code"] for row in labels(desk, place="3", label_code=code)] == [code]
    missing = desk.ada.get(f"{desk.at}/print/labels.pdf", params={"place": "9"})
    assert (missing.status_code, "No cup of this study" in missing.text) == (422, True)


# ---- one cup poured again


def test_a_replaced_cup_shows_its_new_code_and_its_old_label_opens_nothing(desk: Desk) -> None:
    opened(desk)
    phone = desk.join()
    before = labels(desk, place="1")
    done = at_place(desk, 1, "cups", cup=cup_ids(desk, 1, "cup")[2], reason="spilled", note="on the floor")
    after = labels(desk, place="1")
    assert [a["code"] == b["code"] for a, b in zip(after, before, strict=True)] == [True, True, False]
    assert f"The cup now has code {after[2]['code']}" in words(done)
    ballot = phone.get(str(phone.ballot.url)).text  # type: ignore[attr-defined]
    assert (after[2]["code"] in ballot, before[2]["code"] in ballot) == (True, False)
    old = phone.get(before[2]["address"].replace("HTTP://TESTSERVER", ""))
    assert (old.status_code, "not known" in words(old)) == (404, True)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        pytest.param({"reason": "spilled"}, "Choose the cup", id="no cup"),
        pytest.param({"cup": "aaaaaaaaaaaaaaaa", "reason": "spilled"}, "Choose the cup", id="no such cup"),
        pytest.param({"reason": "boredom"}, "Choose why", id="no such reason"),
    ],
)
def test_a_replacement_without_cup_or_reason_comes_back(
    desk: Desk, fields: dict[str, str], said: str
) -> None:
    opened(desk)
    before = labels(desk)
    refused = at_place(desk, 1, "cups", note="kept as typed", **fields)
    assert (refused.status_code, said in words(refused)) == (422, True)
    assert 'value="kept as typed"' in refused.text
    assert labels(desk) == before


def test_a_cup_of_another_place_is_not_replaced_from_here(desk: Desk) -> None:
    opened(desk)
    other = cup_ids(desk, 2, "cup")[0]
    assert at_place(desk, 1, "cups", cup=other, reason="spilled").status_code == 422


# ---- the whole record still fits


def test_seal_log_and_results_hold_after_every_incident(desk: Desk) -> None:
    """The offline check of the exported bundle is the judge."""
    opened(desk)
    answer(desk.join(), 1)
    at_place(desk, 1, "gone")
    at_place(desk, 1, "again")
    at_place(desk, 2, "cups", cup=cup_ids(desk, 2, "cup")[0], reason="wrong temperature")
    desk.taste(4)
    one, other, _ = cup_ids(desk, 3, "one")
    assert "taken in each other’s place" in words(at_place(desk, 3, "order", one=one, other=other))
    desk.shut()
    desk.sign()
    desk.reveal()
    checked = verify_bundle(desk.bundle())
    assert checked.first_failure is None, checked.first_failure
    assert all(check.holds for check in checked.checks if check.what != "end of the log"), checked


# ---- balance


def test_an_empty_row_of_a_williams_square_costs_one_in_every_count(desk: Desk) -> None:
    """Williams (1949): four samples in four orders stand once at each position and once after each other one."""
    opened(desk, FOUR)
    desk.taste(3)
    shown = room(desk).text
    rows = re.findall(
        r"Most uneven (\w+)</th><td class=\"number\">(\d)</td><td class=\"number\">(\d)</td><td class=\"number\">(\d)",
        shown,
    )
    assert rows == [("position", "0", "1", "1"), ("succession", "0", "1", "1")]
    said = (
        "positions would differ by up to 1 instead of 0 and successions would differ by up to 1 instead of 0"
    )
    assert said in words(room(desk))
    desk.taste(1)
    assert "No place is empty." in words(room(desk))


# ---- silent and late


def seat(place: int, answered: int, minutes: float, **more: Any) -> SeatProgress:
    """Somebody dealt half an hour ago and last heard of so many minutes ago."""
    heard = (now() - timedelta(minutes=minutes)).isoformat()
    dealt = (now() - timedelta(minutes=30)).isoformat()
    row = SeatProgress(place, "tasting", answered, 10, f"a{place}", "", heard, 1, 10, dealt, False)
    return replace(row, **more)


def test_silent_and_late_places_are_pointed_out_in_two_lines() -> None:
    sitting = Sitting(study_id="s", number=1, opened_at=now() - timedelta(minutes=40))
    rows = [seat(1, 6, 1), seat(2, 6, 1), seat(3, 2, 1), seat(4, 6, 8), seat(5, 5, 12), seat(6, 3, 1)]
    found = [(alert.places, alert.text) for alert in alerts_of(seats_of(rows, sitting), [])]
    assert found == [
        ((4, 5), "have been silent, the longest for 12 minutes."),
        ((3,), "is 3 screens or more behind the middle of the room."),
    ]


@pytest.mark.parametrize(
    ("minutes_ago", "row"),
    [
        pytest.param({"paused_at": 0}, {}, id="paused"),
        pytest.param({"closed_at": 0}, {}, id="ended"),
        pytest.param({}, {"status": "finished"}, id="finished"),
        pytest.param({}, {"answered": 10}, id="done for this sitting"),
        pytest.param({"opened_at": 1}, {}, id="a new sitting has only just begun"),
    ],
)
def test_nobody_is_called_silent_who_has_no_reason_to_answer(
    minutes_ago: dict[str, int], row: dict[str, Any]
) -> None:
    times = {name: now() - timedelta(minutes=ago) for name, ago in {"opened_at": 40, **minutes_ago}.items()}
    held = Sitting(study_id="s", number=1, **times)
    assert alerts_of(seats_of([replace(seat(1, 4, 20), **row)], held), []) == ()


# ---- print


def pages_of(content: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(content)
    try:
        return [page.get_textpage().get_text_range() for page in document]
    finally:
        document.close()


def test_join_cards_come_in_dealing_order_and_each_opens_its_own_place(desk: Desk) -> None:
    opened(desk)
    (text,) = pages_of(desk.ada.get(f"{desk.at}/print/join-cards.pdf").content)
    tokens = ["".join(found.split()) for found in re.findall(r"(?:[A-Z2-7]{4,5}[ ]){5,6}[A-Z2-7]{1,5}", text)]
    with desk.house.database.read() as session:
        places = [place_with_token(session, desk.house.tokens, token) for token in tokens]
    assert [place.number if place else 0 for place in places] == [1, 2, 3, 4]


def test_a_paper_ballot_holds_the_codes_of_its_place_and_no_other(desk: Desk) -> None:
    opened(desk)
    text = "".join(pages_of(desk.ada.get(f"{desk.at}/print/paper-ballots.pdf?place=2").content))
    assert [code in text for code in codes_at(desk, 2)] == [True, True, True]
    assert "Place 1" not in text


SHEET = {
    "sheet": "custom", "page_width": "210", "page_height": "297", "left": "5", "top": "10", "width": "60",
    "height": "30", "pitch_across": "65", "pitch_down": "32", "across": "3", "down_count": "2",
}  # fmt: skip


@pytest.mark.parametrize(
    ("wish", "pages"),
    [
        pytest.param({}, 2, id="twelve labels, six a page"),
        pytest.param({"start": "2"}, 3, id="the first label is used"),
        pytest.param({"sheet": "roll", "width": "62", "height": "29"}, 12, id="one label a page"),
    ],
)
def test_labels_are_printed_on_any_sheet_by_its_numbers(desk: Desk, wish: dict[str, str], pages: int) -> None:
    opened(desk)
    printed = desk.ada.get(f"{desk.at}/print/labels.pdf", params=SHEET | wish)
    assert (printed.status_code, len(pages_of(printed.content))) == (200, pages)


@pytest.mark.parametrize(
    ("wish", "field"),
    [
        pytest.param({"pitch_across": "50"}, "pitch_across", id="labels would overlap"),
        pytest.param({"left": "100"}, "left", id="beyond the paper"),
        pytest.param({"width": "wide"}, "width", id="no number"),
        pytest.param({"down_count": "2.5"}, "down_count", id="no whole number"),
        pytest.param({"start": "7"}, "start", id="no such label"),
        pytest.param({"right": "40"}, "right", id="shifted too far"),
        pytest.param({"height": "nan"}, "height", id="not a number at all"),
    ],
)
def test_numbers_of_a_sheet_that_do_not_fit_come_back_beside_their_field(
    desk: Desk, wish: dict[str, str], field: str
) -> None:
    opened(desk)
    refused = desk.ada.get(f"{desk.at}/print/labels.pdf", params=SHEET | wish)
    assert refused.status_code == 422
    assert f'id="{field}-error"' in refused.text
    assert f'name="top" type="text" value="{SHEET["top"]}"' in refused.text
