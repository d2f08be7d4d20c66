"""Bad networks, dead servers, impatient fingers: nothing is lost, and nothing counts twice."""

from __future__ import annotations

import contextlib
import re
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from panel.settings import Settings
from panel.store.database import Database
from panel.store.tokens import Tokens, server_key
from tests.web.sealed_sitting import RATING, RATING_PLACES, SealedSitting, seal_sitting
from tests.web.taster_app import opened

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fastapi import FastAPI
    from playwright.sync_api import Page

    from tests.browser.conftest import NewPhone

ROOT = Path(__file__).parents[2]
LIKING = {"Like extremely": 9, "Like moderately": 7, "Dislike slightly": 4, "Dislike extremely": 1}


@pytest.fixture
def sitting(app: FastAPI) -> SealedSitting:
    return opened(app, RATING, RATING_PLACES)


def join(page: Page, sitting: SealedSitting) -> str:
    page.goto(f"{sitting.join_path}?another=1")
    page.get_by_role("button", name="I agree and take part").click()
    page.wait_for_url(re.compile("/t/"))
    return page.url


def shows(page: Page, code: str) -> None:
    page.locator("h1 .code", has_text=code).wait_for()


def fill(page: Page, liking: str, comment: str) -> None:
    """Answer everything on the screen; the line at its right end."""
    page.get_by_text(liking, exact=True).tap()
    page.get_by_role("slider").press("End")
    page.get_by_label("Yes").tap()
    page.get_by_label("Anything else?").fill(comment)


def save(page: Page) -> None:
    page.get_by_role("button", name=re.compile("^Save and")).tap()


def thanked(page: Page) -> None:
    page.get_by_role("heading", name="Thank you").wait_for()


def screen(place: int, number: int, liking: str, comment: str) -> dict[tuple[int, int, str], Any]:
    answers = {"q0": LIKING[liking], "q1": 100.0, "q2": 1, "q3": comment}
    return {(place, number, key): value for key, value in answers.items()}


def state(page: Page, text: str) -> None:
    page.locator("#state", has_text=text).wait_for()


def test_a_lost_network_stops_nobody(sitting: SealedSitting, address: str, new_phone: NewPhone) -> None:
    page = new_phone(address)
    join(page, sitting)
    page.context.set_offline(True)
    fill(page, "Like moderately", "one")
    save(page)
    shows(page, "283")
    state(page, "Saved on this phone. 1 screen waits for the network.")
    fill(page, "Dislike slightly", "two")
    save(page)
    page.get_by_role("heading", name="That was the last one").wait_for()
    state(page, "Saved on this phone. 2 screens wait for the network.")
    assert sitting.values() == {}
    page.context.set_offline(False)
    thanked(page)
    state(page, "Saved")
    assert sitting.values() == screen(1, 1, "Like moderately", "one") | screen(
        1, 2, "Dislike slightly", "two"
    )
    assert len(sitting.submissions()) == 2


def test_a_reload_while_offline_loses_neither_answers_nor_a_half_filled_screen(
    sitting: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    ballot = join(page, sitting)
    page.context.set_offline(True)
    fill(page, "Like moderately", "one")
    save(page)
    shows(page, "283")
    page.get_by_text("Dislike slightly", exact=True).tap()
    page.get_by_role("slider").press("End")
    page.get_by_label("Anything else?").fill("half-way")
    with contextlib.suppress(Exception):
        page.reload()
    page.context.set_offline(False)
    page.goto(ballot)
    shows(page, "283")
    assert page.get_by_label("Dislike slightly").is_checked()
    assert page.locator(".handle").count() == 1
    assert page.get_by_label("Anything else?").input_value() == "half-way"
    page.get_by_label("Yes").tap()
    save(page)
    thanked(page)
    expected = screen(1, 1, "Like moderately", "one") | screen(1, 2, "Dislike slightly", "half-way")
    assert sitting.values() == expected
    assert len(sitting.submissions()) == 2


class MortalServer:
    """A server process that dies on order after a commit and before its acknowledgement, and is started again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        script = str(Path(__file__).with_name("mortal_server.py"))
        self.process = subprocess.Popen([sys.executable, script, str(ROOT), str(self.folder), str(self.port)])
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            with (
                contextlib.suppress(OSError),
                urllib.request.urlopen(f"{self.address}/static/taster.css") as reply,
            ):
                assert reply.status == 200
                return
            assert self.process.poll() is None, "the server ended before it answered"
        pytest.fail("the server did not answer within a minute")

    def die_at_the_next_send(self) -> None:
        (self.folder / "die").touch()

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            self.process.wait(20)


@pytest.fixture
def mortal(tmp_path: Path) -> Iterator[MortalServer]:
    server = MortalServer(tmp_path)
    server.start()
    yield server
    server.stop()


def test_a_server_killed_between_commit_and_acknowledgement_stores_the_answer_once(
    mortal: MortalServer, new_phone: NewPhone
) -> None:
    database = Database(Settings(data=mortal.folder).database_url)
    sitting = seal_sitting(database, Tokens(server_key(mortal.folder)), RATING, RATING_PLACES)
    sitting.open()
    page = new_phone(mortal.address)
    ballot = join(page, sitting)
    mortal.die_at_the_next_send()
    fill(page, "Like extremely", "one")
    save(page)
    state(page, "Saved on this phone. 1 screen waits for the network.")
    assert mortal.process is not None
    assert mortal.process.wait(20) == -9
    assert sitting.values() == screen(1, 1, "Like extremely", "one"), "it was committed before the kill"
    shows(page, "283")
    fill(page, "Dislike extremely", "two")
    save(page)
    state(page, "2 screens wait")
    with contextlib.suppress(Exception):
        page.reload()  # nobody answers: the page is gone, the queue is not
    mortal.start()
    page.goto(ballot)
    thanked(page)
    expected = screen(1, 1, "Like extremely", "one") | screen(1, 2, "Dislike extremely", "two")
    assert sitting.values() == expected
    assert [item.outcome for item in sitting.submissions()] == ["stored", "stored"]
    database.close()


def test_agreeing_with_a_double_tap_takes_one_place(
    sitting: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    page.goto(sitting.join_path)
    page.get_by_role("button", name="I agree and take part").dblclick()
    page.wait_for_load_state("networkidle")
    assert len(sitting.attempts()) == 1
    page.goto(f"/t/{sitting.attempts()[0].id}")
    shows(page, "417")


def test_stepping_out_with_answers_unsent_sends_them_and_clears_the_phone(
    sitting: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    join(page, sitting)
    page.route("**/t/*/1", lambda route: route.abort())
    fill(page, "Like moderately", "one")
    save(page)
    shows(page, "283")
    state(page, "1 screen waits")
    page.get_by_label("Anything else?").fill("left half-way")
    page.unroute("**/t/*/1")
    page.get_by_text("Stop and step out").tap()
    page.get_by_role("button", name="Step out now").tap()
    page.get_by_role("heading", name="You have stepped out").wait_for()
    page.wait_for_function("Object.keys(localStorage).length === 0")
    assert sitting.values() == screen(1, 1, "Like moderately", "one")
    assert sitting.attempts()[0].status == "stepped out"


def test_a_double_tap_saves_once_and_answers_nothing_else(
    sitting: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    join(page, sitting)
    fill(page, "Like moderately", "one")
    button = page.get_by_role("button", name="Save and go on")
    button.scroll_into_view_if_needed()
    box = button.bounding_box()
    assert box is not None
    for _ in range(3):
        page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    shows(page, "283")
    state(page, "Saved")
    assert page.locator("input:checked").count() == 0
    assert page.locator(".handle").count() == 0
    assert page.locator(".summary").count() == 0
    assert sitting.values() == screen(1, 1, "Like moderately", "one")
    assert len(sitting.submissions()) == 1


def test_two_tabs_of_one_ballot_answer_each_screen_once(
    sitting: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    first = new_phone(address)
    ballot = join(first, sitting)
    second = first.context.new_page()
    second.goto(ballot)
    shows(second, "417")
    first.context.set_offline(True)
    fill(first, "Like moderately", "one")
    save(first)
    shows(second, "283")
    fill(second, "Dislike slightly", "two")
    save(second)
    first.get_by_role("heading", name="That was the last one").wait_for()
    first.context.set_offline(False)
    thanked(first)
    thanked(second)
    expected = screen(1, 1, "Like moderately", "one") | screen(1, 2, "Dislike slightly", "two")
    assert sitting.values() == expected
    assert [item.outcome for item in sitting.submissions()] == ["stored", "stored"]


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "without"])
def test_the_back_button_leads_to_no_answered_screen(
    sitting: SealedSitting, address: str, new_phone: NewPhone, script: bool
) -> None:
    page = new_phone(address, java_script_enabled=script)
    join(page, sitting)
    page.get_by_text("Like moderately", exact=True).tap()
    if script:
        page.get_by_role("slider").press("End")
    else:
        page.locator(".place").last.tap()
    page.get_by_label("Yes").tap()
    page.get_by_label("Anything else?").fill("one")
    save(page)
    shows(page, "283")
    if script:
        state(page, "Saved")
    page.go_back()
    if script:  # the ballot is one page: back leads to the notice, which asks who is tasting
        page.get_by_role("link", name="Continue where you were").click()
    shows(page, "283")
    assert page.get_by_text("417").count() == 0
    assert sitting.values() == screen(1, 1, "Like moderately", "one")


def test_two_tasters_share_one_phone(sitting: SealedSitting, address: str, new_phone: NewPhone) -> None:
    page = new_phone(address)
    first = join(page, sitting)
    fill(page, "Like moderately", "first")
    save(page)
    shows(page, "283")
    page.goto(sitting.join_path)
    page.get_by_role("link", name="Somebody else tastes on this phone").click()
    page.get_by_role("button", name="I agree and take part").click()
    shows(page, "562")
    fill(page, "Dislike extremely", "second")
    save(page)
    shows(page, "739")
    page.goto(first)
    shows(page, "283")
    fill(page, "Like extremely", "first again")
    save(page)
    thanked(page)
    page.goto(sitting.join_path)
    page.get_by_role("link", name="Continue where you were").click()
    shows(page, "739")
    assert sitting.values() == (
        screen(1, 1, "Like moderately", "first")
        | screen(1, 2, "Like extremely", "first again")
        | screen(2, 1, "Dislike extremely", "second")
    )


@pytest.mark.parametrize("reloaded", [False, True], ids=["page open", "page opened again"])
def test_answers_unsent_at_closing_are_stored_as_late(
    sitting: SealedSitting, address: str, new_phone: NewPhone, reloaded: bool
) -> None:
    page = new_phone(address)
    ballot = join(page, sitting)
    page.context.set_offline(True)
    fill(page, "Like moderately", "one")
    save(page)
    shows(page, "283")
    sitting.close()
    if reloaded:
        page.goto("about:blank")
    page.context.set_offline(False)
    if reloaded:
        page.goto(ballot)
    page.get_by_text("1 of 2 screens have arrived").wait_for()
    assert page.get_by_text("283").count() == 0
    assert sitting.values() == screen(1, 1, "Like moderately", "one")
    assert all(late for *_, late in sitting.answers())


def test_what_the_server_refuses_comes_back_onto_the_screen(
    sitting: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    join(page, sitting)
    page.get_by_text("Like moderately", exact=True).tap()
    page.evaluate("document.querySelectorAll('[data-missing]').forEach(q => q.dataset.rule = 'none')")
    save(page)
    page.get_by_role("link", name="How firm is it? Tap the line where it fits.").wait_for()
    shows(page, "417")
    assert page.get_by_label("Like moderately", exact=True).is_checked()
    fill(page, "Like extremely", "one")
    save(page)
    shows(page, "283")
    state(page, "Saved")
    assert sitting.values() == screen(1, 1, "Like extremely", "one")


def test_a_phone_without_storage_uses_the_plain_forms(
    sitting: SealedSitting, address: str, new_phone: NewPhone
) -> None:
    page = new_phone(address)
    page.add_init_script("Storage.prototype.setItem = () => { throw new Error('QuotaExceededError') }")
    join(page, sitting)
    page.get_by_text("Like moderately", exact=True).tap()
    page.locator(".place").last.tap()
    page.get_by_label("Yes").tap()
    page.get_by_label("Anything else?").fill("one")
    save(page)
    shows(page, "283")
    assert sitting.values() == screen(1, 1, "Like moderately", "one")
