"""What was answered once, after the last sample, about all of them."""

from __future__ import annotations

import json

from sqlmodel import Session, col, select

from panel.store.revisions import standing_answers
from panel.store.tables import Answer, Attempt, Place, Serving, Study, Submission
from panel.study.answer_rows import Score
from panel.study.pseudonyms import taster_name


def end_answers_of(session: Session, study: Study) -> list[Score]:
    """Every answer to a question asked at the end, by taster and question. It has no sample and no position."""
    query = (
        select(Answer, Place.number, Attempt, Submission.late)
        .join(Submission, col(Submission.id) == Answer.submission_id)
        .join(Attempt, col(Attempt.id) == Answer.attempt_id)
        .join(Place, col(Place.id) == Attempt.place_id)
        .outerjoin(Serving, col(Serving.task_id) == Answer.task_id)
        .where(Attempt.study_id == study.id, col(Serving.id).is_(None))
    )
    counted = standing_answers(session, study.id)
    found = [
        Score(
            attempt_id=attempt.id,
            taster=taster_name(place, attempt.number),
            sample="",
            question=answer.question,
            condition="",
            replicate=0,
            position=0,
            value=json.loads(answer.value),
            late=late,
        )
        for answer, place, attempt, late in session.exec(query)
        if answer.submission_id in counted
    ]
    return sorted(found, key=lambda score: (score.taster, score.question))
