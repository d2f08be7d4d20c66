"""Preparations of the samples: when each was poured, and which cups it serves. Times that only the kitchen sees.

The log names a batch by its random id alone, so that no time can be laid beside a pour letter or a sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.served import answered_screens
from panel.store.studies import ForbiddenMoveError
from panel.store.tables import Attempt, Batch, Place, Sample, Serving
from panel.study.life import State

if TYPE_CHECKING:
    from datetime import datetime


@dataclass(frozen=True, slots=True)
class Poured:
    """One batch of a pour letter. first_place : the lowest place it serves, 0 where it serves none."""

    letter: str
    number: int
    poured_at: datetime | None
    first_place: int


def batches_of(session: Session, study_id: str) -> list[Poured]:
    """Every batch, by pour letter and number."""
    query = select(Batch, Sample.pour_letter).join(Sample, col(Sample.id) == Batch.sample_id)
    places: dict[str, int] = {}
    served = select(Serving.batch_id, Place.number).join(Place, col(Place.id) == Serving.place_id)
    for batch_id, place in session.exec(served.where(Place.study_id == study_id)):
        places[batch_id] = min(place, places.get(batch_id, place))
    found = [
        Poured(letter, batch.number, batch.poured_at, places.get(batch.id, 0))
        for batch, letter in session.exec(query.where(Sample.study_id == study_id))
    ]
    return sorted(found, key=lambda batch: (batch.letter, batch.number))


def note_poured(session: Session, study_id: str, actor: str, letter: str, from_place: int = 1) -> None:
    """The sample of that pour letter is poured now. The first time starts its first batch's clock.

    Every further time is a batch of its own, which serves the cups not answered yet from `from_place` on.
    LookupError for an unknown letter; ForbiddenMoveError when nothing is poured any more.
    """
    study = locked_study(session, study_id)
    if study.state not in (State.SEALED, State.SERVING):
        raise ForbiddenMoveError("Tasting is over: nothing is poured any more.")
    sample = session.exec(
        select(Sample).where(Sample.study_id == study_id, Sample.pour_letter == letter)
    ).first()
    if sample is None:
        raise LookupError(f"study {study_id} has no pour letter {letter!r}")
    last = session.exec(
        select(Batch).where(Batch.sample_id == sample.id).order_by(col(Batch.number).desc()).limit(1)
    ).one()
    batch = last if last.poured_at is None else Batch(sample_id=sample.id, number=last.number + 1)
    batch.poured_at = now()
    session.add(batch)
    session.flush()
    if batch is not last:
        _serve_from(session, study_id, batch, from_place)
    append(session, study_id, actor, "batch poured", {"batch": batch.id})


def _serve_from(session: Session, study_id: str, batch: Batch, from_place: int) -> None:
    query = (
        select(Serving, Attempt.id)
        .join(Place, col(Place.id) == Serving.place_id)
        .outerjoin(
            Attempt,
            (col(Attempt.place_id) == Place.id) & (col(Attempt.number) == Serving.attempt_number),
        )
        .where(Place.study_id == study_id, Place.number >= from_place, Serving.sample_id == batch.sample_id)
    )
    done = answered_screens(session, study_id)
    for serving, attempt_id in session.exec(query).all():
        if (attempt_id, serving.task_id) not in done:
            serving.batch_id = batch.id
            session.add(serving)
    session.flush()
