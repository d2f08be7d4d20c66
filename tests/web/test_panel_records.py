"""The panel's pages: nobody without consent, nothing before the signature, and gone once somebody is erased."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from panel.store.database import now
from panel.store.members import members, sat_in
from panel.store.people import erase_old_names
from panel.study.panel_consent import wording_mark
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    pass

NAMES = ("Ida", "Ole", "Mai", "Jon")
ASKS = {**TYPED, "ask_name": "yes"}
TRIANGLE = {
    "title": "Told apart", "question": "Are they told apart?", "method": "triangle", "tasters": "4", "ask_name": "yes",
    "product-0-name": "Tomoshibi", "product-1-name": "Kumorigama",
}  # fmt: skip


def study(desk: Desk, title: str, *, signed: bool, typed: dict[str, str] = ASKS) -> str:
    """A study in which the four took part, each under their own name."""
    desk.tasted = 0
    desk.draft({**typed, "title": title})
    desk.seal()
    desk.open()
    for name in NAMES:
        desk.taste(1, name=name)
    desk.shut()
    if signed:
        desk.sign()
    return desk.at


def put_on(desk: Desk, name: str) -> str:
    """The address of the record."""
    reply = desk.ada.post("/panel", data={"name": name, "agreed": "yes"})
    assert reply.status_code == 200, words(reply)
    found = re.search(rf'href="(/panel/[a-z0-9]+)">{name}<', reply.text)
    assert found
    return found[1]


def test_the_register_is_empty_until_somebody_has_agreed(desk: Desk) -> None:
    study(desk, "Round one", signed=True)
    empty = words(desk.ada.get("/panel"))
    assert "Nobody is on the register." in empty
    assert "Round one" in empty, "the panel as a whole is shown"
    assert not any(name in empty for name in NAMES)
    refused = desk.ada.post("/panel", data={"name": "Ida"})
    assert refused.status_code == 422
    assert "Tick that they have read the text and agreed" in words(refused)
    assert 'value="Ida"' in refused.text, "what was typed comes back"
    assert "in 1 to 80 characters" in words(desk.ada.post("/panel", data={"name": " ", "agreed": "yes"}))
    put_on(desk, "Ida")
    twice = desk.ada.post("/panel", data={"name": "  IDA ", "agreed": "yes"})
    assert (twice.status_code, "is on the register already" in words(twice)) == (422, True)
    with desk.read() as session:  # type: ignore[attr-defined]
        assert [(member.name, member.wording, member.added_by) for member in members(session)] == [
            ("Ida", wording_mark(), "Ada")
        ]


def test_a_record_holds_signed_studies_only(desk: Desk) -> None:
    study(desk, "Round one", signed=True)
    study(desk, "Round two", signed=True)
    open_one = study(desk, "Round three", signed=False)
    record = put_on(desk, "Jon")
    page = words(desk.ada.get(record))
    assert "2 signed studies, 2 finished" in page
    assert page.index("Round one") < page.index("Round two")
    assert "Round three" not in page
    assert "ISO 5725-2:2019" in page
    assert "common practice, no source" in page
    assert "Level h of each study" in desk.ada.get(record).text, "the chart says what it shows"
    overview = words(desk.ada.get("/panel"))
    assert "Round three" not in overview
    with desk.read() as session, pytest.raises(ValueError, match="not signed"):  # type: ignore[attr-defined]
        sat_in(session, desk.row())
    desk.ada.post(f"{open_one}/sign", data={"signed_by": "Bo"})
    assert "3 signed studies" in words(desk.ada.get(record))


def test_right_answers_are_counted_over_forced_choice_studies(desk: Desk) -> None:
    at = study(desk, "Told apart", signed=True, typed=TRIANGLE)
    record = put_on(desk, "Mai")
    page = words(desk.ada.get(record))
    assert re.search(r"1 signed study, 1 finished; [01] of 1 sets answered right", page)
    desk.ada.post(f"{at}/archive")
    assert "1 signed study" in words(desk.ada.get(record)), "an archived study still counts"
    desk.ada.post(f"{at}/delete")
    assert "No signed study knows this name" in words(desk.ada.get(record))


def test_whoever_is_erased_vanishes_from_the_panel_too(desk: Desk) -> None:
    at = study(desk, "Round one", signed=True)
    study(desk, "Round two", signed=True)
    record = put_on(desk, "Ole")
    people = desk.ada.get(f"{at}/people").text
    row = next(part for part in people.split("<tr>") if ">Ole<" in part)
    erase = re.search(r'action="([^"]+/erase)"', row)
    assert erase
    desk.ada.post(erase[1])
    assert desk.ada.get(record).status_code == 404
    assert "Ole" not in words(desk.ada.get("/panel"))
    again = put_on(desk, "Ole")
    assert "1 signed study" in words(desk.ada.get(again)), (
        "the study in which the name was erased does not know them"
    )


def test_names_that_outlived_their_time_leave_the_record(desk: Desk) -> None:
    study(desk, "Round one", signed=True)
    record = put_on(desk, "Ida")
    assert "1 signed study" in words(desk.ada.get(record))
    with desk.house.database.write() as session:
        assert erase_old_names(session, 365, now() + timedelta(days=366)) == 4
    assert "No signed study knows this name" in words(desk.ada.get(record))


def test_taking_somebody_off_deletes_the_entry(desk: Desk) -> None:
    study(desk, "Round one", signed=True)
    record = put_on(desk, "Ida")
    reply = desk.ada.post(f"{record}/take-off")
    assert "Nobody is on the register" in words(reply)
    assert desk.ada.get(record).status_code == 404
    assert desk.ada.post(f"{record}/take-off").status_code == 200, "twice changes nothing"
