"""One page of all words that tasters read: edited in the draft, sealed, and then read everywhere."""

from __future__ import annotations

import json
import re
from html import unescape
from typing import TYPE_CHECKING

from demo.phone import hidden_fields, screens_in
from panel.study.cautions import CONSENT
from panel.study.plan import plan_from_dict
from panel.study.scales import TETRAD
from panel.study.taster_words import field_of
from tests.printing import paper_reader
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    pass

SUPER, RINSED, SENT, CHEERS = "Super tasty", "Sip, then:", "Next bowl", "Cheers, that was great"
OWN = {
    field_of("Like extremely"): SUPER,
    field_of("First:"): RINSED,
    field_of("Save and go on"): SENT,
    field_of("Thank you"): CHEERS,
    field_of("Choose how much you like it."): "Pick one of the nine.",
    field_of("Thank you. Hand this ballot in; please tell nobody what you wrote."): "Put it into the box.",
}
DRAFT = TYPED | {"rinse": "Drink some water.", "consent_more": "Ada keeps the names until Friday."}


def shown(text: str) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)))


def test_the_page_shows_the_words_of_the_studys_language_and_asks_for_own_ones(desk: Desk) -> None:
    desk.draft(DRAFT | {"language": "de"})
    page = desk.ada.get(f"{desk.at}/words").text
    field = field_of("Like extremely")
    assert f'<label for="{field}" dir="auto">Gefällt mir außerordentlich</label>' in page
    assert "In English: Like extremely" in page
    assert f'name="{field}"' in page
    assert "Much too little" not in page, "that scale is not asked"
    assert "Keep {step} for the number of the screen and {steps} for the number of screens." in shown(page)


def test_what_is_locked_is_shown_with_the_reason_and_no_field(desk: Desk) -> None:
    tetrad = {key: value for key, value in TYPED.items() if not key.startswith(("question-", "product-2"))}
    desk.draft(tetrad | {"method": "tetrad"})
    page = desk.ada.get(f"{desk.at}/words").text
    for text, why in ((TETRAD.asks, "Locked by the method"), (CONSENT, "it says what this program keeps")):
        assert text in shown(page)
        assert why in shown(page)
        assert field_of(text) not in page
        forced = desk.ada.post(f"{desk.at}/words", data={field_of(text): "Which two are most alike?"})
        assert forced.status_code == 200
    assert desk.ada.get(f"{desk.at}/plan").status_code == 200
    desk.seal()
    assert plan_from_dict(json.loads(desk.row().plan)).words == {}


def test_words_are_kept_as_typed_and_what_cannot_stand_is_said(desk: Desk) -> None:
    desk.draft(DRAFT)
    steps = field_of("{step} of {steps}")
    wrong = desk.ada.post(f"{desk.at}/words", data=OWN | {steps: "Bowl {step}"})
    assert wrong.status_code == 422
    assert f'<a href="#{steps}">' in wrong.text
    assert 'value="Bowl {step}"' in wrong.text
    assert f'value="{SUPER}"' in wrong.text, "nothing typed is lost"
    again = desk.ada.get(f"{desk.at}/words").text
    assert 'value="Bowl {step}"' in again
    plan = desk.ada.post(f"{desk.at}/draft", data=DRAFT | {"go": "plan"})
    assert plan.status_code == 422
    assert '<a href="#words">' in plan.text
    assert 'id="words"' in plan.text
    assert "must keep {steps}" in plan.text


def test_saving_the_draft_keeps_own_words_and_saving_words_keeps_the_draft(desk: Desk) -> None:
    desk.draft(DRAFT)
    saved = desk.ada.post(f"{desk.at}/words", data=OWN | {"title": "Hijacked", "go": "draft"})
    assert saved.url.path == f"{desk.at}/draft"
    assert "Rice, round one" in saved.text
    desk.ada.post(f"{desk.at}/draft", data=DRAFT | {"title": "Rice, round two", "go": "save"})
    assert f'value="{SUPER}"' in desk.ada.get(f"{desk.at}/words").text
    to_words = desk.ada.post(f"{desk.at}/draft", data=DRAFT | {"go": "words"})
    assert to_words.url.path == f"{desk.at}/words"
    emptied = desk.ada.post(f"{desk.at}/words", data={})
    assert SUPER not in emptied.text


def test_the_second_to_save_words_is_told_and_neither_is_lost(desk: Desk) -> None:
    desk.draft(DRAFT)
    here, there = field_of("Like extremely"), field_of("Save and go on")
    old = hidden_fields(desk.ada.get(f"{desk.at}/words").text)["as_of"]
    assert "Saved." in shown(desk.ada.post(f"{desk.at}/words", data={here: SUPER, "as_of": old}).text)
    told = desk.ada.post(f"{desk.at}/words", data={there: SENT, "as_of": old})
    assert (told.status_code, "Somebody else saved words of this study" in shown(told.text)) == (422, True)
    assert f'value="{SENT}"' in told.text, "what was typed is on the page"
    stored = desk.ada.get(f"{desk.at}/words").text
    assert (SUPER in stored, SENT in stored) == (True, False)
    new = hidden_fields(told.text)["as_of"]
    assert "Saved." in shown(desk.ada.post(f"{desk.at}/words", data={there: SENT, "as_of": new}).text)
    # a draft that was saved meanwhile is no other words
    mark = hidden_fields(desk.ada.get(f"{desk.at}/words").text)["as_of"]
    desk.ada.post(f"{desk.at}/draft", data=DRAFT | {"title": "Rice, round two", "go": "save"})
    assert desk.ada.post(f"{desk.at}/words", data={there: CHEERS, "as_of": mark}).status_code == 200


def test_words_for_another_test_wait_until_it_is_chosen_again(desk: Desk) -> None:
    desk.draft(DRAFT)
    liked, thanks = field_of("Like extremely"), field_of("Thank you")
    desk.ada.post(f"{desk.at}/words", data={liked: SUPER})
    desk.ada.post(f"{desk.at}/draft", data=DRAFT | {"method": "ranking", "go": "save"})
    assert SUPER not in desk.ada.post(f"{desk.at}/words", data={thanks: CHEERS}).text
    desk.ada.post(f"{desk.at}/draft", data=DRAFT | {"go": "save"})
    back = desk.ada.get(f"{desk.at}/words").text
    assert (f'value="{SUPER}"' in back, f'value="{CHEERS}"' in back) == (True, True)


def test_a_sealed_study_keeps_its_words(desk: Desk) -> None:
    desk.draft(DRAFT)
    desk.ada.get(f"{desk.at}/plan")
    desk.seal()
    refused = desk.ada.post(f"{desk.at}/words", data=OWN)
    assert refused.status_code == 409
    assert SUPER not in desk.row().draft + desk.row().plan


def test_own_words_are_read_in_the_preview_on_the_phone_on_paper_and_in_the_report(desk: Desk) -> None:
    desk.draft(DRAFT)
    desk.ada.post(f"{desk.at}/words", data=OWN)
    desk.ada.get(f"{desk.at}/plan")
    preview = shown(desk.ada.get(f"{desk.at}/preview").text)
    assert (SUPER in preview, "Like extremely" in preview, SENT in preview) == (True, False, True)
    desk.seal()
    assert plan_from_dict(json.loads(desk.row().plan)).words["Like extremely"] == SUPER
    desk.open()
    paper = paper_reader.text_of(desk.ada.get(f"{desk.at}/print/paper-ballots.pdf?place=4").content)
    assert (SUPER in paper, "Like extremely" in paper, "Put it into the box." in paper) == (True, False, True)
    assert "Ada keeps the names until Friday." in paper
    keyed = shown(desk.ada.get(f"{desk.at}/keying/4").text)
    assert (SUPER in keyed, "Like extremely" in keyed) == (True, False)
    notice = shown(desk.client().get(desk.join_path()).text)
    assert "Nothing about your health is kept." in notice
    assert "Ada keeps the names until Friday." in notice
    phone = desk.join()
    ballot = phone.ballot  # type: ignore[attr-defined]
    assert (SUPER in ballot.text, RINSED in ballot.text, SENT in ballot.text) == (True, True, True)
    assert "Like extremely" not in ballot.text
    assert 'data-missing="Pick one of the nine."' in ballot.text
    unanswered = phone.post(f"{ballot.url.path}/1", data={})
    assert "Pick one of the nine." in shown(unanswered.text)
    for number, screen in enumerate(screens_in(ballot.text)):
        last = phone.post(screen.action, data={"submission": screen.submission, "q1": str(9 - number)})
    assert CHEERS in shown(last.text)
    desk.taste(2)
    desk.shut()
    report = words(desk.ada.get(f"{desk.at}/report"))
    assert f"Like extremely {SUPER}" in report
    assert "is not the standard one any more" in report
