"""The organiser and the taster try a ballot: real screens, real checks, and nothing of it anywhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlmodel import SQLModel, func, select

from demo.phone import screens_in
from panel.store import tables
from panel.study.test_methods import TEST_METHODS
from tests.journeys.site import begin, seal
from tests.journeys.test_every_method import typed_for

if TYPE_CHECKING:
    from tests.journeys.site import Browser, Site

RATING = {
    **typed_for(TEST_METHODS["rating"]),
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "question-0-at_end": "",
    "question-1-text": "How firm is it?",
    "question-1-scale": "line-100",
    "replicates": "1",
    "confirm_cup": "yes",
}


def everything_stored(site: Site) -> dict[str, int]:
    """Rows in each table."""
    kept = [
        table for table in vars(tables).values() if isinstance(table, type) and issubclass(table, SQLModel)
    ]
    with site.house.database.read() as session:
        return {
            table.__name__: session.exec(select(func.count()).select_from(table)).one()
            for table in kept
            if hasattr(table, "__table__")
        }


def test_the_notice_is_read_beforehand_with_its_doses_and_additions(organiser: Browser) -> None:
    more = {"caffeine_mg": "95", "consent_more": "Ada keeps the list of names.", "briefing": "Taste slowly."}
    study = begin(organiser, RATING | more)
    notice = organiser.get(f"/studies/{study}/preview/notice").text
    for words in (
        "Taste slowly.",
        "Ada keeps the list of names.",
        "mg of caffeine in",
        "Nothing about your health",
    ):
        assert words in notice
    assert f'href="/studies/{study}/preview"' in notice
    assert "<form" not in notice, "there is nothing to agree to"


def test_a_preview_checks_like_a_tasting_and_leaves_no_data(shared_site: Site, organiser: Browser) -> None:
    study = begin(organiser, RATING)
    before = everything_stored(shared_site)
    first = organiser.get(f"/studies/{study}/preview")
    assert "nothing is stored" in first.text
    (screen,) = screens_in(first.text)
    empty = organiser.post(screen.action, {"cup": screen.codes[0]})
    assert (empty.status, "Choose how much you like it." in empty.text) == (422, True)
    wrong = organiser.post(screen.action, {"cup": screen.codes[1], "q1": "7", "q2": "12.5"})
    assert (wrong.status, "That is not the cup for now." in wrong.text) == (422, True)
    second = organiser.post(screen.action, {"cup": screen.codes[0], "q1": "7", "q2": "12.5"})
    assert "How much do you like it? 7.0; How firm is it? 12.5" in second.text
    (screen,) = screens_in(second.text)
    last = organiser.post(screen.action, {"cup": screen.codes[0], "q1": "1", "q2": "0"})
    assert "Nothing has been stored." in last.text
    assert everything_stored(shared_site) == before


@pytest.mark.parametrize("method", ["tetrad", "A-not-A", "ranking"])
def test_every_screen_of_a_set_can_be_tried(shared_site: Site, organiser: Browser, method: str) -> None:
    study = begin(organiser, typed_for(TEST_METHODS[method]))
    assert screens_in(organiser.get(f"/studies/{study}/preview").text)


def test_a_preview_is_for_the_organiser_alone(shared_site: Site, organiser: Browser) -> None:
    study = begin(organiser, RATING)
    assert "/sign-in" in shared_site.browser().get(f"/studies/{study}/preview").url


def test_an_unfinished_draft_leads_to_what_is_missing(organiser: Browser) -> None:
    begun = organiser.post("/studies", {"method": "tetrad"})
    study = begun.url.split("/studies/")[1].split("/")[0]
    led = organiser.get(f"/studies/{study}/preview")
    assert (led.status, "Write a title." in led.text) == (422, True)


def test_a_taster_tries_one_question_before_agreeing(shared_site: Site, organiser: Browser) -> None:
    study = begin(organiser, RATING)
    seal(organiser, study)
    organiser.post(f"/studies/{study}/open", {})
    token = organiser.get(f"/studies/{study}/poster").text.split("/J/")[1][:26]
    before = everything_stored(shared_site)
    phone = shared_site.browser()
    (screen,) = screens_in(phone.get(f"/J/{token}/TRY").text)
    tried = phone.post(screen.action, {"q1": "7", "q2": "3"})
    assert "Nothing has been stored." in tried.text
    assert everything_stored(shared_site) == before
