"""Bringing a study back from its files: the same study, to be read only; anything else is refused, and why."""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select
from typer.testing import CliRunner

from demo.phone import screens_in
from panel.cli import app
from panel.store.rows import attempts_of, cups_of
from panel.store.shelf import studies_on_the_shelf
from panel.store.studies import study_called
from panel.store.tables import Person, Serving
from panel.study import bundle, seal
from tests.journeys.coming_back import comes_back_the_same, files_in
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from httpx2 import Response
    from starlette.testclient import TestClient

WARM = {**TYPED, "tasters": "5", "warm_up": "yes", "replicates": "2", "sittings": "2", "ask_name": "yes"}


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A study in which everything went otherwise than planned, revealed."""
    patch = pytest.MonkeyPatch()
    patch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path_factory.mktemp("was"))
    made.draft(WARM)
    made.seal()
    replace_one_cup(made, 1)
    made.open()
    made.taste(2, "Grains that hold\u2028together", name="Ida")
    leaver = made.join("Ole")
    made.ada.post(f"{made.at}/room/3/gone")
    made.ada.post(f"{made.at}/room/3/again")
    exchange_two_cups(made, 4)
    made.taste(2)
    made.ada.post(f"{made.at}/end-sitting")
    answer_rest(leaver)
    made.ada.post(f"{made.at}/next-sitting")
    made.shut()
    people = made.ada.get(f"{made.at}/people").text
    made.ada.post(re.findall(r'action="([^"]+/erase)"', people)[0])
    report = made.ada.get(f"{made.at}/report").text
    attempt = re.findall(r'name="attempt" value="([^"]+)"', report)[1]
    made.ada.post(f"{made.at}/exclusions", data={"attempt": attempt, "reason": "Had a cold"})
    made.phone = leaver  # type: ignore[attr-defined]
    made.sign()
    made.reveal()
    yield made
    made.close()
    patch.undo()


@pytest.fixture(scope="module")
def data(desk: Desk) -> bytes:
    return desk.bundle()


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[Desk]:
    made = Desk(tmp_path / "elsewhere")
    yield made
    made.close()


def replace_one_cup(desk: Desk, place: int) -> None:
    page = desk.ada.get(f"{desk.at}/room/{place}").text
    cup = re.search(r'name="cup".*?<option value="([^"]+)"', page, re.DOTALL)
    assert cup
    desk.ada.post(f"{desk.at}/room/{place}/cups", data={"cup": cup[1], "reason": "spilled"})


def exchange_two_cups(desk: Desk, place: int) -> None:
    page = desk.ada.get(f"{desk.at}/room/{place}").text
    options = re.search(r'name="one".*?</select>', page, re.DOTALL)
    if options:
        cups = [value for value in re.findall(r'<option value="([^"]+)"', options[0]) if value]
        desk.ada.post(f"{desk.at}/room/{place}/order", data={"one": cups[0], "other": cups[1]})


def answer_rest(phone: TestClient) -> None:
    """A phone that was off sends what it still has: late, and kept."""
    page: Response = phone.ballot  # type: ignore[attr-defined]
    for screen in screens_in(page.text)[:1]:
        phone.post(screen.action, data={"submission": screen.submission, "q1": "5", "q2": "late"})


def upload(desk: Desk, content: bytes, name: str = "study.zip") -> Response:
    return desk.ada.post("/bring-back", files={"file": (name, content)})


def zipped(files: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return packed.getvalue()


def test_a_study_in_which_much_happened_comes_back_the_same(desk: Desk, data: bytes, tmp_path: Path) -> None:
    kinds = {json.loads(line)["kind"] for line in files_in(data)[bundle.EVENTS].decode().splitlines()}
    assert {
        "cup replaced", "place given again", "taster gone", "taster left out", "person erased", "sitting ended",
    } <= kinds  # fmt: skip
    comes_back_the_same(data, tmp_path)


def test_what_came_back_can_be_read_and_not_gone_on_with(desk: Desk, data: bytes, elsewhere: Desk) -> None:
    reply = upload(elsewhere, data)
    at = f"/studies/{desk.study}"
    assert str(reply.url).endswith(at)
    assert "Brought back from its files" in words(reply)
    assert "Tomoshibi" in words(reply), "the key is there"
    assert elsewhere.ada.get(f"{at}/report").status_code == 200
    assert "Had a cold" in words(elsewhere.ada.get(f"{at}/report"))
    for page in ("log", "people", "keeping", "room", "room/1"):
        assert elsewhere.ada.get(f"{at}/{page}").status_code == 200, page
    refused = {
        "amendments": {"what": "x", "reason": "y"}, "room/4/gone": {}, "room/4/again": {}, "copy": {},
        "room/4/order": {"one": "a", "other": "b"}, "open": {}, "close": {}, "sign": {"signed_by": "Eve"},
        "exclusions": {"attempt": "x", "reason": "y"}, "reveal": {"passphrase": "z"}, "next-sitting": {},
    }  # fmt: skip
    with elsewhere.read() as session:  # type: ignore[attr-defined]
        before = [study.id for study in studies_on_the_shelf(session)]
    for page, form in refused.items():
        answer = elsewhere.ada.post(f"{at}/{page}", data=form)
        assert answer.status_code in (409, 422), (page, answer.status_code)
    assert before == [desk.study], "it lies in the archive"


def test_no_card_no_cup_and_no_phone_of_that_tasting_works_again(data: bytes, desk: Desk) -> None:
    """In the very house it came from, with its own server key: deleted for good, then brought back."""
    cards = re.findall(r"/C/([A-Z2-7]{12})", desk.ada.get(f"{desk.at}/print/labels.csv").text) or []
    phone: TestClient = desk.phone  # type: ignore[attr-defined]
    ballot: Response = phone.ballot  # type: ignore[attr-defined]
    place = str(ballot.url).replace("http://testserver", "")
    with desk.read() as session:  # type: ignore[attr-defined]
        tokens = {cup.token for cup in cups_of(session, desk.study)}
    from datetime import timedelta

    from panel.store.database import now
    from panel.store.shelf import delete_study, remove_for_good

    with desk.house.database.write() as session:
        delete_study(session, desk.study, "organiser Ada")
    assert "among the deleted studies" in words(upload(desk, data)), "the bin is the way back"
    with desk.house.database.write() as session:
        assert remove_for_good(session, now() + timedelta(days=31)) == 1
    assert upload(desk, data).status_code == 200
    with desk.read() as session:  # type: ignore[attr-defined]
        back = {cup.token for cup in cups_of(session, desk.study)}
        assert all(not person.name for person in session.exec(select(Person)))
        assert len(list(session.exec(select(Serving)))) == len(back)
        assert {seat.name for seat in attempts_of(session, desk.study)} == {""}
    assert len(back) == len(tokens)
    assert not tokens & back
    assert not set(cards) & back
    assert phone.get(place).status_code == 410, "the phone's own cookie is still signed, and leads nowhere"
    for screen in screens_in(ballot.text)[:1]:
        sent = phone.post(screen.action, data={"submission": "f" * 32, "q1": "9"})
        assert sent.status_code == 410


def test_one_that_is_here_is_left_as_it_is(elsewhere: Desk, data: bytes) -> None:
    assert upload(elsewhere, data).status_code == 200
    again = upload(elsewhere, data)
    assert again.status_code == 422
    assert "is here already in the archive. Nothing was changed." in words(again)


def damaged(files: dict[str, bytes], name: str, change: Callable[[bytes], bytes]) -> bytes:
    return zipped({**files, name: change(files[name])})


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (bundle.SEALED, "plan and serving orders"),
        (bundle.EVENTS, "log"),
        (bundle.SENDS, "answers sent"),
        (bundle.ANSWERS, "answers"),
        (bundle.REPORT, "results"),
        (bundle.KEY, "key"),
        (bundle.PAGE, "files as exported"),
    ],
)
def test_a_changed_file_is_refused_by_the_first_thing_that_does_not_hold(
    elsewhere: Desk, data: bytes, name: str, said: str
) -> None:
    files = files_in(data)
    digits = {
        bundle.SEALED: (b'"replicate": 1', b'"replicate": 2'),
        bundle.EVENTS: (b"organiser Ada", b"organiser Eve"),
        bundle.SENDS: (b'"late": false', b'"late": true'),
        bundle.ANSWERS: (b",no,", b",yes,"),
        bundle.REPORT: (b'"alpha": 0.05', b'"alpha": 0.06'),
        bundle.KEY: (b"Tomoshibi", b"Kumorigama"),
        bundle.PAGE: (b"</main>", b"<p>More</p></main>"),
    }[name]
    changed = damaged(files, name, lambda content: content.replace(*digits, 1))
    reply = upload(elsewhere, changed)
    assert reply.status_code == 422
    assert f"This bundle does not hold, at “{said}”" in words(reply)
    with elsewhere.read() as session:  # type: ignore[attr-defined]
        assert study_called(session, json.loads(files[bundle.SEALED])["study"]) is None


def a_bomb() -> bytes:
    """300 MB of blanks in 300 kB."""
    return zipped(dict.fromkeys((bundle.SEALED, bundle.COMMITMENT, bundle.EVENTS), b" " * 100000000))


def a_liar() -> bytes:
    """A ZIP whose directory says that 300 MB are one byte."""
    packed = bytearray(a_bomb())
    size = struct.pack("<I", 100_000_000)
    return bytes(packed.replace(size, struct.pack("<I", 1)))


def twice() -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name in (bundle.SEALED, bundle.COMMITMENT, bundle.EVENTS):
            archive.writestr(name, "{}")
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr(bundle.SEALED, "{}")
    return packed.getvalue()


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: b"", "not a ZIP"),
        (lambda: b"PK\x03\x04 rubbish", "not a ZIP"),
        (a_bomb, "unpacks to more than"),
        (a_liar, "not a ZIP"),
        (twice, "holds sealed.json twice"),
        (lambda: zipped({f"{n}.txt": b"" for n in range(300)}), "unpacks to more than"),
        (lambda: zipped({"notes.txt": b"hello"}), "sealed.json is missing"),
        (
            lambda: zipped({bundle.SEALED: b"[]", bundle.COMMITMENT: b"x", bundle.EVENTS: b"7\n"}),
            "does not hold",
        ),
        (
            lambda: zipped({bundle.SEALED: b"\xff", bundle.COMMITMENT: b"x", bundle.EVENTS: b"{}"}),
            "not a ZIP",
        ),
    ],
    ids=["empty", "rubbish", "bomb", "liar", "twice", "many", "no bundle", "no records", "no text"],
)
def test_what_is_no_bundle_is_refused_in_a_sentence(
    elsewhere: Desk, make: Callable[[], bytes], said: str
) -> None:
    reply = upload(elsewhere, make())
    assert reply.status_code == 422
    assert said in words(reply)
    assert "Traceback" not in reply.text


def test_a_bundle_without_answers_cannot_come_back(elsewhere: Desk, tmp_path: Path) -> None:
    other = Desk(tmp_path / "other")
    other.draft()
    other.seal()
    assert "does not hold them" in words(upload(elsewhere, other.bundle()))
    other.close()
    assert "Choose a file first" in words(elsewhere.ada.post("/bring-back"))


def test_the_command_brings_back_and_refuses_in_a_sentence(data: bytes, tmp_path: Path) -> None:
    file = tmp_path / "study.zip"
    file.write_bytes(data)
    asked = ["bring-back", str(file), "--data", str(tmp_path / "house")]
    done = CliRunner().invoke(app, asked)
    assert (done.exit_code, done.stdout) == (
        0,
        "“Rice, round one” is back in the archive, revealed and read-only.\n",
    )
    again = CliRunner().invoke(app, asked)
    assert again.exit_code == 1
    assert "is here already in the archive" in again.stderr
