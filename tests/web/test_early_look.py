"""Looking early by a sealed sequential plan: go on or stop, and nothing else, each look an event that can be checked.

The lines are Wald's (1947); the numbers here follow from the likelihood ratio, computed in the test itself.
"""

from __future__ import annotations

import io
import json
import math
import re
import shutil
import subprocess
import sys
import zipfile
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

from panel.analysis.verification import verify_bundle
from panel.store.ledger import events_of
from panel.store.rows import choices_of
from panel.study import bundle
from panel.study.drafting import check_draft
from panel.study.seal import GENESIS, Event, link
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    from pathlib import Path

TRIANGLE = {
    **{name: text for name, text in TYPED.items() if not name.startswith(("question-", "product-2"))},
    "method": "triangle",
    "tasters": "24",
    "similarity_limit": "50",
    "beta": "0.1",
    "sequential": "yes",
}


def opened(desk: Desk, **changed: str) -> Desk:
    desk.draft({**TRIANGLE, **changed})
    desk.seal()
    desk.open()
    return desk


def answer(desk: Desk, *, right: bool) -> None:
    """One more taster names the odd one, or another cup."""
    from demo.phone import screens_in
    from panel.store.rows import servings_of
    from panel.store.tables import Attempt

    phone = desk.join()
    page = phone.ballot  # type: ignore[attr-defined]
    attempt_id = str(page.url).split("/t/")[1].split("/")[0]
    with desk.read() as session:
        (_, cups), *_ = servings_of(session, session.get_one(Attempt, attempt_id))
    kinds = [cup.sample_id for cup in cups]
    odd = next(place for place, kind in enumerate(kinds, start=1) if kinds.count(kind) == 1)
    (screen, *_) = screens_in(page.text)
    sent = {"submission": screen.submission, "choice": str(odd if right else odd % 3 + 1)}
    assert phone.post(screen.action, data=sent).status_code == 200


def expected(answers: list[bool], most: int) -> str:
    """The decision by the ratio of likelihoods itself: guessing 1/3 against 1/3 + 2/3 x 50 %, α 0.05, β 0.1."""
    ratio, p0, p1 = 0.0, 1 / 3, 2 / 3
    for number, right in enumerate(answers, start=1):
        ratio += math.log(p1 / p0) if right else math.log((1 - p1) / (1 - p0))
        if ratio >= math.log(0.9 / 0.05):
            return "difference"
        if ratio <= math.log(0.1 / 0.95):
            return "similar"
        if number == most:
            return "undecided"
    return "continue"


def looks(desk: Desk) -> list[tuple[int, str]]:
    with desk.read() as session:
        events = events_of(session, desk.study)
    return [(e.detail["answers"], e.detail["decision"]) for e in events if e.kind == "sequential look"]


@pytest.mark.parametrize("right", [True, False], ids=["all right", "all wrong"])
def test_the_room_says_go_on_until_the_sealed_plan_says_stop(desk: Desk, right: bool) -> None:
    opened(desk)
    given: list[bool] = []
    while not looks(desk) or looks(desk)[-1][1] == "continue":
        answer(desk, right=right)
        given.append(right)
        page = words(desk.ada.post(f"{desk.at}/look"))
        assert {"continue": "Go on.", "difference": "Stop: difference.", "similar": "Stop: similar."}[
            expected(given, 24)
        ] in page
    assert looks(desk) == [(n, expected(given[:n], 24)) for n in range(1, len(given) + 1)]
    assert 3 < len(given) < 12
    again = desk.ada.post(f"{desk.at}/look")
    assert (again.status_code, "said stop already" in words(again)) == (409, True)


def test_the_plan_ends_undecided_with_its_last_taster(desk: Desk) -> None:
    opened(desk, tasters="6")
    given = [True, False, True, False, True, False]
    for right in given:
        answer(desk, right=right)
    page = words(desk.ada.post(f"{desk.at}/look"))
    assert expected(given, 6) == "undecided"
    assert "Stop: undecided. The agreed number of tasters is used up." in page
    assert "Close now" in page


def test_a_look_shows_the_number_of_answers_and_the_decision_and_nothing_else(desk: Desk) -> None:
    opened(desk)
    for right in (True, True, False):
        answer(desk, right=right)
    before = words(desk.ada.get(f"{desk.at}/room"))
    assert "3 answers so far, and no look yet" in before
    page = desk.ada.post(f"{desk.at}/look")
    said = words(page)
    assert "Go on. After 3 answers." in said
    assert "0 answers since then" in said
    assert "Look: go on or stop?" not in said, "nothing new has come in, so there is nothing to look at"
    told = re.search(r'<section class="look".*?</section>', page.text, re.DOTALL)
    assert told
    assert "correct" not in told[0]
    assert "right" not in told[0].replace("copyright", "")
    with desk.read() as session:
        (event,) = [e for e in events_of(session, desk.study) if e.kind == "sequential look"]
    assert event.detail == {"answers": 3, "decision": "continue"}
    assert event.actor == "organiser Ada"
    assert desk.ada.get(f"{desk.at}/report").status_code == 409, "the report stays closed"


def test_only_an_organiser_looks_and_only_where_it_was_sealed(desk: Desk) -> None:
    opened(desk, sequential="")
    answer(desk, right=True)
    refused = desk.ada.post(f"{desk.at}/look")
    assert (refused.status_code, "No early look was sealed" in words(refused)) == (409, True)
    assert "Sequential plan" not in words(desk.ada.get(f"{desk.at}/room"))
    opened(desk)
    nothing = desk.ada.post(f"{desk.at}/look")
    assert (nothing.status_code, "No answer has come in" in words(nothing)) == (409, True)
    answer(desk, right=True)
    for role in ("kitchen", "analyst"):
        other = desk.client()
        other.get(desk.link(role))
        assert other.post(f"{desk.at}/look").status_code == 403
    desk.shut()
    late = desk.ada.post(f"{desk.at}/look")
    assert (late.status_code, "Tasting is over" in words(late)) == (409, True)
    assert looks(desk) == []


def test_what_the_lines_depend_on_is_sealed(desk: Desk) -> None:
    desk.draft(TRIANGLE)
    assert "stops on average after" in words(desk.ada.get(f"{desk.at}/plan"))
    desk.seal()
    with zipfile.ZipFile(io.BytesIO(desk.bundle())) as archive:
        plan = json.loads(archive.read(bundle.SEALED))["plan"]
    sealed = {name: plan[name] for name in ("sequential", "similarity_limit", "alpha", "beta", "tasters")}
    assert sealed == {
        "sequential": True, "similarity_limit": 0.5, "alpha": 0.05, "beta": 0.1, "tasters": 24
    }  # fmt: skip


def signed_after_a_stop(desk: Desk) -> list[bool]:
    """Answers until the plan stops, one more after that, closed and signed."""
    opened(desk)
    given = [True, False, True, True, True, True, True]
    for number, right in enumerate(given, start=1):
        answer(desk, right=right)
        if number in (3, 7):
            desk.ada.post(f"{desk.at}/look")
    assert looks(desk) == [(3, "continue"), (7, "difference")]
    answer(desk, right=False)
    desk.shut()
    desk.sign()
    return given


def test_the_report_uses_the_sequential_decision_and_gives_no_p_value(desk: Desk) -> None:
    given = signed_after_a_stop(desk)
    report = words(desk.ada.get(f"{desk.at}/report"))
    assert expected(given, 24) == "difference"
    assert (
        "After 7 tasters, 6 correct in a sequential triangle test: stop, the samples are told apart" in report
    )
    assert "p-values and intervals of a test with a fixed number of tasters do not hold" in report
    assert re.search(r"\bp\s*[=<]", report) is None
    assert "Looks at the sequential plan" in report
    assert "after 3 answers: continue" in report
    assert "1 answer came after the decision" in report


def test_tasting_that_ends_before_a_decision_shows_nothing(desk: Desk) -> None:
    opened(desk)
    answer(desk, right=True)
    desk.shut()
    desk.sign()
    report = words(desk.ada.get(f"{desk.at}/report"))
    assert (
        "tasting ended before either line was reached. Neither a difference nor similarity is shown" in report
    )


def relinked(events: list[dict[str, object]]) -> list[Event]:
    """A whole new chain over changed events, as somebody with a changed program would write it."""
    chain: list[Event] = []
    for event in events:
        before = chain[-1].hash if chain else GENESIS
        row = (len(chain) + 1, event["at"], event["actor"], event["kind"], event["detail"], before)
        chain.append(link(*row))  # type: ignore[arg-type]
    return chain


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"decision": "continue"}, "says “continue”, but the sealed plan gives “difference”"),
        ({"answers": 6}, "counts 6 answers, but 7 had come in"),
    ],
    ids=["decision", "answers"],
)
def test_verify_takes_each_look_again_from_the_answers_by_then(
    desk: Desk, change: dict[str, object], said: str
) -> None:
    signed_after_a_stop(desk)
    whole = desk.bundle()
    honest = verify_bundle(whole)
    assert honest.holds, honest.first_failure
    assert any(check.what == "early looks" and check.holds for check in honest.checks)
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        inside = {name: archive.read(name) for name in archive.namelist()}
    events = [json.loads(line) for line in inside[bundle.EVENTS].decode().splitlines()]
    last = [event for event in events if event["kind"] == "sequential look"][-1]
    last["detail"] |= change
    chain = relinked(events)
    fields = ("number", "at", "actor", "kind", "detail", "previous", "hash")
    inside[bundle.EVENTS] = "".join(
        json.dumps({name: getattr(event, name) for name in fields}) + "\n" for event in chain
    ).encode()
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in inside.items():
            archive.writestr(name, content)
    found = verify_bundle(packed.getvalue()).first_failure
    assert found is not None
    assert (found.what, said in found.text) == ("early looks", True), found


def test_the_decision_comes_out_again_with_scipy_alone(desk: Desk, tmp_path: Path) -> None:
    signed_after_a_stop(desk)
    folder = tmp_path / "unpacked"
    with zipfile.ZipFile(io.BytesIO(desk.bundle())) as archive:
        archive.extractall(folder)
    shutil.copy(str(files("panel") / "analysis" / "recompute.py"), folder / "recompute.py")
    program = [sys.executable, str(folder / "recompute.py")]
    told = subprocess.run(program, capture_output=True, text=True, timeout=120, check=False)
    assert told.returncode == 0, told.stdout + told.stderr
    assert "Every figure is equal" in told.stdout
    table = folder / bundle.CHOICES
    rows = table.read_text(encoding="utf-8").split("\n")
    assert ",yes," in rows[3]
    table.write_text("\n".join([*rows[:3], rows[3].replace(",yes,", ",no,"), *rows[4:]]), encoding="utf-8")
    assert subprocess.run(program, capture_output=True, timeout=120, check=False).returncode == 1


def test_answers_are_judged_in_the_order_in_which_they_arrived(desk: Desk) -> None:
    opened(desk)
    for right in (True, False, True):
        answer(desk, right=right)
    with desk.read() as session:
        found = sorted(choices_of(session, desk.row()), key=lambda choice: choice.arrived)
    assert [choice.arrived for choice in found] == [1, 2, 3]
    assert [choice.correct for choice in found] == [True, False, True]


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"similarity_limit": ""}, "similarity_limit", "Write the share of discriminators that matters"),
        ({"replicates": "2"}, "sequential", "one answer from each"),
        ({"sittings": "2"}, "sequential", "one answer from each"),
        ({"alone": "yes"}, "sequential", "nothing to look at early"),
        ({"method": "paired preference"}, "sequential", "no right answer to count"),
        ({"beta": "0.9"}, "beta", "0.0001 to 0.4"),
    ],
    ids=["no share", "two sets", "two sittings", "alone", "no right answer", "beta"],
)
def test_a_plan_that_cannot_be_followed_answer_by_answer_is_refused_in_words(
    changed: dict[str, str], field: str, said: str
) -> None:
    assert check_draft(TRIANGLE).problems == ()
    problems = [p for p in check_draft({**TRIANGLE, **changed}).problems if p.field == field]
    assert any(said in problem.text for problem in problems), problems
