"""From a draft with names, sealed as the organiser seals it, to the last screen: no name on any of them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient

from panel.store.rows import cups_of
from panel.store.sealing import seal_study
from panel.store.studies import create_study, draw_plan, open_sitting, sitting_of
from panel.store.tables import Attempt
from panel.study.scales import scale_of
from tests.web.taster_app import taster_app

if TYPE_CHECKING:
    from pathlib import Path

NAMES = ("Kestrel Nine", "Marrow Pot", "Tall Kettle", "Lowfell Works", "LOT-7741")
DRAFT = {
    "title": "Cookers compared",
    "heading": "Rice tasting",
    "question": "Which rice is liked best?",
    "tasters": "4",
    "product-0-name": NAMES[0], "product-0-maker": NAMES[3], "product-0-lot": NAMES[4],
    "product-1-name": NAMES[1],
    "question-0-text": "How much do you like it?", "question-0-scale": "hedonic-9",
    "question-1-text": "How firm is it?", "question-1-scale": "line-100",
    "rinse": "Rinse with water.",
}  # fmt: skip
RATING = DRAFT | {
    "method": "rating",
    "product-2-name": NAMES[2],
    "condition-0-name": "plain",
    "condition-1-name": "with dashi",
}
PLANS = {
    "rating, same cup": RATING | {"condition_mode": "same cup"},
    "rating, separate cups": RATING | {"condition_mode": "separate"},
    "triangle": DRAFT | {"method": "triangle", "replicates": "2"},
}


@pytest.mark.parametrize("draft", PLANS.values(), ids=PLANS.keys())
def test_a_sealed_study_is_tasted_to_the_end_by_codes_alone(tmp_path: Path, draft: dict[str, str]) -> None:
    app = taster_app(tmp_path)
    house = app.state.house
    with house.database.write() as session:
        study = create_study(session, "organiser Ada", draft)
        draw_plan(session, study.id)
    with house.database.write() as session:
        seal_study(session, house.tokens, study.id, "organiser Ada", "a long passphrase", "self")
        open_sitting(session, study.id, "organiser Ada")
        sitting = sitting_of(session, study.id)
        cups = cups_of(session, study.id)
    join = f"/J/{house.tokens.sitting(sitting.id, sitting.token_revision)}"
    letters = {f">{cup.pour_letter}<" for cup in cups}
    for place in range(1, 5):
        pages, ballot = _taste(TestClient(app), join)
        met = re.findall(r'class="code">(\d{3})<', "".join(page.split("<template")[0] for page in pages))
        assert met == [cup.code for cup in cups if cup.place == place], "every code, in serving order"
        for page in pages:
            assert [name for name in (*NAMES, *letters) if name in page] == []
        with house.database.read() as session:
            assert session.get_one(Attempt, ballot.split("/")[-1]).status == "finished"
    house.database.close()


def _taste(phone: TestClient, join: str) -> tuple[list[str], str]:
    """Join and answer whatever is asked; the pages seen and the ballot's path."""
    consent = re.search(r'name="consent" value="(\w+)"', phone.get(join).text)
    assert consent
    page = phone.post(join, data={"consent": consent[1]})
    ballot, pages = page.url.path, []
    answers = {"q1": str(scale_of("hedonic-9").points[3].value), "q2": "55.5", "choice": "3"}
    while "data-ballot" in page.text:
        pages.append(page.text)
        action = re.search(rf'action="({ballot}/\d+)"', page.text)
        assert action, page.text
        page = phone.post(action[1], data=answers)
        assert page.status_code == 200, page.text
    return pages, ballot
