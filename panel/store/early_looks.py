"""Looks at a sequential plan while tasters taste: what each said, and after how many answers. Each is an event."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, func, select

from panel.store.ledger import append, events_of, locked_study
from panel.store.rows import choices_of
from panel.store.studies import ForbiddenMoveError, plan_of, require
from panel.store.tables import Answer, Attempt, Submission
from panel.study.life import Move
from panel.study.sequential import GO_ON
from panel.study.set_answers import SET_ANSWER

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from panel.study.answer_rows import Choice
    from panel.study.plan import Plan

    Decide = Callable[[Plan, Sequence[Choice]], str]


@dataclass(frozen=True, slots=True)
class Look:
    """One look: after how many answers, and one of the decisions of `study.sequential`."""

    answers: int
    decision: str


def looks_of(session: Session, study_id: str) -> list[Look]:
    """All looks so far, in order."""
    events = events_of(session, study_id)
    return [Look(e.detail["answers"], e.detail["decision"]) for e in events if e.kind == "sequential look"]


def answers_in_time(session: Session, study_id: str) -> int:
    """How many answers have come in while a sitting was open; no value is read."""
    query = (
        select(func.count(col(Answer.id)))
        .join(Submission, col(Submission.id) == Answer.submission_id)
        .join(Attempt, col(Attempt.id) == Answer.attempt_id)
        .where(Attempt.study_id == study_id, Answer.question == SET_ANSWER, col(Submission.late).is_(False))
    )
    return session.exec(query).one()


def look_early(session: Session, study_id: str, actor: str, decide: Decide) -> Look:
    """Judge the answers that have come in by now, and log the look. Nothing but the decision leaves here.

    decide : the sealed plan's decision on answers in order of arrival
    ForbiddenMoveError where the plan is not sequential, nothing new has come in, or it has said stop.
    """
    study = locked_study(session, study_id)
    plan = plan_of(study) if study.plan else None
    if plan is None or not plan.sequential:
        raise ForbiddenMoveError(
            "No early look was sealed for this study: results open when tasting is over. Looking early and stopping "
            "is how false findings are made."
        )
    require(study, Move.LOOK_EARLY)
    before = looks_of(session, study_id)
    if before and before[-1].decision != GO_ON:
        raise ForbiddenMoveError("The sealed plan has said stop already. Close: tasting is over.")
    choices = [choice for choice in choices_of(session, study) if not choice.late]
    if len(choices) == (before[-1].answers if before else 0):
        raise ForbiddenMoveError("No answer has come in since the last look. Wait for the next one.")
    look = Look(len(choices), decide(plan, sorted(choices, key=lambda choice: choice.arrived)))
    detail = {"answers": look.answers, "decision": look.decision}
    append(session, study_id, actor, "sequential look", detail)
    return look
