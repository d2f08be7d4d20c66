"""Recording: each send counts once, the first answer stands, nothing acknowledged is lost."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlmodel import col, select

from panel.store import studies
from panel.store.ledger import events_of
from panel.store.recording import record_screen, tasks_of
from panel.store.rows import choices_of, progress_of, scores_of
from panel.store.tables import Answer, Attempt, Submission
from panel.study.answers import Answer as Checked
from panel.study.answers import sent_digest
from panel.study.seal import first_broken
from panel.study.set_answers import SET_ANSWER, check_set
from tests.store.rice_study import TYPED, Rice, at_once, sealed_rice

if TYPE_CHECKING:
    from panel.store.database import Database
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")
ROOT = Path(__file__).parents[2]


@pytest.fixture
def rice(database: Database, tokens: Tokens) -> Rice:
    return sealed_rice(database, tokens).open()


def likings(rice: Rice) -> dict[str, float]:
    """Submission id -> stored liking."""
    with rice.database.read() as session:
        found = session.exec(select(Answer.submission_id, Answer.value).where(Answer.question == "q1"))
        return {submission: json.loads(value) for submission, value in found}


def received(rice: Rice) -> list[dict[str, object]]:
    with rice.database.read() as session:
        events = events_of(session, rice.id)
    assert first_broken(events) is None
    return [event.detail for event in events if event.kind == "answers received"]


def test_what_was_sent_is_what_is_stored(rice: Rice) -> None:
    attempt = rice.join()
    recorded = rice.answer(attempt, 1, "one", "8")
    assert (recorded.outcome, recorded.late, recorded.repeated, recorded.finished) == (
        "stored", False, False, False,
    )  # fmt: skip
    with rice.database.read() as session:
        rows = session.exec(select(Answer).order_by(col(Answer.question))).all()
        assert [(row.question, row.revision, json.loads(row.value)) for row in rows] == [
            ("q1", 1, 8), ("q2", 1, 40),
        ]  # fmt: skip
        assert json.loads(session.get_one(Submission, "one").sent) == {"q1": "8", "q2": "40"}


def test_a_repeated_send_is_success_and_changes_nothing(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one", "8")
    again = rice.answer(attempt, 1, "one", "2")
    assert (again.outcome, again.repeated) == ("stored", True)
    assert likings(rice) == {"one": 8}
    assert len(received(rice)) == 1


def test_one_send_that_arrives_eight_times_at_once_counts_once(rice: Rice) -> None:
    attempt = rice.join()
    outcomes = at_once(8, lambda _: rice.answer(attempt, 1, "one"))
    assert {recorded.outcome for recorded in outcomes} == {"stored"}
    assert sum(not recorded.repeated for recorded in outcomes) == 1
    assert likings(rice) == {"one": 7}
    assert len(received(rice)) == 1


def test_of_two_phones_on_one_screen_the_first_stands_and_the_other_is_kept_aside(rice: Rice) -> None:
    attempt = rice.join()
    outcomes = at_once(2, lambda number: rice.answer(attempt, 1, f"phone {number}", str(3 + number)).outcome)
    assert sorted(outcomes) == ["kept aside", "stored"]
    first = outcomes.index("stored")
    assert likings(rice) == {f"phone {first}": 3 + first}
    with rice.database.read() as session:
        aside = session.get_one(Submission, f"phone {1 - first}")
        assert (aside.outcome, json.loads(aside.sent)["q1"]) == ("kept aside", str(3 + 1 - first))
    assert [detail["outcome"] for detail in received(rice)] == ["stored", "kept aside"]
    assert rice.answer(attempt, 1, f"phone {1 - first}").outcome == "kept aside"


def test_six_tasters_who_answer_at_once_lose_nothing(rice: Rice) -> None:
    attempts = [rice.join() for _ in range(6)]

    def taste(number: int) -> bool:
        for screen in (1, 2):
            done = rice.answer(attempts[number], screen, f"{number}-{screen}", str(number + screen)).finished
        return done

    assert at_once(6, taste) == [True] * 6
    assert likings(rice) == {f"{n}-{screen}": n + screen for n in range(6) for screen in (1, 2)}
    assert len(received(rice)) == 12


def test_a_taster_is_finished_with_the_last_screen_and_not_before(rice: Rice) -> None:
    attempt = rice.join()
    assert rice.answer(attempt, 2, "two").finished is False  # a queue may send the later screen first
    assert rice.answer(attempt, 1, "one").finished is True
    with rice.database.read() as session:
        seat = progress_of(session, rice.id)[0]
    assert (seat.status, seat.answered, seat.screens) == ("finished", 2, 2)


def test_an_answer_that_comes_after_closing_is_kept_and_marked_late(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one")
    rice.close()
    recorded = rice.answer(attempt, 2, "two")
    assert (recorded.outcome, recorded.late) == ("stored", True)
    with rice.database.read() as session:
        late = {score.replicate: score.late for score in scores_of(session, rice.study())}
        flags = [score.late for score in scores_of(session, rice.study()) if score.question == "q1"]
    assert sorted(flags) == [False, True]
    assert late
    assert [detail["late"] for detail in received(rice)] == [False, True]


def test_an_answer_that_comes_after_signing_is_kept_and_late(rice: Rice) -> None:
    attempt = rice.join()
    rice.close()
    rice.move(studies.sign_report, "{}", {"results": "none"})
    assert rice.answer(attempt, 1, "one").late is True


def test_every_send_is_one_entry_of_the_log_that_tells_no_answer(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one", "8")
    (detail,) = received(rice)
    assert set(detail) == {"submission", "attempt", "task", "outcome", "late", "digest"}
    assert detail["digest"] == sent_digest("one", {"q1": "8", "q2": "40"})
    assert detail["digest"] != sent_digest("two", {"q1": "8", "q2": "40"})


def test_scores_stand_under_number_and_blind_label(rice: Rice) -> None:
    attempts = [rice.join("Mo"), rice.join()]
    for number, attempt in enumerate(attempts):
        for screen in (1, 2):
            rice.answer(attempt, screen, f"{number}-{screen}", str(2 * number + screen))
    with rice.database.read() as session:
        scores = [score for score in scores_of(session, rice.study()) if score.question == "q1"]
    by_order = sorted(scores, key=lambda score: (score.taster, score.position))
    assert [(score.taster, score.position, score.value) for score in by_order] == [
        ("T01", 1, 1), ("T01", 2, 2), ("T02", 1, 3), ("T02", 2, 4),
    ]  # fmt: skip
    assert [score.sample for score in scores] == ["A", "B", "A", "B"]


def test_a_forced_choice_is_right_when_it_names_the_odd_cup(database: Database, tokens: Tokens) -> None:
    typed = {key: value for key, value in TYPED.items() if not key.startswith("question-")}
    rice = sealed_rice(database, tokens, typed | {"method": "triangle", "tasters": "3"}).open()
    for chosen in ("1", "2", "3"):
        sent = {SET_ANSWER: chosen}
        attempt_id = rice.join()
        with database.write() as session:
            attempt = session.get_one(Attempt, attempt_id)
            (task,) = tasks_of(session, attempt)
            answer = check_set("triangle", 3, sent)
            assert isinstance(answer, Checked)
            record_screen(session, attempt, task, f"send {chosen}", sent, [answer])
    with database.read() as session:
        choices = choices_of(session, rice.study())
    assert [choice.chosen for choice in choices] == ["1", "2", "3"]
    for choice in choices:
        odd = next(n for n, s in enumerate(choice.samples, start=1) if choice.samples.count(s) == 1)
        assert choice.correct is (choice.chosen == str(odd))


def start_recorder(rice: Rice, attempts: list[str], die_after: int) -> subprocess.Popen[str]:
    """A process of its own that sends both screens of every attempt and says so line by line."""
    script = Path(__file__).with_name("mortal_recorder.py")
    arguments = [rice.database.url, rice.id, str(die_after), *attempts]
    return subprocess.Popen(
        [sys.executable, str(script), str(ROOT), *arguments], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )


@pytest.mark.parametrize("acknowledged", [0, 1, 5])
def test_a_process_killed_between_commit_and_acknowledgement_loses_nothing(
    rice: Rice, acknowledged: int
) -> None:
    attempts = [rice.join() for _ in range(6)]
    process = start_recorder(rice, attempts, acknowledged)
    said = process.communicate(timeout=120)[0].split()
    assert process.returncode == -signal.SIGKILL
    sends = [f"{attempt}.{screen}" for attempt in attempts for screen in (1, 2)]
    assert said == sends[:acknowledged]
    assert sorted(likings(rice)) == sorted(sends[: acknowledged + 1])
    unacknowledged = sends[acknowledged]
    attempt, screen = unacknowledged.split(".")
    assert rice.answer(attempt, int(screen), unacknowledged).repeated is True
    assert len(received(rice)) == acknowledged + 1


def test_a_process_killed_at_any_moment_keeps_what_it_acknowledged(rice: Rice) -> None:
    attempts = [rice.join() for _ in range(6)]
    process = start_recorder(rice, attempts, 1000)
    assert process.stdout is not None
    said = [process.stdout.readline().strip() for _ in range(4)]
    process.kill()
    said += process.communicate(timeout=120)[0].split()
    stored = likings(rice)
    assert set(said) <= set(stored)
    assert len(received(rice)) == len(stored)
    for attempt in attempts:
        for screen in (1, 2):
            rice.answer(attempt, screen, f"{attempt}.{screen}")
    assert len(likings(rice)) == 12
