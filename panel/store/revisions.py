"""The revisions of answered screens: which one stands, and how often tasters corrected themselves."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from sqlmodel import Session, col, func, select

from panel.store.tables import Answer, Attempt, Submission, Task
from panel.study.revisions import CORRECTION, COUNTED, standing

if TYPE_CHECKING:
    from panel.study.answers import Answer as Checked


def standing_answers(session: Session, study_id: str) -> set[str]:
    """The ids of the sends whose answers count: of every screen one."""
    query = (
        select(Answer.attempt_id, Answer.task_id, Answer.submission_id, Submission.late)
        .join(Submission, col(Submission.id) == Answer.submission_id)
        .join(Attempt, col(Attempt.id) == Answer.attempt_id)
        .where(Attempt.study_id == study_id)
        .order_by(col(Answer.revision))
    )
    return set(
        standing(((attempt, task), late, sent) for attempt, task, sent, late in session.exec(query)).values()
    )


def standing_sends(session: Session, attempt: Attempt) -> dict[int, dict[str, str]]:
    """Number of an answered screen -> the fields of the newest send of it, for the taster to look at again."""
    query = (
        select(Task.number, Submission)
        .join(Submission, col(Submission.task_id) == Task.id)
        .join(Answer, col(Answer.submission_id) == Submission.id)
        .where(Submission.attempt_id == attempt.id, col(Submission.outcome).in_(COUNTED))
        .order_by(col(Answer.revision))
    )
    return {number: json.loads(sent.sent) for number, sent in session.exec(query)}


def next_revision(session: Session, attempt: Attempt, task: Task) -> int:
    """The number of the revision that comes next for this screen, from 1."""
    query = select(func.max(Answer.revision)).where(
        Answer.attempt_id == attempt.id, Answer.task_id == task.id
    )
    return (session.exec(query).one() or 0) + 1


def changes_nothing(session: Session, attempt: Attempt, task: Task, answers: list[Checked]) -> bool:
    """Whether these are the answers of the newest revision."""
    newest = next_revision(session, attempt, task) - 1
    query = select(Answer.question, Answer.value).where(
        Answer.attempt_id == attempt.id, Answer.task_id == task.id, Answer.revision == newest
    )
    stands = {question: json.loads(value) for question, value in session.exec(query)}
    return stands == {answer.question: answer.value for answer in answers}


def corrections_in(session: Session, study_id: str) -> int:
    """How many corrections came before closing."""
    query = select(func.count(col(Submission.id))).join(Attempt, col(Attempt.id) == Submission.attempt_id)
    counted = query.where(
        Attempt.study_id == study_id, Submission.outcome == CORRECTION, col(Submission.late).is_(False)
    )
    return session.exec(counted).one()
