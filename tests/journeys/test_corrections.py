"""Tasters who correct what they answered, page by page without the script; and what the files say of it afterwards."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from html import unescape
from typing import TYPE_CHECKING

import pytest

from demo.phone import screens_in
from panel.analysis.verification import each_check, verify_bundle
from panel.study import bundle
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    from httpx2 import Response
    from starlette.testclient import TestClient

RICE = TYPED | {
    "tasters": "3",
    "way_back": "yes",
    "question-2-text": "How firm?",
    "question-2-scale": "line-100",
}


def begun(desk: Desk, typed: dict[str, str] = RICE) -> None:
    desk.draft(typed)
    desk.ada.get(f"{desk.at}/plan")
    desk.seal()
    desk.open()


def joined(desk: Desk) -> tuple[TestClient, str, list[str]]:
    """A phone, the address of its ballot, and the codes in order."""
    phone = desk.join()
    page = phone.ballot  # type: ignore[attr-defined]
    return phone, page.url.path, [screen.codes[0] for screen in screens_in(page.text)]


def answer(
    phone: TestClient, ballot: str, number: int, liking: int, firm: str = "40", **more: str
) -> Response:
    fields = {"q1": str(liking), "q2": f"remark {liking}", "q3": firm}
    return phone.post(f"{ballot}/{number}", data=fields | more)


def table(files: dict[str, str], name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files[name])))


def unzipped(data: bytes) -> dict[str, str]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name).decode("utf-8", "surrogateescape") for name in archive.namelist()}


def test_an_answered_screen_is_opened_again_corrected_and_counted_once(desk: Desk) -> None:
    begun(desk)
    phone, ballot, codes = joined(desk)
    page = answer(phone, ballot, 1, 8, "30")
    assert "Change an earlier answer" in page.text
    assert re.findall(r'href="[^"]+" data-to="(\d+)"', page.text.split("<details")[1]) == ["1"]
    again = phone.get(f"{ballot}/1")
    assert codes[0] in again.text
    assert "Change your answers" in again.text
    assert 'name="again" value="1"' in again.text
    assert re.search(r'value="8"[^>]* checked', again.text), "what stands is filled in"
    assert "remark 8</textarea>" in again.text
    assert re.search(r'value="30"[^>]* checked', again.text)
    wrong = answer(phone, ballot, 1, 8, "999", again="1")
    assert wrong.status_code == 422
    assert "“999” is not on the line." in unescape(wrong.text)
    on = answer(phone, ballot, 1, 2, "70", again="1")
    assert on.url.path == f"{ballot}/2"
    answer(phone, ballot, 2, 5)
    answer(phone, ballot, 3, 6)
    assert phone.get(f"{ballot}/1").url.path == ballot, "whoever has finished has finished"
    desk.shut()
    report = words(desk.ada.get(f"{desk.at}/report"))
    assert re.search("Tasters corrected (1|one) answered screen before closing", report)
    assert "corrected screen 1, as the plan allows" in report
    desk.sign()
    files = unzipped(desk.bundle())
    firm = [
        float(row["value"])
        for row in table(files, bundle.ANSWERS)
        if row["question"] == "q3" and row["value"]
    ]
    assert sorted(firm) == [40, 40, 70], "the corrected answer counts, and the first one does not"
    check = verify_bundle(desk.bundle())
    assert check.first_failure is None
    sends = [json.loads(line) for line in files[bundle.SENDS].splitlines()]
    assert [send["outcome"] for send in sends][:4] == ["stored", "correction", "stored", "stored"]


def test_the_files_show_a_correction_that_the_plan_did_not_allow(desk: Desk) -> None:
    begun(desk)
    phone, ballot, _ = joined(desk)
    answer(phone, ballot, 1, 8)
    answer(phone, ballot, 1, 2, again="1")
    desk.shut()
    files = unzipped(desk.bundle())
    sealed = json.loads(files[bundle.SEALED])
    sealed["plan"]["pace"]["way_back"] = False
    forged = io.BytesIO()
    with zipfile.ZipFile(forged, "w") as archive:
        for name, text in (files | {bundle.SEALED: json.dumps(sealed)}).items():
            archive.writestr(name, text.encode("utf-8", "surrogateescape"))
    found = [check.text for check in each_check(forged.getvalue(), "") if check.holds is False]
    assert any("corrects an answered screen, which the sealed plan does not allow" in text for text in found)
    assert any("the plan" in text for text in found), "and the plan is not the sealed one"


@pytest.mark.parametrize("method", ["rating", "triangle"])
def test_where_the_plan_does_not_allow_it_no_screen_is_opened_again(desk: Desk, method: str) -> None:
    """A rating without leave, and a set of cups, where leave means nothing."""
    typed = TYPED if method == "rating" else {
        key: value for key, value in RICE.items() if not key.startswith(("question-", "product-2"))
    } | {"method": "triangle", "replicates": "2"}  # fmt: skip
    desk.draft(dict(typed))
    assert ('name="way_back"' in desk.ada.get(f"{desk.at}/draft").text) == (method == "rating")
    begun(desk, dict(typed))
    phone, ballot, _ = joined(desk)
    sent = {"q1": "8", "choice": "2"}
    page = phone.post(f"{ballot}/1", data=sent)
    assert "Change an earlier answer" not in page.text
    assert "Once saved, an answer stays as it is." in page.text
    assert phone.get(f"{ballot}/1").url.path == f"{ballot}/2"
    phone.post(f"{ballot}/1", data=sent | {"q1": "2", "choice": "1", "again": "1"})
    desk.shut()
    sends = [json.loads(line) for line in unzipped(desk.bundle())[bundle.SENDS].splitlines()]
    assert [send["outcome"] for send in sends] == ["stored", "kept aside"]


def test_an_erased_person_leaves_no_words_in_any_revision(desk: Desk) -> None:
    begun(desk)
    phone, ballot, _ = joined(desk)
    answer(phone, ballot, 1, 8)
    answer(phone, ballot, 1, 2, again="1")
    desk.shut()
    assert "remark 8" in unzipped(desk.bundle())[bundle.SENDS], "bait: it is found while it is there"
    person = desk.ada.get(f"{desk.at}/people").text.split("/erase")[0].rsplit("/", 1)[1]
    desk.ada.post(f"{desk.at}/people/{person}/erase")
    files = unzipped(desk.bundle())
    assert not [name for name, text in files.items() if "remark" in text]
    assert verify_bundle(desk.bundle()).first_failure is None
