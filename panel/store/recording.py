"""Recording an answer once: what a phone sends twice counts once, and nothing is ever overwritten."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.revisions import changes_nothing, next_revision
from panel.store.sittings import open_one
from panel.store.tables import Answer, Attempt, Place, Submission, Task
from panel.study.answers import sent_digest
from panel.study.life import State
from panel.study.revisions import CORRECTION, COUNTED, KEPT_ASIDE, STORED

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.study.answers import Answer as Checked


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of a send. outcome: one of `revisions`' or "unchanged"; repeated: it had come before."""

    outcome: str
    late: bool
    repeated: bool
    finished: bool


def record_screen(
    session: Session,
    attempt: Attempt,
    task: Task,
    submission_id: str,
    sent: Mapping[str, str],
    answers: Sequence[Checked],
    *,
    correction: bool = False,
) -> Recorded:
    """Store the answers of one screen with one ledger entry, in the session's transaction.

    A submission id seen before is success and changes nothing. Where another send has already answered the
    screen, the first one stands and this one is kept aside, so that no phone's queue is ever blocked.

    correction : the taster opened an answered screen again, as the plan allows: what differs is appended as a new
        revision; what changes nothing is acknowledged and leaves no trace
    """
    study = locked_study(session, attempt.study_id)
    before = session.get(Submission, submission_id)
    if before is not None:
        return Recorded(before.outcome, before.late, True, attempt.status == "finished")
    late = study.state != State.SERVING or open_one(session, study.id) is None
    outcome = _outcome(session, attempt, task, correction=correction)
    if outcome == CORRECTION and changes_nothing(session, attempt, task, list(answers)):
        return Recorded("unchanged", late, False, attempt.status == "finished")
    fields = dict(sent)
    kept = Submission(
        id=submission_id,
        attempt_id=attempt.id,
        task_id=task.id,
        outcome=outcome,
        late=late,
        sent=json.dumps(fields, ensure_ascii=False, sort_keys=True),
        received_at=now(),
    )
    session.add(kept)
    session.flush()
    if outcome in COUNTED:
        _store_answers(session, attempt, task, submission_id, answers)
    finished = _finish_when_done(session, attempt)
    detail = {"submission": submission_id, "attempt": attempt.id, "task": task.number, "outcome": outcome}
    detail |= {"late": late, "digest": sent_digest(submission_id, fields)}
    append(session, study.id, "taster", "answers received", detail)
    return Recorded(outcome, late, False, finished)


def _outcome(session: Session, attempt: Attempt, task: Task, *, correction: bool) -> str:
    if task.number not in answered_tasks(session, attempt):
        return STORED
    return CORRECTION if correction else KEPT_ASIDE


def answered_tasks(session: Session, attempt: Attempt) -> set[int]:
    """The numbers of the screens that this attempt has answered."""
    query = select(Task.number).join(Submission, col(Submission.task_id) == Task.id)
    return set(session.exec(query.where(Submission.attempt_id == attempt.id, Submission.outcome == STORED)))


def tasks_of(session: Session, attempt: Attempt) -> list[Task]:
    """All screens of the attempt's place, in order."""
    query = select(Task).join(Place, col(Place.id) == Task.place_id).where(Place.id == attempt.place_id)
    return list(session.exec(query.order_by(col(Task.number))))


def _store_answers(
    session: Session, attempt: Attempt, task: Task, submission_id: str, answers: Sequence[Checked]
) -> None:
    revision = next_revision(session, attempt, task)
    for answer in answers:
        session.add(
            Answer(
                submission_id=submission_id,
                attempt_id=attempt.id,
                task_id=task.id,
                condition=task.condition,
                question=answer.question,
                revision=revision,
                value=json.dumps(answer.value, ensure_ascii=False),
            )
        )
    session.flush()


def _finish_when_done(session: Session, attempt: Attempt) -> bool:
    everything = {task.number for task in tasks_of(session, attempt)}
    done = everything <= answered_tasks(session, attempt)
    if done and attempt.status == "tasting":
        attempt.status = "finished"
        attempt.finished_at = now()
        session.add(attempt)
    return done
