"""Two organisers, and a study's further life: the next round, the archive, the bin, the links that end with it."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlmodel import SQLModel, col, select

from demo.phone import hidden_fields
from panel.store.database import now
from panel.store.ledger import events_of
from panel.store.shelf import DAYS_OF_GRACE, remove_for_good
from panel.store.tables import SignIn, Study
from panel.study.seal import first_broken
from tests.web.desk import NAME, PASSWORD, PHRASE, TYPED, Desk, words

if TYPE_CHECKING:
    from starlette.testclient import TestClient

NAMES = ("Tomoshibi", "Kumorigama", "Ricelet", "Asunagi")


def bo_at(desk: Desk) -> TestClient:
    desk.ada.post("/organisers", data={"name": "Bo", "password": "another long one"})
    bo = desk.client()
    assert "Begin a study" in bo.post("/sign-in", data={"name": "bo", "password": "another long one"}).text
    return bo


def test_a_signed_in_organiser_adds_another_and_the_log_tells_them_apart(desk: Desk) -> None:
    bo = bo_at(desk)
    assert re.search(r"Bo</th><td>Ada", desk.ada.get("/organisers").text)
    desk.draft()
    bo.post(f"{desk.at}/copy")
    desk.seal()
    bo.post(f"{desk.at}/open")
    with desk.read() as session:
        done = {event.kind: event.actor for event in events_of(session, desk.study)}
    assert (done["study sealed"], done["sitting opened"]) == ("organiser Ada", "organiser Bo")


def test_nobody_else_adds_an_organiser(desk: Desk) -> None:
    stranger = desk.client()
    refused = stranger.post("/organisers", data={"name": "Cy", "password": "another long one"})
    assert refused.status_code == 403
    assert "Cy" not in desk.ada.get("/organisers").text


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"name": "ADA ", "password": "another long one"}, "There is an organiser called"),
        ({"name": "", "password": "another long one"}, "Write your name"),
        ({"name": "Cy", "password": "short"}, "at least 10 characters"),
        ({"name": "C" * 200, "password": "another long one"}, "Shorten the name"),
    ],
    ids=["same name", "no name", "short password", "long name"],
)
def test_an_account_that_will_not_do_is_refused_with_the_reason(
    desk: Desk, fields: dict[str, str], sentence: str
) -> None:
    refused = desk.ada.post("/organisers", data=fields)
    assert (refused.status_code, sentence in words(refused)) == (422, True), words(refused)


def test_a_new_password_ends_the_other_sign_ins_and_keeps_this_one(desk: Desk) -> None:
    elsewhere = desk.client()
    elsewhere.post("/sign-in", data={"name": NAME, "password": PASSWORD})
    assert (
        desk.ada.post("/organisers/password", data={"old": "wrong", "new": "a newer password"}).status_code
        == 422
    )
    desk.ada.post("/organisers/password", data={"old": PASSWORD, "new": "a newer password"})
    assert "/sign-in" not in str(desk.ada.get("/organisers").url)
    assert "/sign-in" in str(elsewhere.get("/organisers").url)


def test_the_second_to_save_a_draft_is_told_and_neither_is_lost(desk: Desk) -> None:
    bo = bo_at(desk)
    desk.draft()

    def form(client: TestClient, title: str) -> dict[str, str]:
        mark = re.search(r'name="as_of" value="(\w+)"', client.get(f"{desk.at}/draft").text)
        assert mark
        return {**TYPED, "title": title, "as_of": mark[1], "go": "save"}

    hers, his = form(desk.ada, "Hers"), form(bo, "His")
    assert "Saved." in desk.ada.post(f"{desk.at}/draft", data=hers).text
    told = bo.post(f"{desk.at}/draft", data=his)
    assert (told.status_code, "Somebody else saved this draft" in words(told)) == (422, True)
    assert 'value="His"' in told.text, "what he typed is on the page"
    assert desk.row().title == "Hers"
    mark = re.search(r'name="as_of" value="(\w+)"', told.text)
    assert mark
    assert bo.post(f"{desk.at}/draft", data={**his, "as_of": mark[1]}).status_code == 200
    assert desk.row().title == "His"


def plan_shown(desk: Desk) -> str:
    """The mark in the form that seals."""
    return hidden_fields(desk.ada.get(f"{desk.at}/plan").text)["as_of"]


@pytest.mark.parametrize("changed", ["draft", "orders", "words"])
def test_a_plan_that_changed_in_another_tab_is_shown_before_it_is_sealed(desk: Desk, changed: str) -> None:
    desk.draft()
    old = plan_shown(desk)
    if changed == "draft":
        desk.ada.post(f"{desk.at}/draft", data={**TYPED, "tasters": "9", "go": "save"})
    elif changed == "orders":
        desk.ada.post(f"{desk.at}/plan")
    else:
        sentence = re.search(r'name="(word-\w+)"', desk.ada.get(f"{desk.at}/words").text)
        assert sentence
        desk.ada.post(f"{desk.at}/words", data={sentence[1]: "In words of our own"})
    form = {"passphrase": PHRASE, "again": PHRASE, "holder": "self"}
    refused = desk.ada.post(f"{desk.at}/seal", data={**form, "as_of": old})
    assert refused.status_code == 409
    assert "Nothing is sealed. This is the plan as it stands now" in words(refused)
    assert desk.row().state == "draft"
    new = hidden_fields(refused.text)["as_of"]
    assert new == plan_shown(desk) != old
    assert desk.ada.post(f"{desk.at}/seal", data={**form, "as_of": new}).status_code == 200
    assert desk.row().state == "sealed"


@pytest.mark.parametrize("passphrase", [PHRASE, "short"])
def test_a_plan_that_was_never_looked_at_is_drawn_and_shown(desk: Desk, passphrase: str) -> None:
    """Saving a draft takes its orders away: pressing “Seal” in another tab then meets a plan without any."""
    desk.draft()
    old = plan_shown(desk)
    desk.ada.post(f"{desk.at}/draft", data={**TYPED, "tasters": "9", "go": "save"})
    assert desk.row().seed == ""
    form = {"passphrase": passphrase, "again": passphrase, "holder": "split", "as_of": old}
    refused = desk.ada.post(f"{desk.at}/seal", data=form)
    assert (refused.status_code, "Nothing is sealed. This is the plan" in words(refused)) == (409, True)
    assert "cannot be drawn" not in words(refused)
    assert re.findall(r'name="holder" value="(\w+)" checked', refused.text) == ["split"], "as it was chosen"
    assert desk.row().state == "draft"


def test_of_two_who_seal_at_once_one_is_told_that_it_is_done(desk: Desk) -> None:
    bo = bo_at(desk)
    desk.draft()
    desk.seal()
    second = bo.post(f"{desk.at}/seal", data={"passphrase": "x" * 12, "again": "x" * 12})
    assert (second.status_code, "already sealed" in words(second)) == (409, True)


def test_the_next_round_has_no_names_while_they_are_sealed(desk: Desk) -> None:
    desk.draft()
    desk.seal()
    copied = desk.ada.post(f"{desk.at}/copy")
    assert str(copied.url).endswith("/draft")
    assert "Which rice is liked best?" in copied.text
    assert "Rice, round one, next round" in copied.text
    assert [name for name in NAMES if name in copied.text] == []


def test_the_next_round_brings_the_products_along_once_they_are_revealed(desk: Desk) -> None:
    desk.draft()
    desk.seal()
    desk.open()
    desk.taste(3)
    desk.shut()
    desk.sign()
    desk.reveal()
    copied = desk.ada.post(f"{desk.at}/copy").text
    assert [name for name in NAMES if name not in copied] == []
    assert len(re.findall(r'name="product-\d-allergen_soybeans" value="yes" checked', copied)) == 1


def test_a_study_is_archived_and_comes_back(desk: Desk) -> None:
    desk.draft()
    assert desk.study in desk.ada.get("/").text
    desk.ada.post(f"{desk.at}/archive")
    assert desk.study not in desk.ada.get("/").text
    assert desk.study in desk.ada.get("/shelf").text
    assert desk.ada.get(f"{desk.at}/draft").status_code == 200
    keeping = words(desk.ada.get(f"{desk.at}/keeping"))
    assert "Bring the study back" in keeping
    assert "Archive the study" not in keeping, "it is archived already"
    desk.ada.post(f"{desk.at}/bring-back")
    assert "Archive the study" in words(desk.ada.get(f"{desk.at}/keeping"))
    assert desk.study in desk.ada.get("/").text


def test_a_deleted_study_is_gone_for_everybody_comes_back_within_the_days_of_grace_and_not_after(
    desk: Desk,
) -> None:
    desk.draft()
    desk.seal()
    desk.open()
    desk.taste(2)
    desk.client().get(desk.link("kitchen"))
    refused = desk.ada.post(f"{desk.at}/delete")
    assert (refused.status_code, "Close the sitting first" in words(refused)) == (409, True)
    desk.shut()
    desk.ada.post(f"{desk.at}/delete")
    assert desk.ada.get(desk.at).status_code == 404
    with desk.house.database.write() as session:
        assert remove_for_good(session, now() + timedelta(days=DAYS_OF_GRACE - 1)) == 0
    desk.ada.post(f"{desk.at}/bring-back")
    assert desk.ada.get(desk.at).status_code == 200
    with desk.read() as session:
        assert first_broken(events_of(session, desk.study)) is None
    desk.ada.post(f"{desk.at}/delete")
    with desk.house.database.write() as session:
        assert remove_for_good(session, now() + timedelta(days=DAYS_OF_GRACE + 1)) == 1
    with desk.read() as session:
        left = [
            table.name
            for table in SQLModel.metadata.sorted_tables
            if table.name not in ("organiser", "signin", "uploadedtable")
            and session.execute(select(table)).first()
        ]
        assert session.exec(select(SignIn.id).where(col(SignIn.link_id).is_not(None))).all() == []
    assert left == [], "no row of it is left in any table"


def test_removing_one_study_leaves_the_others_whole(desk: Desk) -> None:
    desk.draft()
    desk.seal()
    desk.open()
    desk.taste(2)
    kept, at = desk.study, desk.at
    before = desk.ada.get(f"{at}/log").text.count("<tr>")
    desk.draft({**TYPED, "title": "Another"})
    desk.seal()
    desk.ada.post(f"{desk.at}/delete")
    with desk.house.database.write() as session:
        assert remove_for_good(session, now() + timedelta(days=DAYS_OF_GRACE + 1)) == 1
    with desk.read() as session:
        assert list(session.exec(select(Study.id))) == [kept]
        assert first_broken(events_of(session, kept)) is None
    assert desk.ada.get(f"{at}/log").text.count("<tr>") == before


@pytest.mark.parametrize("end", ["archive", "delete"], ids=["archived", "deleted"])
def test_the_links_end_with_the_study(desk: Desk, end: str) -> None:
    desk.draft()
    desk.seal()
    link = desk.link("analyst")
    analyst = desk.client()
    assert analyst.get(link).status_code == 409, "signed in; results are not open yet"
    desk.ada.post(f"{desk.at}/{end}")
    assert "/sign-in" in str(analyst.get(f"{desk.at}/report").url)
    assert desk.client().get(link).status_code == 404


def test_the_kitchens_link_ends_with_the_signature(desk: Desk) -> None:
    desk.draft()
    desk.seal()
    link = desk.link("kitchen")
    kitchen = desk.client()
    assert kitchen.get(link).status_code == 200
    desk.open()
    desk.taste(3)
    desk.shut()
    assert kitchen.get(f"{desk.at}/kitchen").status_code == 200
    desk.sign()
    assert "/sign-in" in str(kitchen.get(f"{desk.at}/kitchen").url)
    assert desk.client().get(link).status_code == 404
