"""After the seal: amendments, one cup for a safety reason, two parts of a passphrase, the recovery sheet."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pypdfium2
import pytest
from sqlmodel import select

from panel.store.ledger import events_of
from panel.store.rows import cups_of
from panel.store.sealing import open_key, samples_of
from panel.store.tables import Place, Serving
from panel.study import seal
from tests.web.desk import PHRASE, Desk, words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NAMES = ("Tomoshibi", "Kumorigama", "Ricelet")
SECOND = "another phrase in a row"


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path)
    made.draft()
    yield made
    made.close()


def kinds(desk: Desk) -> list[str]:
    with desk.read() as session:
        return [event.kind for event in events_of(session, desk.study)]


def test_an_amendment_stands_in_the_log_and_in_the_report_and_the_plan_stays(desk: Desk) -> None:
    desk.seal()
    plan = desk.row().plan
    desk.ada.post(f"{desk.at}/amendments", data={"what": "Served at 55 degrees", "reason": "The lid leaked"})
    assert desk.row().plan == plan
    desk.open()
    desk.taste(3)
    desk.shut()
    for page in ("/log", "/report", ""):
        said = words(desk.ada.get(f"{desk.at}{page}"))
        assert "Served at 55 degrees" in said, page
        assert "The lid leaked" in said, page
    assert re.search(r"organiser Ada, while the study was sealed", words(desk.ada.get(f"{desk.at}/report")))


@pytest.mark.parametrize(
    "form", [{"what": "", "reason": "why"}, {"what": "x", "reason": " "}], ids=["nothing", "no reason"]
)
def test_an_amendment_without_its_reason_is_not_recorded(desk: Desk, form: dict[str, str]) -> None:
    desk.seal()
    assert desk.ada.post(f"{desk.at}/amendments", data=form).status_code == 422
    assert "amended" not in kinds(desk)


def test_a_draft_is_changed_and_not_amended(desk: Desk) -> None:
    refused = desk.ada.post(f"{desk.at}/amendments", data={"what": "x", "reason": "y"})
    assert (refused.status_code, "change it as you like" in words(refused)) == (409, True)


def test_one_cup_is_opened_for_a_reason_and_only_that_one_is_shown(desk: Desk) -> None:
    desk.seal()
    with desk.read() as session:
        cup = cups_of(session, desk.study)[4]
        key = open_key(session, desk.row(), PHRASE)["key"]
        letters = {sample.pour_letter: key[sample.id]["name"] for sample in samples_of(session, desk.study)}
    form = {"place": str(cup.place), "code": cup.code, "why": "A rash", "passphrase": PHRASE}
    shown = desk.ada.post(f"{desk.at}/unblind", data=form)
    assert [name for name in NAMES if name in shown.text] == [letters[cup.pour_letter]]
    again = desk.ada.get(f"{desk.at}/amendments")
    assert [name for name in NAMES if name in again.text] == [], "shown once"
    page = words(desk.ada.get(desk.at))
    assert "Names were seen once between seal and reveal" in page
    assert f"saw what was in cup {cup.code} of place {cup.place}. Reason: A rash" in page


def test_every_code_that_a_cup_ever_bore_leads_to_what_is_in_it(desk: Desk) -> None:
    """Somebody feels ill after a cup that was spilled twice: whichever label they hold, the same product is meant."""
    desk.seal()
    desk.open()
    with desk.read() as session:
        cup = cups_of(session, desk.study)[4]
        key = open_key(session, desk.row(), PHRASE)["key"]
        letters = {sample.pour_letter: key[sample.id]["name"] for sample in samples_of(session, desk.study)}
        serving = session.exec(select(Serving).where(Serving.token == cup.token)).one()
    codes, reasons = [cup.code], ("spilled", "spilled", "wrong cup")
    for reason in reasons:
        desk.ada.post(f"{desk.at}/room/{cup.place}/cups", data={"cup": serving.id, "reason": reason})
        with desk.read() as session:
            codes.append(session.get_one(Serving, serving.id).code)
    assert len(set(codes)) == 4
    for code in codes:
        form = {"place": str(cup.place), "code": code, "why": "A rash", "passphrase": PHRASE}
        shown = desk.ada.post(f"{desk.at}/unblind", data=form)
        assert [name for name in NAMES if name in shown.text] == [letters[cup.pour_letter]], code
        noted = "what that cup really held is not known" in words(shown)
        assert noted is (code == codes[2]), "the one that was replaced as a wrong cup"


def test_a_place_that_was_given_again_shows_the_right_cup_of_either_taster(desk: Desk) -> None:
    desk.seal()
    desk.open()
    desk.join()
    desk.ada.post(f"{desk.at}/room/1/gone")
    desk.ada.post(f"{desk.at}/room/1/again")
    with desk.read() as session:
        cups = [cup for cup in cups_of(session, desk.study) if cup.place == 1]
        key = open_key(session, desk.row(), PHRASE)["key"]
        letters = {sample.pour_letter: key[sample.id]["name"] for sample in samples_of(session, desk.study)}
    assert {cup.attempt_number for cup in cups} == {1, 2}
    for cup in cups:
        form = {"place": "1", "code": cup.code, "why": "A rash", "passphrase": PHRASE}
        shown = desk.ada.post(f"{desk.at}/unblind", data=form)
        assert [name for name in NAMES if name in shown.text] == [letters[cup.pour_letter]]


@pytest.mark.parametrize(
    ("change", "status", "sentence"),
    [
        ({"passphrase": "a wrong phrase"}, 422, "does not open the seal"),
        ({"why": ""}, 422, "Write the safety reason"),
        ({"code": "xyz"}, 422, "has no cup with the code"),
        ({"place": "99"}, 422, "Place 99 has no cup"),
        ({"place": "one"}, 422, "Write the number of the place"),
    ],
    ids=["wrong passphrase", "no reason", "no such code", "no such place", "no number"],
)
def test_a_look_that_lacks_something_is_refused_and_shows_nothing(
    desk: Desk, change: dict[str, str], status: int, sentence: str
) -> None:
    desk.seal()
    with desk.read() as session:
        cup = cups_of(session, desk.study)[0]
    form = {"place": str(cup.place), "code": cup.code, "why": "A rash", "passphrase": PHRASE, **change}
    refused = desk.ada.post(f"{desk.at}/unblind", data=form)
    assert (refused.status_code, sentence in words(refused)) == (status, True), words(refused)
    assert [name for name in NAMES if name in refused.text] == []
    assert "names seen" not in kinds(desk)


def test_two_people_with_a_part_each_open_the_names_only_together(desk: Desk) -> None:
    desk.seal(holder="parts", passphrase_2=SECOND, again_2=SECOND)
    fill = f"{desk.at}/print/fill-sheet.pdf"
    for tried in (
        {"passphrase": PHRASE},
        {"passphrase": SECOND},
        {"passphrase": SECOND, "passphrase_2": PHRASE},
    ):
        assert desk.ada.post(fill, data=tried).status_code == 422, tried
    both = {"passphrase": PHRASE, "passphrase_2": SECOND}
    assert desk.ada.post(fill, data=both).headers["content-type"] == "application/pdf"
    desk.open()
    desk.taste(3)
    desk.shut()
    desk.sign()
    assert desk.reveal().status_code == 422, "one part alone"
    assert "neither of the two could open the names alone" in words(desk.ada.get(f"{desk.at}/report"))
    assert NAMES[0] in desk.reveal(passphrase_2=SECOND).text


def test_the_recovery_code_opens_what_two_people_closed(desk: Desk) -> None:
    desk.seal(holder="parts", passphrase_2=SECOND, again_2=SECOND)
    reply = desk.ada.post(f"{desk.at}/print/fill-sheet.pdf", data={"passphrase": desk.recovery_code.lower()})
    assert reply.headers["content-type"] == "application/pdf"


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"holder": "parts"}, "Choose a second person’s part of at least 10"),
        ({"holder": "parts", "passphrase_2": SECOND, "again_2": "other"}, "The second part differs."),
        ({"holder": "self", "passphrase_2": SECOND, "again_2": SECOND}, "two people are not chosen"),
    ],
    ids=["no second part", "differs", "not chosen"],
)
def test_a_second_part_that_will_not_do_seals_nothing(
    desk: Desk, fields: dict[str, str], sentence: str
) -> None:
    form = {"passphrase": PHRASE, "again": PHRASE, **fields}
    refused = desk.ada.post(f"{desk.at}/seal", data=form)
    assert (refused.status_code, sentence in words(refused)) == (422, True), words(refused)
    assert desk.row().state == "draft"
    assert re.findall(r'name="holder" value="(\w+)" checked', refused.text) == [fields["holder"]], (
        "as it was chosen"
    )


def test_the_recovery_sheet_holds_the_code_and_the_server_does_not(desk: Desk, tmp_path: Path) -> None:
    desk.seal()
    path = f"{desk.at}/print/recovery-sheet.pdf"
    sheet = desk.ada.post(path, data={"recovery_code": desk.recovery_code})
    document = pypdfium2.PdfDocument(sheet.content)
    text = document[0].get_textpage().get_text_range()
    document.close()
    assert desk.recovery_code in text
    assert desk.row().commitment[:8] in text.replace(" ", "")
    wrong = "AAAAA-" * 5 + "AAAAA"
    for other in (wrong, PHRASE, ""):
        assert desk.ada.post(path, data={"recovery_code": other}).status_code == 422, other
    held = b"".join(file.read_bytes() for file in tmp_path.rglob("*") if file.is_file())
    assert desk.recovery_code.encode() not in held
    assert desk.recovery_code.replace("-", "").encode() not in held


def test_a_code_that_is_right_is_not_blamed_for_rows_that_were_changed(desk: Desk) -> None:
    desk.seal()
    with desk.house.database.write() as session:
        place = session.exec(select(Place).where(Place.study_id == desk.study)).first()
        place.number = 999
    told = desk.ada.post(f"{desk.at}/print/recovery-sheet.pdf", data={"recovery_code": desk.recovery_code})
    assert told.status_code == 422
    assert "does not match its commitment" in words(told)
    assert "letter by letter" not in words(told)


@pytest.mark.parametrize(
    ("holder", "more", "said"),
    [
        ("self", {}, "that the organiser did not look at the names in between"),
        ("split", {}, "that the second person told nobody"),
        ("parts", {"passphrase_2": SECOND, "again_2": SECOND}, "which opens the names by itself"),
    ],
    ids=["self-attested", "split key", "two parts"],
)
def test_the_page_says_what_the_seal_does_not_prove(
    desk: Desk, holder: str, more: dict[str, str], said: str
) -> None:
    desk.seal(holder=holder, **more)
    page = words(desk.ada.get(desk.at))
    assert said in page
    assert "No seal proves that the program was not changed" in page
