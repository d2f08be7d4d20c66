"""One person alone: dots, shuffle, codes; the analysis runs once, on what really stood under the codes."""

from __future__ import annotations

import random
import re
from collections import Counter
from typing import TYPE_CHECKING

import pytest
from sqlmodel import col, select

from demo.phone import screens_in
from panel.analysis.verification import verify_bundle
from panel.store.rows import scores_of
from panel.store.served import meter_of
from panel.store.tables import Serving
from panel.study.alone import check_dots
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    from httpx2 import Response

ALONE = {**TYPED, "alone": "yes"}
FILL = re.compile(r'<li class="fill">dot (\d) <span class="letter">([A-Z]+)</span></li>')


class Person:
    """Pours by the page, shuffles, tastes; likes pour letters in a fixed order and scores them so."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.draw = desk, random.Random(20261125)
        self.liked: dict[str, str] = {}
        self.under: dict[int, dict[str, int]] = {}

    def do_round(self, number: int) -> None:
        page = self.desk.ada.get(f"{self.desk.at}/alone").text
        section = page.split(f'id="round-{number}"')[1].split("</details>")[0]
        fills = {int(dot): letter for dot, letter in FILL.findall(section)}
        codes = re.findall(r'class="code">(\d{3})</li>', section)
        for letter in sorted(fills.values()):
            self.liked.setdefault(letter, str(3 + 2 * len(self.liked)))
        dots = list(fills)
        self.draw.shuffle(dots)
        self.under[number] = dict(zip(codes, dots, strict=True))
        phone = self.desk.join()
        ballot: Response = phone.ballot  # type: ignore[attr-defined]
        for screen in screens_in(ballot.text):
            (code,) = screen.codes
            liking = int(self.liked[fills[self.under[number][code]]]) + (number % 2)
            phone.post(screen.action, data={"submission": screen.submission, "q1": str(liking), "q2": ""})

    def turn_over(self, number: int) -> Response:
        page = self.desk.ada.get(f"{self.desk.at}/alone").text
        fields = dict(re.findall(rf'for="(dot-{number}-\d+)">Dot under cup (\d{{3}})<', page))
        section = {n: str(self.under[number][c]) for n, c in fields.items() if c in self.under[number]}
        return self.desk.ada.post(f"{self.desk.at}/alone/{number}/dots", data=section)


def test_what_stood_under_the_codes_is_analysed_once_and_verifies(desk: Desk) -> None:
    desk.draft(ALONE)
    desk.seal()
    person = Person(desk)
    desk.open()
    for number in range(1, 5):
        person.do_round(number)
        assert "turn the cups over" in words(desk.ada.get(f"{desk.at}/alone"))
        assert person.turn_over(number).status_code == 200
    with desk.read() as session:
        meter = meter_of(session, desk.row())
        rows = session.exec(select(Serving).order_by(col(Serving.place_id), col(Serving.position))).all()
    runs: dict[str, list[str]] = {}
    for row in rows:
        runs.setdefault(row.place_id, []).append(row.found_sample_id or "not read")
    counts = Counter((place, sample) for run in runs.values() for place, sample in enumerate(run))
    shown = [count for row in meter.answered.balances[0].position for count in row]
    assert sorted(shown) == sorted(counts[place, s] for place in range(3) for s in {*runs[row.place_id]})
    assert "In the 4 rounds whose dots are written down" in words(desk.ada.get(f"{desk.at}/room"))
    desk.shut()
    assert desk.ada.get(f"{desk.at}/report").status_code == 409, "nobody looks before it is signed"
    assert "sends.jsonl" not in str(desk.bundle())
    assert "Run the analysis" in desk.ada.get(f"{desk.at}/alone").text
    nameless = desk.ada.post(f"{desk.at}/sign", data={"signed_by": " "})
    assert (nameless.status_code, "Write your name to sign" in words(nameless)) == (422, True)
    assert "How to do a round" in words(nameless), "on the page where the name is asked for"
    desk.sign()
    report = words(desk.ada.get(f"{desk.at}/report"))
    assert "n of one" in report
    assert "randomised, not balanced" in report
    with desk.read() as session:
        scores = [s for s in scores_of(session, desk.row()) if s.question == "q1"]
    by_sample: dict[str, set[float]] = {}
    for score in scores:
        by_sample.setdefault(score.sample, set()).add(float(score.value or 0) - int(score.taster[1:]) % 2)
    assert sorted(map(sorted, by_sample.values())) == [[3.0], [5.0], [7.0]], (
        "each sample got its own product's score in every round"
    )
    desk.reveal()
    verification = verify_bundle(desk.bundle())
    assert verification.holds, verification.first_failure


def test_the_page_leads_from_round_to_round(desk: Desk) -> None:
    desk.draft({**ALONE, "tasters": "3"})
    desk.seal()
    person = Person(desk)

    def next_step() -> str:
        return words(desk.ada.get(f"{desk.at}/alone")).split("What comes next")[1].split("How to do")[0]

    assert "Print the labels and, once, the fill sheet" in next_step()
    opened = desk.ada.post(f"{desk.at}/open")
    assert str(opened.url).endswith("/alone")
    for number in (1, 2, 3):
        assert f"Round {number} of 3: fill, shuffle and label as below" in next_step()
        person.do_round(number)
        assert f"Round {number} of 3: turn the cups over" in next_step()
        page = desk.ada.get(f"{desk.at}/alone").text
        assert re.findall(r'id="round-(\d)" open', page) == [str(number)]
        person.turn_over(number)
    assert "All rounds are done" in next_step()
    closed = desk.ada.post(f"{desk.at}/close")
    assert "Run the sealed analysis" in words(closed)


def test_dots_are_read_only_after_the_answers_and_only_once(desk: Desk) -> None:
    desk.draft(ALONE)
    desk.seal()
    person = Person(desk)
    desk.open()
    fields = {"dot-1-1": "1", "dot-1-2": "2", "dot-1-3": "3"}
    early = desk.ada.post(f"{desk.at}/alone/1/dots", data=fields)
    assert early.status_code == 409
    person.do_round(1)
    assert person.turn_over(1).status_code == 200
    again = desk.ada.post(f"{desk.at}/alone/1/dots", data=fields)
    assert (again.status_code, "read once" in words(again)) == (409, True)


def test_a_round_whose_dots_were_not_read_keeps_the_analysis_waiting_or_is_left_out_with_a_reason(
    desk: Desk,
) -> None:
    desk.draft(ALONE)
    desk.seal()
    person = Person(desk)
    desk.open()
    for number in (1, 2, 3):
        person.do_round(number)
    for number in (1, 2):
        person.turn_over(number)
    desk.shut()
    waiting = desk.ada.post(f"{desk.at}/sign", data={"signed_by": "Ada"})
    assert (waiting.status_code, "dots of round 3 first" in words(waiting)) == (409, True)
    read = desk.ada.post(f"{desk.at}/alone/1/leave-out", data={"reason-1": "I did not like the result"})
    assert read.status_code == 409, "a round whose dots are read stays"
    desk.ada.post(f"{desk.at}/alone/3/leave-out", data={"reason-3": "A dot came off"})
    desk.sign()
    assert "A dot came off" in desk.ada.get(f"{desk.at}/report").text


def test_nobody_is_given_a_pour_sheet_by_codes(desk: Desk) -> None:
    desk.draft(ALONE)
    desk.seal()
    for path in ("/print/pour-sheet.pdf", "/kitchen"):
        refused = desk.ada.get(f"{desk.at}{path}")
        assert (refused.status_code, "filled by the dots" in words(refused)) == (409, True), path


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"condition-0-name": "plain", "condition-1-name": "with dashi"}, "one way of serving only"),
        ({"replicates": "2"}, "repeats are further rounds"),
        ({"sittings": "2"}, "every round is a place of its own"),
    ],
    ids=["two ways", "repeats", "sittings"],
)
def test_a_plan_that_one_person_cannot_do_blind_is_refused(
    desk: Desk, change: dict[str, str], sentence: str
) -> None:
    begun = desk.ada.post("/studies", data={"method": "rating"})
    at = str(begun.url).removesuffix("/draft")
    refused = desk.ada.post(f"{at}/draft", data={**ALONE, **change, "go": "plan"})
    assert (refused.status_code, sentence in words(refused)) == (422, True)


@pytest.mark.parametrize(
    ("typed", "found", "wrong"),
    [
        (("2", "1", "3"), {1: 2, 2: 1, 3: 3}, []),
        (("2", "2", "3"), {1: 2, 3: 3}, ["dot-1-2"]),
        (("2", "0", "4"), {1: 2}, ["dot-1-2", "dot-1-3"]),
        (("", "x", "²"), {}, ["dot-1-1", "dot-1-2", "dot-1-3"]),
    ],
    ids=["good", "twice", "out of range", "no numbers"],
)
def test_every_dot_comes_once(typed: tuple[str, ...], found: dict[int, int], wrong: list[str]) -> None:
    fields = {f"dot-1-{position}": text for position, text in enumerate(typed, start=1)}
    dots, problems = check_dots(fields, 1, [1, 2, 3])
    assert (dots, [problem.field for problem in problems]) == (found, wrong)
