"""What people type and tap wrongly: a clear sentence, the right status, no trace, and nothing lost."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from typing import TYPE_CHECKING

import pytest

from demo import story
from demo.phone import Reply, Taster
from tests.journeys.site import PASSPHRASE, Browser, Site, begin, seal, study_in

if TYPE_CHECKING:
    from collections.abc import Mapping

TYPED = {**story.CLOSED, "tasters": "2", "condition-1-name": ""}
ANSWERS = {"q1": "7", "q2": "40.5", "q3": "60", "q4": "0", "q5": "first"}


def said(reply: Reply, status: int, sentence: str) -> None:
    """The page says `sentence` with that status, in words and without a trace."""
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", reply.text))
    assert (reply.status, sentence in words) == (status, True), f"{reply.status}: {words[:1500]}"
    assert "Traceback" not in reply.text
    assert 'File "' not in reply.text


def sitting(organiser: Browser, typed: Mapping[str, str] = TYPED) -> tuple[str, str]:
    """An open sitting: the study's id and the join path."""
    study = begin(organiser, typed)
    seal(organiser, study)
    organiser.post(f"/studies/{study}/open", {})
    found = re.search(r"/J/[A-Z2-7]{26}", organiser.get(f"/studies/{study}/poster").text)
    assert found is not None
    return study, found[0]


def stored(organiser: Browser, study: str) -> list[dict[str, str]]:
    """The answers, from the export after closing."""
    organiser.post(f"/studies/{study}/close", {})
    reply = organiser.get(f"/studies/{study}/export")
    with zipfile.ZipFile(io.BytesIO(reply.body)) as bundle:
        if "answers.csv" not in bundle.namelist():
            return []
        return list(csv.DictReader(io.StringIO(bundle.read("answers.csv").decode("utf-8"))))


WITHOUT_OTHERS = {name: "" for name in TYPED if re.match(r"product-[1-4]-", name)}


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"product-3-name": "tomoshibi  HEARTH"}, "Samples 1 and 4 have the same name"),
        (WITHOUT_OTHERS, "A rating compares 2 to 40 samples, but there is only one."),
        ({"tasters": ""}, "Write the number of tasters as a whole number from 1 to 2000."),
        ({"tasters": "0"}, "Write the number of tasters as a whole number from 1 to 2000, not “0”."),
        ({"tasters": "-3"}, "not “-3”"),
        ({"tasters": "two dozen"}, "not “two dozen”"),
        ({"tasters": "9" * 40}, "as a whole number from 1 to 2000"),
        ({"alpha": "5"}, "Write the significance level as a number from 0.0001 to 0.5."),
        ({"title": ""}, "Write a title."),
        ({"title": "Kumorigama and others"}, "which belongs to a sample"),
        ({"question-0-text": "Is this the Ricelet Mini?"}, "which belongs to a sample"),
        ({"product-0-name": "n" * 5000}, "Shorten a name for sample 1 to 120 characters; it has 5000."),
        ({"method": "telepathy"}, "“telepathy” is not in it"),
    ],
    ids=[
        "two samples of one name", "one sample", "no tasters", "none", "negative", "in words", "forty digits",
        "level", "no title", "name in the title", "name in a question", "long name", "no such test",
    ],
)  # fmt: skip
def test_a_draft_says_what_is_wrong_and_keeps_what_was_typed(
    organiser: Browser, change: dict[str, str], sentence: str
) -> None:
    study = study_in(organiser.post("/studies", {"method": "rating"}))
    typed = {**TYPED, **change}
    reply = organiser.post(f"/studies/{study}/draft", {**typed, "go": "plan"})
    said(reply, 422, sentence)
    again = organiser.get(f"/studies/{study}/draft").text
    for page in (reply.text, again):
        assert "Pressure valve replaced before the test" in page or "product-3-note" in change
        assert "Whose rice" in page or str(TYPED["question"]).replace("'", "&#39;") in page
    refused = organiser.post(
        f"/studies/{study}/seal", {"passphrase": PASSPHRASE, "again": PASSPHRASE, "holder": "self"}
    )
    assert refused.status == 422
    assert organiser.get(f"/studies/{study}").url.endswith("/draft"), "it is still a draft"


def test_a_weak_or_mistyped_passphrase_seals_nothing(organiser: Browser) -> None:
    study = begin(organiser, TYPED)
    short = organiser.post(f"/studies/{study}/seal", {"passphrase": "short", "again": "short"})
    said(short, 422, "Choose a passphrase of at least 10 characters")
    differs = organiser.post(f"/studies/{study}/seal", {"passphrase": PASSPHRASE, "again": "something else"})
    said(differs, 422, "The two passphrases differ.")
    assert organiser.get(f"/studies/{study}").url.endswith("/draft")


def test_more_tasters_than_the_plan_holds(shared_site: Site, organiser: Browser) -> None:
    study, join = sitting(organiser)
    kept = [Taster(shared_site.address, join) for _ in range(2)]
    third = shared_site.browser()
    consent = re.search(r'name="consent" value="(\w+)"', third.get(join).text)
    assert consent is not None
    said(third.post(join, {"consent": consent[1]}), 409, "All places are taken")
    for taster in kept:
        taster.answer(taster.screens[0], ANSWERS)
    assert len(stored(organiser, study)) == 2 * 5


def test_a_second_answer_for_the_same_serving_leaves_the_first(shared_site: Site, organiser: Browser) -> None:
    study, join = sitting(organiser)
    taster = Taster(shared_site.address, join)
    screen = taster.screens[0]
    sent = {"submission": screen.submission, **ANSWERS}
    first = taster.phone.post(screen.action, sent)
    again = taster.phone.post(screen.action, sent)
    other = taster.phone.post(
        screen.action, {**sent, "submission": "another-send-entirely", "q1": "1", "q5": "2nd"}
    )
    assert [reply.status for reply in (first, again, other)] == [200, 200, 200]
    assert first.url == again.url == other.url
    assert first.url.endswith("/2")
    back = taster.phone.get(screen.action)
    assert back.url == first.url, "there is no way back to an answered screen"
    values = {row["question"]: row["value"] for row in stored(organiser, study)}
    assert values == {"q1": "7.0", "q2": "40.5", "q3": "60.0", "q4": "0.0", "q5": "first"}
    log = organiser.get(f"/studies/{study}/log").text
    assert "outcome: kept aside" in log, "the second one is on record"


def test_a_form_opened_after_closing(shared_site: Site, organiser: Browser) -> None:
    study, join = sitting(organiser)
    taster = Taster(shared_site.address, join)
    taster.answer(taster.screens[0], ANSWERS)
    organiser.post(f"/studies/{study}/close", {})
    said(taster.phone.get(taster.screens[1].action), 410, "The sitting is closed")
    said(taster.phone.get(taster.screens[1].action.rpartition("/")[0]), 410, "1 of 5 screens have arrived")
    said(shared_site.browser().get(join), 410, "The sitting is closed. No new taster can join.")
    said(shared_site.browser().post(join, {"consent": "0" * 32}), 410, "No new taster can join.")
    assert taster.answer(taster.screens[1], {**ANSWERS, "q5": "late"}) is False
    late = [row for row in stored(organiser, study) if row["late"] == "yes"]
    assert [row["value"] for row in late if row["question"] == "q5"] == ["late"]


@pytest.mark.parametrize(
    ("path", "status", "sentence"),
    [
        ("/J/" + "A" * 26, 404, "This code opens no tasting."),
        ("/J/x", 404, "This code opens no tasting."),
        ("/C/AAAAAAAAAAAA", 404, "No cup has this code."),
        ("/t/aaaaaaaaaaaaaaaa", 404, "This address leads to no tasting."),
        ("/t/aaaaaaaaaaaaaaaa/1", 404, "This address leads to no tasting."),
        ("/in/not-a-link", 404, "This address leads nowhere."),
        ("/first-start?code=WRONG", 200, "Sign in"),
        ("/nothing/here", 404, "This address leads nowhere."),
    ],
    ids=["join", "short join", "cup", "ballot", "screen", "link", "first start", "no page"],
)
def test_a_wrong_token(shared_site: Site, organiser: Browser, path: str, status: int, sentence: str) -> None:
    assert organiser.get("/").status == 200
    said(shared_site.browser().get(path), status, sentence)


def test_somebody_elses_ballot_stays_shut(shared_site: Site, organiser: Browser) -> None:
    _study, join = sitting(organiser)
    taster = Taster(shared_site.address, join)
    stranger = shared_site.browser()
    said(stranger.get(taster.screens[0].action), 403, "This is somebody else")
    said(
        stranger.post(taster.screens[0].action, {**ANSWERS, "submission": "0" * 32}),
        403,
        "This is somebody else",
    )


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"q1": "10"}, "“10” is not one of the answers."),
        ({"q1": "0"}, "“0” is not one of the answers."),
        ({"q1": "6.5"}, "“6.5” is not one of the answers."),
        ({"q1": "nan"}, "“nan” is not one of the answers."),
        ({"q1": "seven"}, "“seven” is not one of the answers."),
        ({"q1": ""}, "Choose how much you like it."),
        ({"q2": "100.1"}, "“100.1” is not on the line."),
        ({"q2": "-1"}, "“-1” is not on the line."),
        ({"q2": "inf"}, "“inf” is not on the line."),
        ({"q4": "2"}, "“2” is not one of the answers."),
        ({"q5": "w" * 501}, "Shorten this to 500 characters; it has 501."),
    ],
    ids=[
        "ten",
        "nought",
        "between",
        "nan",
        "word",
        "none",
        "off the line",
        "below",
        "endless",
        "maybe",
        "long",
    ],
)
def test_a_score_off_its_scale_is_not_stored_and_the_rest_comes_back(
    open_sitting: tuple[Browser, str, Taster], change: dict[str, str], sentence: str
) -> None:
    organiser, study, taster = open_sitting
    screen = taster.screens[0]
    reply = taster.phone.post(
        screen.action, {"submission": screen.submission, **ANSWERS, "q5": "kept", **change}
    )
    said(reply, 422, sentence)
    assert ("kept" in reply.text) or "q5" in change
    assert 'value="40.5"' in reply.text or 'data-value="40.5"' in reply.text or "q2" in change
    room = organiser.get(f"/studies/{study}/room").text
    assert ': 0 of 5 answered"' in room, "nothing was stored"


@pytest.fixture(scope="module")
def open_sitting(shared_site: Site, organiser: Browser) -> tuple[Browser, str, Taster]:
    study, join = sitting(organiser)
    return organiser, study, Taster(shared_site.address, join)


def test_a_form_from_another_site_is_refused(shared_site: Site, organiser: Browser) -> None:
    study = begin(organiser, TYPED)
    fields = f"passphrase={PASSPHRASE}&again={PASSPHRASE}".replace(" ", "+").encode()
    foreign = organiser.send(f"/studies/{study}/seal", fields, {"Origin": "http://elsewhere.example"})
    said(foreign, 403, "This form was sent from another address than this page")
    assert organiser.get(f"/studies/{study}").url.endswith("/draft")


def test_unsigned_visitors_are_asked_to_sign_in(shared_site: Site, organiser: Browser) -> None:
    study = begin(organiser, TYPED)
    nobody = shared_site.browser()
    assert "/sign-in?to=" in nobody.get(f"/studies/{study}/draft").url
    said(nobody.post(f"/studies/{study}/draft", {"title": "stolen"}), 403, "Sign in first.")
    said(nobody.post("/sign-in", {"name": "Ada", "password": "guess"}), 422, "do not belong together")
    assert "stolen" not in organiser.get(f"/studies/{study}/draft").text
