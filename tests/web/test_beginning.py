"""A study begins from a question in plain words: the advice, the draft it makes, what is refused, and the rehearsal."""

from __future__ import annotations

import hashlib
import re
from html import unescape
from typing import TYPE_CHECKING

import pypdfium2
import pytest

from panel.store.rows import cups_of
from panel.study.asking import QUESTIONS
from tests.web.a_house import PASSPHRASE, app_in, cheaper, first_start

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from httpx2 import Response
    from starlette.testclient import TestClient

NAMES = ("Quxlavorimba", "Zophtrenkel", "Vantherlopp", "Brimsadoul", "Krellwinto")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with pytest.MonkeyPatch.context() as patch:
        cheaper(patch)
        app = app_in(tmp_path_factory.mktemp("beginning"))
        yield first_start(app)
        app.state.house.database.close()


def words(answer: Response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", answer.text)).split())


def typed_in(page: str) -> dict[str, str]:
    """What a browser would send of the draft's form."""
    sent: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", page):
        given = dict(re.findall(r'([a-z_-]+)="([^"]*)"', tag))
        if "name" in given and (given.get("type") not in ("checkbox", "radio") or " checked" in tag):
            sent[given["name"]] = unescape(given.get("value", ""))
    for name, inside in re.findall(r'<select id="[^"]*" name="([^"]*)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', inside) or re.search(r'value="([^"]*)"', inside)
        sent[name] = unescape(chosen[1]) if chosen else ""
    for name, inside in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', page, re.S):
        sent[name] = unescape(inside)
    return sent


def pages_of(pdf: Response) -> list[str]:
    """The text of each page."""
    document = pypdfium2.PdfDocument(pdf.content)
    return [document[number].get_textpage().get_text_bounded() for number in range(len(document))]


def planned(desk: TestClient, **asked: str) -> str:
    """The id of a study begun from that question, named and planned, all by its pages."""
    begun = desk.post("/studies/new", data={"about": "rice", **asked})
    assert begun.status_code == 303, words(begun)
    study: str = begun.headers["location"].split("/")[2]
    sent = typed_in(desk.get(f"/studies/{study}/draft").text)
    for number, name in enumerate(NAMES):
        if f"product-{number}-name" in sent:
            sent[f"product-{number}-name"] = name
    answer = desk.post(f"/studies/{study}/draft", data={**sent, "go": "plan"})
    assert answer.status_code == 303, words(answer)
    return study


# asked -> the test, the plan's people, and what the plan page says it finds; figures from test_planning_measures
SIX = [
    ({"asks": "apart", "people": "14"}, "Tetrad test", 14, "56 % of people taste is found"),
    (
        {"asks": "change", "people": "60", "hope": "unnoticed"},
        "Triangle test",
        54,
        "show so with a chance of 90 %",
    ),
    ({"asks": "liked", "products": "5", "people": "24"}, "Rating", 24, "a difference of 1.9 points is found"),
    ({"asks": "as good", "people": "48"}, "Triangle test", 48, "If 30 % of people do taste one"),
    ({"asks": "like what", "products": "3", "people": "30"}, "Rating", 30, "points is found"),
    (
        {"asks": "rank", "products": "4", "people": "30", "attribute": "firmness"},
        "Ranking",
        30,
        "put before any other",
    ),
]


@pytest.mark.parametrize(("asked", "test", "people", "found"), SIX, ids=[row[0]["asks"] for row in SIX])
def test_six_plain_questions_lead_to_a_plan_that_can_be_sealed(
    desk: TestClient, asked: dict[str, str], test: str, people: int, found: str
) -> None:
    advice = desk.get("/studies/new", params={"about": "rice", **asked})
    assert advice.status_code == 200
    assert f"What could {people} people miss?" in words(advice)
    assert found in words(advice)
    assert advice.text.count('src="data:image/svg+xml') == 2
    assert "Shopping list" in words(advice)
    assert "Use this plan" in words(advice)
    study = planned(desk, **asked)
    plan = desk.get(f"/studies/{study}/plan")
    assert f"{test}: " in words(plan)
    assert f"{people} tasters" in words(plan)
    assert found in words(plan)
    assert "The numbers behind this figure" in words(plan)
    phrases = {"passphrase": PASSPHRASE, "again": PASSPHRASE, "holder": "self"}
    assert "go on to printing" in words(desk.post(f"/studies/{study}/seal", data=phrases))


def test_the_first_page_offers_the_six_and_asks_for_one(desk: TestClient) -> None:
    front = words(desk.get("/"))
    page = words(desk.get("/studies/new"))
    for question in QUESTIONS.values():
        assert question.words in front
        assert question.words in page
    assert "Choose a question, and a plan" in page


def test_the_advice_alone_comes_back_where_only_it_is_asked_for(desk: TestClient) -> None:
    fragment = desk.get("/studies/new", params={"asks": "apart"}, headers={"HX-Request": "true"})
    assert fragment.text.lstrip().startswith('<section id="advice"')
    assert "<html" not in fragment.text


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"asks": "liked", "products": "none"}, "as a whole number from 1 to 40, not “none”."),
        ({"asks": "liked", "people": "0"}, "Write how many people you have as a whole number from 1 to 2000, not “0”."),
        ({"asks": "winning"}, "Choose a question from the list; “winning” is not in it."),
        ({"asks": "liked", "own_points": "ten"}, "Write the difference in points of nine as a number from 0.1 to 8."),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_said_and_comes_back_as_typed(
    desk: TestClient, asked: dict[str, str], said: str
) -> None:
    before = desk.get("/").text.count("/studies/")
    for answer in (desk.get("/studies/new", params=asked), desk.post("/studies/new", data=asked)):
        assert answer.status_code == 422
        assert said in words(answer)
        for value in list(asked.values())[1:]:
            assert f'value="{value}"' in answer.text
    assert desk.get("/").text.count("/studies/") == before, "nothing was begun"


@pytest.mark.parametrize(
    ("asked", "nearest"),
    [
        ({"asks": "as good", "people": "12"}, "Plan 46: identical samples then pass four times out of five"),
        ({"asks": "apart", "people": "2"}, "The nearest that can work has 3 tasters"),
        ({"asks": "liked", "products": "1"}, "taste it beside a second one that you know well"),
        (
            {"asks": "liked", "products": "15", "cups": "15", "lingering": "strong", "people": "60"},
            "Give each taster 5 samples at a sitting",
        ),
    ],
)
def test_a_plan_that_cannot_work_is_refused_with_the_nearest_that_does(
    desk: TestClient, asked: dict[str, str], nearest: str
) -> None:
    page = desk.get("/studies/new", params=asked)
    assert nearest in words(page)
    assert "Use this plan" not in words(page)
    before = desk.get("/").text.count("/studies/")
    assert desk.post("/studies/new", data=asked).status_code == 422
    assert desk.get("/").text.count("/studies/") == before


def test_a_draft_that_cannot_work_is_not_planned_and_not_sealed(desk: TestClient) -> None:
    study = planned(desk, asks="apart", people="14")
    sent = typed_in(desk.get(f"/studies/{study}/draft").text) | {"tasters": "2"}
    answer = desk.post(f"/studies/{study}/draft", data={**sent, "go": "plan"})
    assert answer.status_code == 422
    assert "With 2 tasters a tetrad test can never be significant at 0.05" in words(answer)
    assert 'value="2"' in answer.text
    plan = desk.get(f"/studies/{study}/plan")
    assert "This plan cannot work" in words(plan)
    assert "Seal the study" not in plan.text
    phrases = {"passphrase": PASSPHRASE, "again": PASSPHRASE, "holder": "self"}
    sealed = desk.post(f"/studies/{study}/seal", data=phrases)
    assert sealed.status_code == 422
    assert "can never be significant" in words(sealed)


def test_the_draft_says_beside_the_field_what_would_ruin_the_test(desk: TestClient) -> None:
    study = planned(desk, asks="liked", products="3", people="24")
    sent = typed_in(desk.get(f"/studies/{study}/draft").text) | {
        "looks_differ": "yes",
        "panel_kind": "trained",
    }
    saved = desk.post(f"/studies/{study}/draft", data={**sent, "go": "save"})
    for field, said in (
        ("looks_differ", "told apart by eye: tasters know"),
        ("panel_kind", "A trained panel is asked what it likes"),
    ):
        at = saved.text.index(f'id="{field}"')
        assert said in saved.text[at : at + 1500], field
        assert f'href="#{field}"' in saved.text
    assert "told apart by eye: tasters know" in words(desk.get(f"/studies/{study}/plan"))


# ---- the rehearsal


def folder_print(desk: TestClient) -> str:
    """Fingerprint of every row of the database."""
    connection = desk.app.state.house.database.engine.raw_connection()  # type: ignore[attr-defined]
    try:
        return hashlib.sha256("\n".join(connection.driver_connection.iterdump()).encode()).hexdigest()
    finally:
        connection.close()


@pytest.mark.parametrize(("asked", "test", "people", "found"), SIX, ids=[row[0]["asks"] for row in SIX])
def test_a_rehearsal_shows_the_report_and_leaves_nothing(
    desk: TestClient, asked: dict[str, str], test: str, people: int, found: str
) -> None:
    study = planned(desk, **asked)
    before = folder_print(desk)
    for truth, told in (("none", "all samples are the same"), ("planned", "Made up:")):
        page = desk.get(f"/studies/{study}/rehearsal", params={"truth": truth})
        assert page.status_code == 200
        assert page.text.count("REHEARSAL – made-up answers") >= 4, (
            "above, below, in the title, and as a watermark"
        )
        assert told in words(page)
        assert 'class="headline"' in page.text
        assert f"{people} tasters" in words(page) or f"of {people} " in words(page)
        assert not [name for name in NAMES if name in page.text]
    again = desk.get(f"/studies/{study}/rehearsal", params={"truth": "planned", "run": "2"})
    assert again.text != page.text, "other people"
    for sheet in ("labels", "pour-sheet", "tray-maps", "ballots"):
        pdf = desk.get(f"/studies/{study}/rehearsal/{sheet}.pdf")
        assert pdf.headers["content-type"] == "application/pdf"
        assert all("REHEARSAL" in text for text in pages_of(pdf)), sheet
        assert not [name for name in NAMES if any(name in text for text in pages_of(pdf))]
    assert folder_print(desk) == before


def test_codes_of_a_rehearsal_are_from_another_draw_and_end_with_the_seal(desk: TestClient) -> None:
    study = planned(desk, asks="liked", products="5", people="24")
    tried = pages_of(desk.get(f"/studies/{study}/rehearsal/tray-maps.pdf"))
    rehearsed = re.findall(r"\b\d{3}\b", "\n".join(tried))
    assert desk.get(f"/studies/{study}/plan").status_code == 200
    phrases = {"passphrase": PASSPHRASE, "again": PASSPHRASE, "holder": "self"}
    assert desk.post(f"/studies/{study}/seal", data=phrases).status_code == 200
    with desk.app.state.house.database.read() as session:  # type: ignore[attr-defined]
        sealed = [cup.code for cup in cups_of(session, study)]
    assert len(rehearsed) >= len(sealed) == 120
    same = sum(one == other for one, other in zip(rehearsed, sealed, strict=False))
    # 120 codes drawn anew from a pool of several hundred: about one in four hundred is the same by chance
    assert same < 10
    for path in ("", "/labels.pdf"):
        answer = desk.get(f"/studies/{study}/rehearsal{path}")
        assert (answer.status_code, answer.headers["location"]) == (303, f"/studies/{study}")


def test_an_unfinished_draft_is_not_rehearsed(desk: TestClient) -> None:
    begun = desk.post("/studies/new", data={"asks": "apart", "people": "14"})
    study = begun.headers["location"].split("/")[2]
    assert desk.get(f"/studies/{study}/rehearsal").status_code == 303
    planned_one = planned(desk, asks="apart", people="14")
    assert desk.get(f"/studies/{planned_one}/rehearsal/secrets.pdf").status_code == 404


@pytest.mark.parametrize("digits", ["0" * 4 + "1" + "9" * 5000, "00" + "9" * 20, "-3", "none"])
def test_no_number_however_odd_makes_a_page_fail(desk: TestClient, digits: str) -> None:
    study = planned(desk, asks="apart", people="14")
    rehearsed = desk.get(f"/studies/{study}/rehearsal", params={"run": digits})
    assert (rehearsed.status_code, "Run 1." in words(rehearsed)) == (200, True)
    typed = {**typed_in(desk.get(f"/studies/{study}/draft").text), "products": digits}
    saved = desk.post(f"/studies/{study}/draft", data={**typed, "go": "save"})
    assert (saved.status_code, saved.text.count('-name" name="product-')) == (200, 2)


def test_no_draft_however_odd_makes_the_page_fail(desk: TestClient, tmp_path: Path) -> None:
    odd = (
        {"method": "ranking", "tasters": "2000", "product-0-name": "a"},
        {"method": "A-not-A", "tasters": "0", "replicates": "6"},
        {"method": "rating", "tasters": "3", "per_taster": "2", "sittings": "9", "spread": "100", "own_points": "0.1"},
        {"method": "same-different", "tasters": "2000", "product-0-name": "a", "product-1-name": "b"},
        {"method": "triangle", "similarity_limit": "1", "alpha": "0.0001", "size": "tiny", "lingering": "forever"},
        {"method": "nothing", "question-0-text": "?", "question-0-scale": "number"},
    )  # fmt: skip
    for typed in odd:
        study = desk.post("/studies", data={"method": "rating"}).headers["location"].split("/")[2]
        answer = desk.post(f"/studies/{study}/draft", data={**typed, "go": "plan"})
        assert answer.status_code == 422, typed
        assert desk.get(f"/studies/{study}/draft").status_code == 200
