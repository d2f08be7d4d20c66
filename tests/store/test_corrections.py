"""Corrections: appended as revisions where the plan allows them, each once, and the latest before closing counts."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from sqlmodel import col, select

from panel.store.ledger import events_of
from panel.store.recording import record_screen, tasks_of
from panel.store.revisions import corrections_in, standing_sends
from panel.store.rows import progress_of, scores_of, sends_of
from panel.store.tables import Answer, Attempt, Submission
from panel.study.answers import Answer as Checked
from panel.study.answers import sent_digest
from panel.study.seal import first_broken
from tests.store.rice_study import TYPED, Rice, at_once, sealed_rice

if TYPE_CHECKING:
    from panel.store.database import Database
    from panel.store.recording import Recorded
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")


@pytest.fixture
def rice(database: Database, tokens: Tokens) -> Rice:
    return sealed_rice(database, tokens, TYPED | {"way_back": "yes"}).open()


def correct(rice: Rice, attempt_id: str, screen: int, submission: str, liking: str) -> Recorded:
    sent = {"q1": liking, "q2": "40"}
    answers = [Checked("q1", float(liking)), Checked("q2", 40.0)]
    with rice.database.write() as session:
        attempt = session.get_one(Attempt, attempt_id)
        task = next(task for task in tasks_of(session, attempt) if task.number == screen)
        return record_screen(session, attempt, task, submission, sent, answers, correction=True)


def revisions(rice: Rice) -> list[tuple[str, int, float]]:
    """Send, revision and liking, in order."""
    with rice.database.read() as session:
        query = select(Answer).where(Answer.question == "q1").order_by(col(Answer.revision))
        return [(row.submission_id, row.revision, json.loads(row.value)) for row in session.exec(query)]


def counted(rice: Rice) -> list[tuple[float | str | None, bool]]:
    with rice.database.read() as session:
        return [(s.value, s.late) for s in scores_of(session, rice.study()) if s.question == "q1"]


def test_a_correction_is_appended_and_the_first_answer_stays_in_sight(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one", "8")
    done = correct(rice, attempt, 1, "two", "3")
    assert (done.outcome, done.late, done.repeated, done.finished) == ("correction", False, False, False)
    assert revisions(rice) == [("one", 1, 8), ("two", 2, 3)]
    assert counted(rice) == [(3, False)]
    with rice.database.read() as session:
        events = events_of(session, rice.id)
        details = [event.detail for event in events if event.kind == "answers received"]
        assert corrections_in(session, rice.id) == 1
        assert [send.outcome for send in sends_of(session, rice.id)] == ["stored", "correction"]
        assert standing_sends(session, session.get_one(Attempt, attempt)) == {1: {"q1": "3", "q2": "40"}}
        assert next(seat.answered for seat in progress_of(session, rice.id)) == 1, (
            "one screen, corrected once"
        )
    assert first_broken(events) is None
    assert [detail["outcome"] for detail in details] == ["stored", "correction"]
    assert details[1]["digest"] == sent_digest("two", {"q1": "3", "q2": "40"})


def test_a_correction_sent_again_counts_once_also_eight_times_at_once(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one", "8")
    outcomes = at_once(8, lambda _: correct(rice, attempt, 1, "two", "3"))
    assert {one.outcome for one in outcomes} == {"correction"}
    assert sum(not one.repeated for one in outcomes) == 1
    assert revisions(rice) == [("one", 1, 8), ("two", 2, 3)]


def test_corrections_from_two_phones_at_once_both_stay_and_one_counts(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one", "8")
    at_once(2, lambda number: correct(rice, attempt, 1, f"phone {number}", str(3 + number)))
    kept = revisions(rice)
    assert [row[1] for row in kept] == [1, 2, 3]
    assert {row[2] for row in kept[1:]} == {3, 4}
    assert counted(rice) == [(kept[2][2], False)]


def test_what_changes_nothing_leaves_no_trace(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one", "8")
    assert correct(rice, attempt, 1, "two", "8").outcome == "unchanged"
    assert revisions(rice) == [("one", 1, 8)]
    correct(rice, attempt, 1, "three", "3")
    assert correct(rice, attempt, 1, "four", "8").outcome == "correction", (
        "back to the first is a change again"
    )
    assert [row[2] for row in revisions(rice)] == [8, 3, 8]


def test_a_correction_that_comes_after_closing_is_kept_and_does_not_count(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one", "8")
    correct(rice, attempt, 1, "two", "3")
    rice.close()
    assert correct(rice, attempt, 1, "three", "1").late
    assert [row[2] for row in revisions(rice)] == [8, 3, 1]
    assert counted(rice) == [(3, False)]
    with rice.database.read() as session:
        assert corrections_in(session, rice.id) == 1


def test_where_all_came_late_the_latest_is_shown_as_late(rice: Rice) -> None:
    attempt = rice.join()
    rice.close()
    rice.answer(attempt, 1, "one", "8")
    correct(rice, attempt, 1, "two", "3")
    assert counted(rice) == [(3, True)]


def test_a_correction_of_what_was_not_answered_yet_is_its_answer(rice: Rice) -> None:
    attempt = rice.join()
    assert correct(rice, attempt, 1, "one", "8").outcome == "stored"
    assert revisions(rice) == [("one", 1, 8)]


def test_a_second_send_that_is_no_correction_is_kept_aside_as_ever(rice: Rice) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one", "8")
    assert rice.answer(attempt, 1, "two", "3").outcome == "kept aside"
    with rice.database.read() as session:
        assert session.get_one(Submission, "two").outcome == "kept aside"
    assert counted(rice) == [(8, False)]
