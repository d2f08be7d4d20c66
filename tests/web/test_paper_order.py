"""A paper ballot asks in the order that a phone at the same place shows, and is keyed in that order."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from typing import TYPE_CHECKING

from sqlmodel import col, select

from panel.store.tables import Place
from panel.study.plan import Question
from tests.printing import paper_reader
from tests.web.a_house import first_start, visit
from tests.web.sealed_sitting import RATING, seal_sitting

if TYPE_CHECKING:
    from fastapi import FastAPI

TERMS = ("popcorn", "hay", "rubber", "nuts")
ATTRIBUTES = ("Salty?", "Sweet?", "Firm?", "Glossy?")
PLAN = replace(
    RATING,
    tasters=4,
    ask_name=False,
    question_order="rotated",
    questions=(
        Question("q1", "How much do you like it?", "hedonic-9"),
        *(Question(f"q{n}", text, "yes-no") for n, text in enumerate(ATTRIBUTES, start=2)),
        Question("q6", "What does it smell of?", "check-all", points=TERMS),
    ),
    primary="q1",
)
PLACES = [[[(0, "417", 0, "")], [(1, "283", 0, "")]]] * 4


def order_in(text: str, things: tuple[str, ...]) -> list[str]:
    """The things in the order in which they first stand in the text."""
    assert all(thing in text for thing in things)
    return sorted(things, key=text.index)


def test_phone_paper_and_keying_ask_in_one_order_at_every_place(app: FastAPI) -> None:
    house, browser = app.state.house, first_start(app)
    sitting = seal_sitting(house.database, house.tokens, PLAN, PLACES)
    sitting.open()
    with house.database.read() as session:
        cards = [
            f"/P/{house.tokens.place(place.id, place.token_revision)}"
            for place in session.exec(select(Place).order_by(col(Place.number)))
        ]
    seen: set[tuple[str, ...]] = set()
    for number, card in enumerate(cards, start=1):
        at = f"/studies/{sitting.study_id}"
        paper = paper_reader.text_of(browser.get(f"{at}/print/paper-ballots.pdf?place={number}").content)
        keyed = unescape(browser.get(f"{at}/keying/{number}").text)
        phone = visit(app)
        phone.follow_redirects = True
        shown = unescape(phone.post(card, data={"consent": ""}).text).split('data-screen="2"')[0]
        for things in (ATTRIBUTES, TERMS):
            order = order_in(shown, things)
            assert order_in(paper, things) == order
            assert order_in(keyed, things) == order
            seen.add(tuple(order))
        assert paper.index("How much do you like it?") < min(map(paper.index, ATTRIBUTES)), (
            "its place is kept"
        )
        assert re.findall("[a-z]+", paper.split("What does it smell of?")[1])[:1] != []
    assert len(seen) == 8, "four orders of each, one for every place"
